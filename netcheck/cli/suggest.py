"""`netcheck suggest`: proposes free addresses for interfaces that have none or must change theirs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import UsageError


def command(
    plans: Annotated[
        list[Path],
        typer.Argument(help="Plan folder, plan.toml or workbook; after --beside further ones.", metavar="PLAN"),
    ],
    beside: Annotated[
        list[Path] | None,
        typer.Option("--beside", help="Other plans of the site; their addresses are not proposed."),
    ] = None,
    write: Annotated[bool, typer.Option("--write", help="Put the addresses into the plan's files.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only show them; this is the default.")] = False,
    form: o.Format = o.TextFormat.TEXT,
    today: o.Today = "",
) -> None:
    """Propose free addresses for interfaces that have none or must change theirs.

    All proposals fit together, each says why it was chosen, and sound addresses stay. With --write they are put into
    the plan; comments, order and layout stay, and in a workbook only these cells change.

    With --beside the proposals keep clear of everything that other plans of the site use, and this plan moves where
    both plan one address.

    Exit code: 0 all could be placed, 1 some could not, or have an address that cannot be read and is kept, 2 bad use or
    a plan that cannot be read.

    Example: netcheck suggest plans/tarn-hollow --write

    Example: netcheck suggest plant/cell-2 --beside plant/*
    """
    from netcheck.app.suggest import suggest

    o.demand_one_of_write_and_dry_run(write, dry_run)
    plan, *more = plans
    if more and not beside:
        raise UsageError.of("one plan at a time gets proposals", do="Put --beside in front of the other plans")
    others = [*(beside or ()), *more]  # a shell gives the first name of plant/* to the option and the rest as arguments
    as_json = form is o.TextFormat.JSON
    raise typer.Exit(suggest(plan, o.day_from(today), others, write=write, as_json=as_json))
