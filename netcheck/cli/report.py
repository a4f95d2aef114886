"""`netcheck report`: writes findings and proofs of a plan to files that the site's IT department can answer."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import UsageError


def command(
    plan: o.PlanPath,
    out: Annotated[
        list[Path],
        typer.Option(
            "--out",
            metavar="FILE",
            help="Write the report to this file: .html, .csv, .xlsx, .json, .md or .txt. Repeatable.",
            show_default=False,
        ),
    ] = [],  # noqa: B006  # typer copies it
    record: Annotated[
        list[Path],
        typer.Option("--record", metavar="RECORD", help="Record of a proving run. Repeatable.", show_default=False),
    ] = [],  # noqa: B006  # typer copies it
    requests: Annotated[
        Path | None,
        typer.Option("--requests", metavar="FILE", help="Write the requests to IT as CSV.", show_default=False),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet",
            metavar="FILE",
            help="Write the setting sheet (.html): the values to type into each device, and labels to cut out.",
            show_default=False,
        ),
    ] = None,
    verifier: Annotated[
        Path | None,
        typer.Option(
            "--verifier",
            metavar="FILE",
            help="Write the verifier (.py): ten lines of Python that verify a record without netcheck.",
            show_default=False,
        ),
    ] = None,
    proof: Annotated[
        Path | None,
        typer.Option(
            "--proof",
            metavar="FILE",
            help="Write the page of proof for signatures (.html or .txt): ports, verdicts, names, times, seals.",
            show_default=False,
        ),
    ] = None,
    since: Annotated[
        Path | None,
        typer.Option(
            "--since", metavar="OLDPLAN", help="Show what changed since this earlier revision.", show_default=False
        ),
    ] = None,
    reply_by: Annotated[
        str, typer.Option("--reply-by", metavar="DATE", help="The last day for the answers of IT.", show_default=False)
    ] = "",
    by: Annotated[
        str,
        typer.Option(
            "--by", metavar="NAME", help="Who sends the report. Default: `contact` of the plan.", show_default=False
        ),
    ] = "",
    today: o.Today = "",
) -> None:
    """Write reports on a plan and its proofs. If one file cannot be written, no file is written.

    In CSV files a text that begins with = + - or @, such as the device tag =F1-K1, gets an apostrophe in front, because
    spreadsheet programs run such cells as formulas. A workbook shows these texts unchanged. `answers` reads both. A
    file with answers is not overwritten.

    Exit codes:
      0  written
      1  written, but a record is torn, broken or contradicts itself
      2  wrong use or input

    Example: netcheck report plans/tarn-hollow --record run.jsonl --out report.html --out answers.csv
    """
    from netcheck.app.report import ReportOrder, write_reports

    day = o.day_from(today)
    order = ReportOrder(
        plan=plan,
        out=tuple(out),
        records=tuple(record),
        requests=requests,
        sheet=sheet,
        since=since,
        verifier=verifier,
        proof=proof,
        reply_by=_reply_by(reply_by, day),
        sent_by=by.strip(),
    )
    raise typer.Exit(write_reports(order, day))


def _reply_by(text: str, today: date) -> date | None:
    """Return the last day for the answers, or None; raise UsageError for a past day or a text that is not a date."""
    day = o.day_from(text, "--reply-by") if text else None
    if day is not None and day < today:
        raise UsageError.of(f"--reply-by {day} is before the day of the report, {today}", do="Name a later day")
    return day
