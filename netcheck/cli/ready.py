"""`netcheck ready`: what would make tomorrow's proof false, before leaving."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from netcheck.errors import NetcheckError, Problem

if TYPE_CHECKING:
    from netcheck.field.readiness_facts import RecordFact
    from netcheck.plan.model import Plan


class Format(StrEnum):
    """How the lines are printed."""

    TEXT = "text"
    JSON = "json"


class LinkKind(StrEnum):
    """Which link will be used."""

    RAW = "raw"
    PORTABLE = "portable"
    UNPRIVILEGED = "unprivileged"


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    interface: str = typer.Option("", "--interface", "-i", help="Network interface to prove through."),
    only: list[str] = typer.Option([], "--only", help="Only this interface or port will be proved; repeatable."),
    record: Path | None = typer.Option(None, "--record", help="Record file; default <plan>-<date>.jsonl."),
    link: LinkKind = typer.Option(LinkKind.RAW, "--link", help="How the wire will be reached."),
    form: Format = typer.Option(Format.TEXT, "--format", help="How to print the lines."),
) -> None:
    """Look for what would make tomorrow's proof false, before leaving. Nothing is sent and nothing is changed.

    Looks at the interface and the right to open it, this computer's addresses and routes, VPNs, the clock, and the
    place of the record. Each line is ok, fix or note. Exit code: 0 nothing to mend, 1 something to mend, 2 bad use.

    Example: netcheck ready plans/tarn-hollow -i eth0
    """
    from netcheck.app.choices import demand_interface, record_path
    from netcheck.field.readiness import judge
    from netcheck.field.readiness_gather import gather
    from netcheck.plan.read import read_plan
    from netcheck.report.text.readiness import ready, to_json, to_text
    from netcheck.wire.links.open import kind_from_text

    read = read_plan(plan)
    place = record_fact(record_path(record, read), read)
    lines = judge(gather(read, demand_interface(interface), kind_from_text(link), place, only))
    if form is Format.JSON:
        typer.echo(json.dumps(to_json(lines, interface), indent=2))
    else:
        typer.echo(to_text(lines, shutil.get_terminal_size((100, 24)).columns))
    raise typer.Exit(0 if ready(lines) else 1)


def record_fact(path: Path, plan: Plan) -> RecordFact:
    """What is at the record's place, and whether it can be written there."""
    from netcheck.field.readiness_facts import RecordFact, RecordState

    stands = _why_not_writable(path)
    if stands is not None:
        return RecordFact(str(path), RecordState.UNUSABLE, stands.what, stands.do)
    if not path.exists() or not path.stat().st_size:
        return RecordFact(str(path), RecordState.NEW)
    return _found(path, plan)


def _why_not_writable(path: Path) -> Problem | None:
    """The problem, where the file there, or a new one in its folder, cannot be written; leaves nothing behind."""
    from netcheck.files import open_plain, refused_by_system

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
        return Problem("its folder is not there", do="Make it first, or give another --record")
    except (OSError, ValueError) as error:
        return refused_by_system(error, path).problems[0]
    return None


def _found(path: Path, plan: Plan) -> RecordFact:
    """What the file that is there already comes to."""
    from netcheck.field.readiness_facts import RecordFact, RecordState
    from netcheck.record.verify import State, read_record

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
        do = "Proving will set the torn bytes aside and go on"
        return RecordFact(str(path), RecordState.TORN, str(seen.flaw), do)
    return RecordFact(str(path), RecordState.GOES_ON, f"{seen.proofs} proofs in it")
