"""`netcheck map`: who holds which address of a subnet, drawn in the terminal."""

from __future__ import annotations

import os
import shutil
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from netcheck.cli.progress import Steps
from netcheck.errors import Problem, UsageError
from netcheck.text import listed, safe

if TYPE_CHECKING:
    from netcheck.addr import Address
    from netcheck.plan.model import Plan, Subnet
    from netcheck.rules.engine import Checked
    from netcheck.space.occupancy import Island
    from netcheck.survey.model import Survey


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    subnet: str = typer.Argument(
        "", help="One subnet's name; all of them by default.", metavar="SUBNET", show_default=False
    ),
) -> None:
    """Draw who holds which address of each subnet: sixteen by sixteen cells, by blocks where there are more addresses.

    Beside it, or below on a narrow terminal, stand the letters' meaning and the widest free gaps. An IPv6 subnet is
    listed. Without a terminal, and with NO_COLOR set, there is no colour.

    Exit code: 0 drawn, 2 bad use or a plan that cannot be read.

    Example: netcheck map plans/tarn-hollow process
    """
    from netcheck.plan.read import read_plan
    from netcheck.rules.engine import check
    from netcheck.survey.read import read_surveys

    with Steps(3) as steps:
        steps.begin(f"reading {plan}")
        read = read_plan(plan)
        steps.end()
        if subnet and subnet not in read.subnet_named:
            names = listed([safe(name) for name in read.subnet_named], joint="or")
            raise UsageError(Problem(f"the plan has no subnet {safe(subnet)!r}", do=f"Name one of {names}"))
        steps.begin("reading the surveys")
        surveys = read_surveys(read)
        steps.end()
        steps.begin("looking for conflicts")
        checked = check(read, surveys, date.today())
    colour = sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    print(draw(read, surveys, checked, subnet, shutil.get_terminal_size().columns, colour=colour))


def draw(
    plan: Plan, surveys: tuple[Survey, ...], checked: Checked, only: str, width: int, *, colour: bool = False
) -> str:
    """The maps of all subnets, or of one; an island is named where the plan has several."""
    from netcheck.report.map_text import conflicts_in
    from netcheck.space.occupancy import islands_of

    islands = islands_of(plan, surveys)
    subnets = [subnet for subnet in plan.subnets if only in ("", subnet.name)]
    several = len({subnet.island for subnet in plan.subnets}) > 1
    conflicts = {name: conflicts_in(plan, checked.findings, name) for name in islands}
    maps = []
    for subnet in subnets:
        title = subnet.name + (f" (island {subnet.island})" if several else "")
        maps.append(_one(title, subnet, islands[subnet.island], conflicts[subnet.island], width, colour))
    return "\n\n".join(maps) or "The plan has no subnets."


def _one(title: str, subnet: Subnet, island: Island, conflicts: set[Address], width: int, colour: bool) -> str:
    from netcheck.report.map_text import GAPS, MOST_DRAWN, list_to_text, to_text
    from netcheck.space.map_cells import cells_of, gaps_of, holdings

    prefix = subnet.prefix.value
    if prefix is None:
        return f"{safe(title)}: its prefix cannot be read ({safe(subnet.prefix.text)})"
    gaps = gaps_of(island, prefix, conflicts, GAPS)
    if prefix.family == 6:
        held = holdings(island, prefix, conflicts)
        return list_to_text(f"{title}  {prefix}", held, gaps, width, colour=colour)
    return to_text(title, cells_of(island, prefix, conflicts, MOST_DRAWN), gaps, width, colour=colour)
