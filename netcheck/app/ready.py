"""Judges whether everything is ready for a proof, and prints the lines."""

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
from netcheck.wire.links.open import kind_from_text


def check_readiness(
    path: Path, interface: str, only: Sequence[str], record: Path | None, link: str, *, as_json: bool
) -> int:
    """Print what would make the next proof false; return 1 where something needs a correction, else 0."""
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
    """Return what exists at the record's place, and whether it can be written."""
    stands = _why_not_writable(path)
    if stands is not None:
        return RecordFact(str(path), RecordState.UNUSABLE, stands.what, stands.do)
    if not path.exists() or not path.stat().st_size:
        return RecordFact(str(path), RecordState.NEW)
    return _found(path, plan)


def _why_not_writable(path: Path) -> Problem | None:
    """Return the problem that prevents writing the file, or None; leaves nothing behind."""
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
        return Problem("its folder does not exist", do="Make it first, or give another --record")
    except (OSError, ValueError) as error:
        return refused_by_system(error, path).problems[0]
    return None


def _found(path: Path, plan: Plan) -> RecordFact:
    """Return what the existing file means for the run."""
    another = "Keep it, and give another --record"
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
        do = "The proof will set the torn bytes aside and continue"
        return RecordFact(str(path), RecordState.TORN, str(seen.flaw), do)
    return RecordFact(str(path), RecordState.GOES_ON, f"{seen.proofs} proofs in it")
