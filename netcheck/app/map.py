"""Draws the maps of a plan's subnets for the terminal."""

from __future__ import annotations

import os
import shutil
import sys
from datetime import date
from pathlib import Path
from textwrap import wrap

from netcheck.addr import Address
from netcheck.app.progress import Steps
from netcheck.app.remarks import report_failed_surveys, report_other_sheets
from netcheck.errors import Problem, UsageError
from netcheck.files import write_atomically
from netcheck.plan.model import Plan, Subnet
from netcheck.report.address_list import address_list_to_text, to_csv, to_xlsx
from netcheck.report.formats import demand_apart
from netcheck.report.text.subnet_map import GAPS, MOST_DRAWN, conflicts_in, list_to_text, to_text
from netcheck.rules.engine import Checked, check
from netcheck.space.map_cells import cells_of, gaps_of, holdings
from netcheck.space.occupancy import Island, islands_of
from netcheck.survey.model import Survey
from netcheck.survey.read import read_site
from netcheck.text import listed, safe

FREE = "A free address is in neither the plan nor its surveys, but it may be in use. Ask IT before you use it."


def print_map(path: Path, subnet: str, *, who: bool = False, out: Path | None = None) -> None:
    """Read and check a plan, and print the maps of all its subnets or of the named one; with *who* the address list."""
    with Steps(2) as steps:
        steps.begin(f"reading {path}")
        plan, surveys = read_site(path, in_part=True)
        report_other_sheets(plan)
        report_failed_surveys(surveys)
        steps.end()
        if subnet and subnet not in plan.subnet_named:
            names = listed([safe(name) for name in plan.subnet_named], joint="or")
            raise UsageError(Problem(f"the plan has no subnet {safe(subnet)!r}", do=f"Name one of {names}"))
        if who or out is not None:
            _address_list(plan, surveys, subnet, out)
            return
        steps.begin("looking for conflicts")
        checked = check(plan, surveys, date.today())
    colour = sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    width = shutil.get_terminal_size().columns
    print(draw(plan, surveys, checked, subnet, width, colour=colour))
    if plan.subnets:
        print("", *wrap(FREE, width), sep="\n")


def _address_list(plan: Plan, surveys: tuple[Survey, ...], only: str, out: Path | None) -> None:
    """Print the addresses in use of all subnets, or of the one named *only*; or write them to *out*."""
    islands = islands_of(plan, surveys)
    subnets = [one for one in plan.subnets if only in ("", one.name)]
    if out is None:
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 0
        print(address_list_to_text(subnets, islands, width))
        return
    writers = {".csv": to_csv, ".xlsx": to_xlsx}
    write = writers.get(out.suffix.casefold())
    if write is None:
        raise UsageError.of(
            f"--out {safe(str(out), 200)} does not end in .csv or .xlsx", do="Choose one of these endings"
        )
    demand_apart([out], plan, [])
    write_atomically(out, write(subnets, islands))
    print(f"wrote {safe(str(out))}")


def draw(
    plan: Plan, surveys: tuple[Survey, ...], checked: Checked, only: str, width: int, *, colour: bool = False
) -> str:
    """Return the maps of all subnets, or of the one named *only*; titles name the island if there are several."""

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

    prefix = subnet.prefix.value
    if prefix is None:
        return f"{safe(title)}: its prefix cannot be read ({safe(subnet.prefix.text)})"
    gaps = gaps_of(island, prefix, conflicts, GAPS)
    if prefix.family == 6:
        held = holdings(island, prefix, conflicts)
        return list_to_text(f"{title}  {prefix}", held, gaps, width, colour=colour)
    return to_text(title, cells_of(island, prefix, conflicts, MOST_DRAWN), gaps, width, colour=colour)
