"""Checks whether everything is ready for a proof, and prints the result."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

from netcheck.app.prepare import demand_interface, record_path
from netcheck.errors import NetcheckError, Problem
from netcheck.field.readiness import judge
from netcheck.field.readiness_facts import RecordFact, RecordState, gather
from netcheck.files import open_plain, refused_by_system
from netcheck.plan.model import Plan
from netcheck.plan.read import read_plan
from netcheck.record.verify import State, read_record
from netcheck.report.text.readiness import ready, to_json, to_text
from netcheck.text import number_of
from netcheck.wire.links.open import kind_from_text


def check_readiness(
    path: Path, interface: str, only: Sequence[str], record: Path | None, link: str, *, as_json: bool
) -> int:
    """Print the faults that would spoil the next proof; return 1 if one needs a correction, else 0."""
    plan = read_plan(path)
    place = record_fact(record_path(record, plan), plan)
    interface = demand_interface(interface)
    lines = judge(gather(plan, interface, kind_from_text(link), place, list(only)))
    if as_json:
        print(json.dumps(to_json(lines, interface), indent=2))
    else:
        print(to_text(lines, shutil.get_terminal_size((100, 24)).columns))
    return 0 if ready(lines) else 1


def record_fact(path: Path, plan: Plan) -> RecordFact:
    """Return the state of the record's file, and whether it can be written."""
    problem = _why_not_writable(path)
    if problem is not None:
        return RecordFact(str(path), RecordState.UNUSABLE, problem.what, problem.do)
    if not path.exists() or not path.stat().st_size:
        return RecordFact(str(path), RecordState.NEW)
    return _found(path, plan)


def _why_not_writable(path: Path) -> Problem | None:
    """Return the problem that prevents writing the file, or None; leave no file behind."""
    try:
        if path.exists():
            open_plain(path).close()
            os.close(os.open(path, os.O_RDWR | os.O_APPEND))
        else:
            with tempfile.TemporaryFile(dir=path.parent) as trial:
                trial.write(bytes(4096))
                trial.flush()
                os.fsync(trial.fileno())
    except NetcheckError as error:
        return error.problems[0]
    except FileNotFoundError:
        return Problem("its folder does not exist", do="Create it first, or name another --record")
    except (OSError, ValueError) as error:
        return refused_by_system(error, path).problems[0]
    return None


def _found(path: Path, plan: Plan) -> RecordFact:
    """Return the state of an existing file: continued, of another plan, or not usable."""
    another = "Keep it, and name another --record"
    try:
        found = read_record(path)
    except NetcheckError as error:
        return RecordFact(str(path), RecordState.UNUSABLE, error.problems[0].what, another)
    seen = found.verification
    if seen.state is State.BROKEN:
        return RecordFact(str(path), RecordState.UNUSABLE, f"its chain is broken: {seen.flaw}", another)
    if seen.plan != plan.name:
        return RecordFact(str(path), RecordState.OTHER_PLAN, f"{seen.plan!r}, not {plan.name!r}", another)
    if seen.state is State.TORN:
        do = "The proof will move the torn bytes to another file and continue"
        return RecordFact(str(path), RecordState.TORN, str(seen.flaw), do)
    return RecordFact(str(path), RecordState.GOES_ON, f"{number_of(seen.proofs, 'proof')} in it")
