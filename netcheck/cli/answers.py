"""`netcheck answers`: reads the findings that the site has answered, and writes the accepted ones into the plan."""

from __future__ import annotations

import json
import sys
from enum import StrEnum
from pathlib import Path

import typer

from netcheck.app.check import day_from, run_check
from netcheck.errors import UsageError
from netcheck.text import safe


class Format(StrEnum):
    """How the outcome is printed."""

    TEXT = "text"
    JSON = "json"


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    file: Path = typer.Argument(
        help="The answered findings, as CSV or .xlsx, as the spreadsheet saved them.",
        metavar="FILE",
        show_default=False,
    ),
    by: str = typer.Option("", "--by", metavar="NAME", help="Who decided, where a row does not say it."),
    write: bool = typer.Option(False, "--write", help="Put the accepted findings into the plan; this is the default."),
    dry_run: bool = typer.Option(False, "--dry-run", help="Only show what would be written."),
    form: Format = typer.Option(Format.TEXT, "--format", help="How to print what the answers come to."),
    today: str = typer.Option(
        "", "--today", metavar="DATE", help="The day of the check; the default is today.", show_default=False
    ),
) -> None:
    """Read the findings that the site has answered, and write the accepted ones into the plan.

    Findings come from `netcheck report PLAN --out FILE.csv` or `.xlsx`. In the column decision stands agreed, change or
    question, or nothing. A conflict is never accepted without a remark. Comments and layout of the plan stay, and the
    same answers read twice change nothing.

    Exit code: 0 done, 1 some rows have to be mended (the others are done), 2 bad use or input.

    Example: netcheck answers plans/tarn-hollow conflicts.csv
    """
    from netcheck.answers.apply import judged
    from netcheck.answers.read import from_file
    from netcheck.plan.write.accepted import with_accepted
    from netcheck.report.text.answers import to_json, to_text

    if write and dry_run:
        raise UsageError.of("--write and --dry-run cannot go together", do="Leave one of them out")
    day = day_from(today)
    answers = from_file(file)
    outcome = judged(run_check(plan, day), answers, day, by.strip())
    edit = with_accepted(plan, outcome.accepted) if outcome.accepted else None
    if edit is not None and not dry_run:
        edit.write()
    written = edit is not None and not dry_run
    print(
        json.dumps(to_json(outcome, written), indent=2) if form is Format.JSON else to_text(outcome, file.name), end=""
    )
    if form is Format.JSON:
        print()
    if edit is None:
        print("nothing to write", file=sys.stderr)
    else:
        print(f"{'written' if written else 'would be written'}: {safe(str(edit.path))}", file=sys.stderr)
    raise typer.Exit(int(bool(outcome.flaws)))
