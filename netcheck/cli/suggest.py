"""`netcheck suggest`: proposes free addresses for interfaces that have none or must change theirs."""

from __future__ import annotations

from typing import Annotated

import typer

from netcheck.cli import options as o


def command(
    plan: o.PlanPath,
    write: Annotated[bool, typer.Option("--write", help="Put the addresses into the plan's files.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show them; this is the default.")] = False,
    form: o.Format = o.TextFormat.TEXT,
    today: o.Today = "",
) -> None:
    """Propose free addresses for interfaces that have none or must change theirs.

    All proposals fit together, each says why it was chosen, and sound addresses stay. With --write they are put into
    the plan; comments, order and layout stay, and in a workbook only these cells change.

    Exit code: 0 all could be placed, 1 some could not, 2 bad use or a plan that cannot be read.

    Example: netcheck suggest plans/tarn-hollow --write
    """
    from netcheck.app.suggest import suggest

    o.demand_one_of_write_and_dry_run(write, dry_run)
    raise typer.Exit(suggest(plan, o.day_from(today), write=write, as_json=form is o.TextFormat.JSON))
