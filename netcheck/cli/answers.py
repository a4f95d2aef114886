"""`netcheck answers`: reads the decisions of the site and writes them into the plan."""

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
            help="The answered findings or requests: a CSV file or an .xlsx workbook.",
            metavar="FILE",
            show_default=False,
        ),
    ],
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who decided, for rows without a name.")] = "",
    write: Annotated[
        bool, typer.Option("--write", help="Put the decisions into the plan; this is the default.")
    ] = False,
    dry_run: o.DryRun = False,
    form: o.Format = o.TextFormat.TEXT,
    today: o.Today = "",
) -> None:
    r"""Read the answers of the site, and write its decisions into the plan.

    Findings: `netcheck report PLAN --out FILE.csv` (or `.xlsx`) writes the file. The column decision has one of these:
      use the proposal
      live with it as it is   A conflict needs the reason in the column remark.
      change it to            The value is in the column change-to or remark.
      question                The question is in the column remark.
      withdraw                An accepted finding becomes open again.

    Each question and each change goes into the plan as [\[remark]]. Write your answer into its key `reply`; the next
    report shows both. Comments and layout of the plan do not change. Reading the same answers again changes nothing.

    Requests: `netcheck report PLAN --requests FILE.csv` writes the file; the workbook of the findings has them too.
    Mark the column granted or refused, and fill in ticket, by and date. Grants go into the plan, and are not requested
    again.

    The page of a report saves one file with the answers to findings and requests, and with the SHA-256 of its plan. If
    your plan has changed since, a warning says it. An answer is applied only if its finding or request is the same; if
    the finding has another address now, the row is refused.

    Exit codes:
      0  done
      1  a row needs a correction; the other rows are done
      2  wrong use or input

    Example: netcheck answers plans/tarn-hollow conflicts.csv
    """
    from netcheck.app.answers import apply_answers

    o.demand_one_of_write_and_dry_run(write, dry_run)
    as_json = form is o.TextFormat.JSON
    raise typer.Exit(apply_answers(plan, file, o.day_from(today), by.strip(), write=not dry_run, as_json=as_json))
