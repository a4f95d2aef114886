"""`netcheck report`: findings and proofs of a plan in files that the site's IT can read and answer."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from netcheck.app.check import day_from
from netcheck.app.progress import Steps
from netcheck.errors import NetcheckError, Problem, UsageError
from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.record.verify import Record
    from netcheck.report.formats import Kind
    from netcheck.report.model import Report
    from netcheck.rules.engine import Checked
    from netcheck.survey.model import Survey


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    out: list[Path] = typer.Option(
        [],
        "--out",
        metavar="FILE",
        help="File to write, its kind by its ending: .html, .csv, .xlsx, .json, .md or .txt. Repeatable.",
        show_default=False,
    ),
    record: list[Path] = typer.Option(
        [], "--record", metavar="RECORD", help="Record of a proving run. Repeatable.", show_default=False
    ),
    requests: Path | None = typer.Option(
        None, "--requests", metavar="FILE", help="Write what IT is asked for to this CSV file.", show_default=False
    ),
    sheet: Path | None = typer.Option(
        None,
        "--sheet",
        metavar="FILE",
        help="Write what to type into each device, with labels to cut out, to this HTML file.",
        show_default=False,
    ),
    since: Path | None = typer.Option(
        None, "--since", metavar="OLDPLAN", help="Say what changed since this earlier revision.", show_default=False
    ),
    today: str = typer.Option(
        "",
        "--today",
        metavar="DATE",
        help="The day of the report, for the age of surveys; the default is today.",
        show_default=False,
    ),
) -> None:
    """Write the report on a plan and its proofs; nothing is written unless all of it can be.

    Exit code: 0 written, 1 written but a record is torn or its chain is broken, 2 bad use or input.

    Example: netcheck report plans/tarn-hollow --record run.jsonl --out report.html --out answers.csv
    """
    from netcheck.files import write_atomically
    from netcheck.report.build import report_of
    from netcheck.report.formats import further, kinds_for
    from netcheck.rules.catalogue import RULES

    targets = kinds_for(out) + further(out, requests, sheet)
    if not targets:
        raise UsageError.of("no file to write was named", do="Name one, for example --out report.html")
    paths = [path for path, _ in targets]
    with Steps((len(RULES) + 2) * (2 if since else 1) + len(targets)) as steps:
        day = day_from(today)
        checked, surveys = _checked(plan, paths, record, day, steps)
        before = _earlier(since, paths, record, day, steps) if since else None
        steps.begin("reading the records")
        report = report_of(checked, surveys, _records(record), day, before)
        steps.end()
        ready = [(path, _written(path, kind, report, steps)) for path, kind in targets]
    for path, data in ready:
        write_atomically(path, data)
        typer.echo(f"wrote {safe(str(path))}")
    raise typer.Exit(1 if report.flawed else 0)


def _checked(
    path: Path, paths: list[Path], record: list[Path], day: date, steps: Steps
) -> tuple[Checked, tuple[Survey, ...]]:
    """Read and check one revision; refuse to write over what it is made from."""
    from netcheck.report.formats import demand_apart
    from netcheck.rules.engine import check
    from netcheck.survey.read import read_site

    steps.begin(f"reading {path}")
    plan, surveys = read_site(path)
    demand_apart(paths, plan, record)
    steps.end()
    steps.begin("running the rules")
    return check(plan, surveys, day, done=lambda rule: steps.end()), surveys


def _earlier(path: Path, paths: list[Path], record: list[Path], day: date, steps: Steps) -> Checked:
    """The check of the earlier revision; its faults say which plan they are of, since both may have the same names."""
    try:
        return _checked(path, paths, record, day, steps)[0]
    except NetcheckError as error:
        raise type(error)(*(replace(one, what=f"{one.what} (in --since {path})") for one in error.problems)) from None


def _written(path: Path, kind: Kind, report: Report, steps: Steps) -> bytes:
    steps.begin(f"writing {safe(str(path))}")
    data = kind.write(report)
    steps.end()
    return data


def _records(paths: list[Path]) -> tuple[Record, ...]:
    from netcheck.record.verify import read_record

    records, problems = [], list[Problem]()
    for path in dict.fromkeys(paths):
        try:
            records.append(read_record(path))
        except NetcheckError as error:
            problems += error.problems
    if problems:
        raise UsageError(*problems)
    return tuple(records)
