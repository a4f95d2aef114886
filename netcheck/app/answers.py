"""Reads an answered file of findings, writes what was accepted into the plan, and prints the outcome."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path

from netcheck.answers.apply import judged
from netcheck.answers.read import from_file
from netcheck.app.check import run_check
from netcheck.plan.write.accepted import with_accepted
from netcheck.report.text.answers import to_json, to_text
from netcheck.text import safe


def apply_answers(plan: Path, file: Path, day: date, by: str, *, write: bool, as_json: bool) -> int:
    """Apply the answers in a file to a plan and return the exit code: 1 where some rows cannot be applied.

    *by* names who decided where a row does not. Without *write* the plan stays as it is.
    """
    answers = from_file(file)
    outcome = judged(run_check(plan, day), answers, day, by)
    edit = with_accepted(plan, outcome.accepted) if outcome.accepted else None
    if edit is not None and write:
        edit.write()
    if as_json:
        print(json.dumps(to_json(outcome, edit is not None and write), indent=2))
    else:
        print(to_text(outcome, file.name), end="")
    if edit is None:
        print("nothing to write", file=sys.stderr)
    else:
        print(f"{'written' if write else 'would be written'}: {safe(str(edit.path))}", file=sys.stderr)
    return int(bool(outcome.flaws))
