"""Reads an answered file of requests to IT, writes what was granted into the plan, and prints the outcome."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path

from netcheck.answers.grants import grants_from, judged_grants
from netcheck.plan.write.addresses import with_addresses, with_granted, write_all
from netcheck.report.text.grants import to_json, to_text
from netcheck.requests.build import asked_of
from netcheck.rules.engine import check
from netcheck.survey.read import read_site
from netcheck.text import safe


def apply_grants(plan: Path, file: Path, day: date, by: str, *, write: bool, as_json: bool) -> int:
    """Apply the answers to requests and return the exit code: 1 where some rows cannot be applied."""
    rows = grants_from(file)
    site = read_site(plan)
    grants = judged_grants(site.plan, asked_of(check(*site, day)).requests, rows, day, by)
    paths = [edit.path for edit in with_granted(plan, grants.granted)] if grants.granted else []
    if grants.addresses:
        paths += [edit.path for edit in with_addresses(plan, grants.addresses)]
    paths = list(dict.fromkeys(paths))
    if write and paths:
        if grants.addresses:
            write_all(with_addresses(plan, grants.addresses))
        write_all(with_granted(plan, grants.granted))
    print(json.dumps(to_json(grants, bool(paths) and write), indent=2) if as_json else to_text(grants).rstrip("\n"))
    for path in paths:
        print(f"{'written' if write else 'would be written'}: {safe(str(path))}", file=sys.stderr)
    if not paths:
        print("nothing to write", file=sys.stderr)
    return int(bool(grants.flaws))
