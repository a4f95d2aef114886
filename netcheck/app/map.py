"""Draws the maps of a plan's subnets for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.addr import Address
    from netcheck.plan.model import Plan, Subnet
    from netcheck.rules.engine import Checked
    from netcheck.space.occupancy import Island
    from netcheck.survey.model import Survey


def draw(
    plan: Plan, surveys: tuple[Survey, ...], checked: Checked, only: str, width: int, *, colour: bool = False
) -> str:
    """The maps of all subnets, or of one; an island is named where the plan has several."""
    from netcheck.report.text.subnet_map import conflicts_in
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
    from netcheck.report.text.subnet_map import GAPS, MOST_DRAWN, list_to_text, to_text
    from netcheck.space.map_cells import cells_of, gaps_of, holdings

    prefix = subnet.prefix.value
    if prefix is None:
        return f"{safe(title)}: its prefix cannot be read ({safe(subnet.prefix.text)})"
    gaps = gaps_of(island, prefix, conflicts, GAPS)
    if prefix.family == 6:
        held = holdings(island, prefix, conflicts)
        return list_to_text(f"{title}  {prefix}", held, gaps, width, colour=colour)
    return to_text(title, cells_of(island, prefix, conflicts, MOST_DRAWN), gaps, width, colour=colour)
