"""Divides a block into subnets that do not overlap those of a plan, and writes them into the plan."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from netcheck.addr import Address, Prefix, Range
from netcheck.errors import Problem, UsageError
from netcheck.plan.model import SITE, Plan
from netcheck.plan.write.new_subnets import with_subnets
from netcheck.report.text.carving import to_json, to_text
from netcheck.space.carve import Carving, Need, carve
from netcheck.space.intervals import range_of, single
from netcheck.space.occupancy import islands_of
from netcheck.survey.model import Survey
from netcheck.survey.read import read_site
from netcheck.text import for_terminal, safe


def carve_block(
    block: Prefix,
    needs: Sequence[Need],
    growth: Fraction,
    *,
    used: Sequence[Prefix],
    plan: Path | None,
    write: bool,
    as_json: bool,
) -> None:
    """Print the subnets of a block, without the addresses that *plan* uses; with *write* add the subnets to *plan*."""
    taken = [*map(range_of, used)]
    if plan is not None:
        taken += _used_by(*read_site(plan), block)
    try:
        carving = carve(block, needs, growth, taken)
    except ValueError as error:
        raise UsageError(Problem(str(error))) from error
    written = _write(plan, carving) if write and plan is not None else []
    print(
        json.dumps(to_json(carving, growth), indent=2)
        if as_json
        else for_terminal(to_text(carving).rstrip("\n"), sys.stdout)
    )
    if not as_json:
        print("\n" + "\n".join(written or ["Nothing was written; --plan PLAN --write adds these subnets to a plan."]))


def _used_by(plan: Plan, surveys: tuple[Survey, ...], block: Prefix) -> Iterator[Range]:
    """Yield the used ranges in the block: subnets, router interfaces, planned addresses, and known site hosts."""
    yield from (range_of(one.prefix.value) for one in plan.subnets if one.prefix.value and one.island == SITE)
    for router in plan.routers:
        if router.island == SITE:
            yield from (range_of(cell.value.prefix) for cell in router.interfaces if cell.value)
    if (island := islands_of(plan, surveys).get(SITE)) is not None:
        yield from island.claimed.ranges()
        for value in island.hosts.values(range_of(block)):
            yield single(Address(block.family, value))


def _write(plan: Path, carving: Carving) -> list[str]:
    subnets = [(one.need.name, one.prefix, one.gateway) for one in carving.subnets]
    edit = with_subnets(plan, subnets)
    edit.write()
    shown = safe(str(plan))
    return [f"written: {safe(str(edit.path))}", f"Add VLANs and pools, then run: netcheck check {shown}"]
