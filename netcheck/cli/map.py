"""`netcheck map`: who holds which address of a subnet, drawn in the terminal."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from netcheck.errors import Problem, UsageError
from netcheck.text import listed, safe

if TYPE_CHECKING:
    from netcheck.plan.model import Plan
    from netcheck.rules.engine import Checked
    from netcheck.survey.source import Survey


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    subnet: str = typer.Argument("", help="One subnet's name; all of them by default.", metavar="[SUBNET]"),
) -> None:
    """Draw who holds which address of each subnet.

    Example: netcheck map plans/tarn-hollow process
    """
    from netcheck.plan.reading import read_plan
    from netcheck.rules.engine import check
    from netcheck.survey.reading import read_surveys

    read = read_plan(plan)
    surveys = read_surveys(read)
    if subnet and subnet not in read.subnet_named:
        names = listed([safe(name) for name in read.subnet_named], joint="or")
        raise UsageError(Problem(f"the plan has no subnet {safe(subnet)!r}", do=f"Name one of {names}"))
    typer.echo(draw(read, surveys, check(read, surveys, date.today()), subnet, shutil.get_terminal_size().columns))


def draw(plan: Plan, surveys: tuple[Survey, ...], checked: Checked, only: str, width: int) -> str:
    """The maps of all subnets that can be drawn, or of one."""
    from netcheck.report.map_text import conflicts_in, to_text
    from netcheck.space.cells import cells_of
    from netcheck.space.occupancy import islands_of

    islands = islands_of(plan, surveys)
    maps = []
    for subnet in plan.subnets:
        if only and subnet.name != only:
            continue
        prefix = subnet.prefix.value
        if prefix is None or (prefix.family == 6 and prefix.size > 1 << 20):
            maps.append(f"{safe(subnet.name)}: its prefix cannot be drawn ({safe(subnet.prefix.text)})")
        else:
            conflicts = conflicts_in(plan, checked.findings, subnet.island)
            maps.append(to_text(subnet.name, cells_of(islands[subnet.island], prefix, conflicts), width))
    return "\n\n".join(maps)
