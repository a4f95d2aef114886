"""`netcheck answers`: reads what the site decided and writes it into the plan."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o


def command(
    plan: o.PlanPath,
    file: Annotated[
        Path,
        typer.Argument(
            help="The answered findings or requests, as CSV or .xlsx, as the spreadsheet program saved them.",
            metavar="FILE",
            show_default=False,
        ),
    ],
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who decided, where a row does not say it.")] = "",
    write: Annotated[
        bool, typer.Option("--write", help="Put the decisions into the plan; this is the default.")
    ] = False,
    dry_run: o.DryRun = False,
    form: o.Format = o.TextFormat.TEXT,
    today: o.Today = "",
) -> None:
    r"""Read what the site has answered, and write its decisions into the plan.

    Findings come from `netcheck report PLAN --out FILE.csv` or `.xlsx`. The column decision holds one of: use the
    proposal, live with it as it is, change it to (with the value in change-to), question, withdraw (for an accepted
    finding). A conflict is never accepted without a remark. Questions and changes with their words go into the plan as
    [\[remark]]; write your answer into its key `reply`, and the next report shows both. Comments and layout of the plan
    stay, and the same answers read twice change nothing.

    Requests come from `netcheck report PLAN --requests FILE.csv`, or from the workbook of the findings. Mark the column
    granted or refused, and fill ticket, by and date. What was granted goes into the plan, and is not asked again. The
    file that the page of a report saves holds both.

    Exit code: 0 done, 1 some rows need a correction (the others are done), 2 bad use or input.

    Example: netcheck answers plans/tarn-hollow conflicts.csv
    """
    from netcheck.app.answers import apply_answers

    o.demand_one_of_write_and_dry_run(write, dry_run)
    as_json = form is o.TextFormat.JSON
    raise typer.Exit(apply_answers(plan, file, o.day_from(today), by.strip(), write=not dry_run, as_json=as_json))
