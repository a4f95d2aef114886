"""`netcheck suggest`: proposes free addresses for interfaces that have no address or must change it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import UsageError


def command(
    plans: Annotated[
        list[Path],
        typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN"),
    ],
    beside: Annotated[
        list[Path] | None,
        typer.Option(
            "--beside", metavar="PLAN", help="Other plans of the site, after PLAN; their addresses are not proposed."
        ),
    ] = None,
    write: Annotated[bool, typer.Option("--write", help="Write the addresses into the plan's files.")] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show the proposals and write nothing; this is the default.")
    ] = False,
    form: o.Format = o.TextFormat.TEXT,
    today: o.Today = "",
) -> None:
    """Propose free addresses for interfaces that have no address or must change it.

    No two proposals have one address, and each proposal gives its reason. Addresses without a finding do not change.
    With --write the proposals go into the plan: comments, order and layout do not change, and in a workbook only the
    address cells change.

    With --beside no proposal is an address that another plan of the site uses. If both plans have one address, this
    plan gets a new one.

    Exit codes:
      0  every interface has an address
      1  an interface could not be placed, or its address cannot be read
      2  wrong use, or a plan that cannot be read

    Example: netcheck suggest plans/tarn-hollow --write

    Example: netcheck suggest plant/cell-2 --beside plant/*
    """
    from netcheck.app.suggest import suggest

    o.demand_one_of_write_and_dry_run(write, dry_run)
    plan, *more = plans
    if more and not beside:
        raise UsageError.of("several plans were named", do="Name one plan, and put --beside in front of the others")
    others = [*(beside or ()), *more]  # a shell expands plant/*: the option gets only the first
    as_json = form is o.TextFormat.JSON
    raise typer.Exit(suggest(plan, o.day_from(today), others, write=write, as_json=as_json))
