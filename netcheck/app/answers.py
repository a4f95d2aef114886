"""Reads answered findings or requests to IT, writes what was decided into the plan, and prints the outcome."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from datetime import date
from pathlib import Path

from netcheck.answers.apply import Outcome, confirmed, judged
from netcheck.answers.grants import grants_from, judged_grants
from netcheck.answers.read import from_file
from netcheck.plan.write.accepted import with_accepted
from netcheck.plan.write.addresses import with_addresses, with_granted, write_all
from netcheck.report.text.answers import grants_to_json, grants_to_text, to_json, to_text
from netcheck.requests.build import asked_of
from netcheck.rules.engine import check
from netcheck.space.addressing import plan_with
from netcheck.survey.read import read_site
from netcheck.text import safe


def apply_answers(plan: Path, file: Path, day: date, by: str, *, write: bool, as_json: bool) -> int:
    """Apply the answers in a file to a plan and return the exit code: 1 where some rows cannot be applied.

    *by* names who decided where a row does not. Without *write* the plan stays as it is.
    """
    answers = from_file(file)
    site = read_site(plan, in_part=True)
    outcome = judged(check(*site, day), answers, day, by)
    if outcome.moves:
        moved = plan_with(site.plan, outcome.addresses)
        outcome = confirmed(outcome, check(moved, site.surveys, day))
    paths = _written(plan, outcome) if write else _to_write(plan, outcome)
    if as_json:
        print(json.dumps(to_json(outcome, bool(paths) and write), indent=2))
    else:
        print(to_text(outcome, file.name), end="")
    for path in paths:
        print(f"{'written' if write else 'would be written'}: {safe(str(path))}", file=sys.stderr)
    if not paths:
        print("nothing to write", file=sys.stderr)
    return int(bool(outcome.flaws))


def _to_write(plan: Path, outcome: Outcome) -> list[Path]:
    """Return the files that would be changed; PlanError where one cannot be."""
    accepted = with_accepted(plan, outcome.accepted) if outcome.accepted else None
    moved = with_addresses(plan, outcome.addresses) if outcome.moves else ()
    return _distinct([*(edit.path for edit in moved), *([accepted.path] if accepted else [])])


def _written(plan: Path, outcome: Outcome) -> list[Path]:
    """Write addresses and accepted findings; both are tried before the first file is replaced."""
    paths = _to_write(plan, outcome)
    if outcome.moves:
        write_all(with_addresses(plan, outcome.addresses))
    accepted = with_accepted(plan, outcome.accepted) if outcome.accepted else None
    if accepted is not None:
        accepted.write()
    return paths


def _distinct(paths: Iterable[Path]) -> list[Path]:
    return list(dict.fromkeys(paths))


def apply_grants(plan: Path, file: Path, day: date, by: str, *, write: bool, as_json: bool) -> int:
    """Apply the answers to requests and return the exit code: 1 where some rows cannot be applied."""
    rows = grants_from(file)
    site = read_site(plan, in_part=True)
    grants = judged_grants(site.plan, asked_of(check(*site, day)).requests, rows, day, by)
    paths = [edit.path for edit in with_granted(plan, grants.granted)] if grants.granted else []
    if grants.addresses:
        paths += [edit.path for edit in with_addresses(plan, grants.addresses)]
    paths = list(dict.fromkeys(paths))
    if write and paths:
        if grants.addresses:
            write_all(with_addresses(plan, grants.addresses))
        write_all(with_granted(plan, grants.granted))
    if as_json:
        print(json.dumps(grants_to_json(grants, bool(paths) and write), indent=2))
    else:
        print(grants_to_text(grants), end="")
    for path in paths:
        print(f"{'written' if write else 'would be written'}: {safe(str(path))}", file=sys.stderr)
    if not paths:
        print("nothing to write", file=sys.stderr)
    return int(bool(grants.flaws))
