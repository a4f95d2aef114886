"""`netcheck check`: reports all conflicts of a plan, each with its reason, its source and a fix."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import UsageError


def command(
    plans: Annotated[
        list[Path],
        typer.Argument(help="Plan folders, plan.toml files or workbooks.", metavar="PLAN", show_default=False),
    ],
    form: Annotated[
        o.FindingsFormat,
        typer.Option("--format", metavar="FORMAT", help="Format of the output: text, json, csv, markdown or junit."),
    ] = o.FindingsFormat.TEXT,
    strict: Annotated[bool, typer.Option("--strict", help="Exit with 1 for risks too.")] = False,
    paths: Annotated[
        bool, typer.Option("--paths", help="Print the path of every conversation, there and back.")
    ] = False,
    today: o.Today = "",
) -> None:
    """Check a plan, and report all conflicts at once, each with its reason, its source and a fix.

    Several plans in one call are also checked against each other: addresses and names in one island, MACs, switch
    ports and subnets. The exit code is the highest of all plans. A plan that cannot be read is listed as not checked.

    Exit codes:
      0  no conflict
      1  conflicts; with --strict also risks
      2  wrong use, or a plan that cannot be read

    Example: netcheck check plans/tarn-hollow

    Example: netcheck check plans/* --format junit
    """
    from netcheck.app.check import check_plans, exit_code, print_results

    day = o.day_from(today)
    if paths and form in (o.FindingsFormat.CSV, o.FindingsFormat.JUNIT):
        raise UsageError.of(f"--paths cannot be printed as {form}", do="Use --format text, json or markdown")
    results = check_plans(plans, day)
    print_results(results, form.value, strict=strict, paths=paths)
    raise typer.Exit(exit_code(results, strict=strict))
