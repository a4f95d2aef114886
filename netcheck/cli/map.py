"""`netcheck map`: draws the addresses of a subnet in the terminal, or lists who has which address."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o


def command(
    plan: o.PlanPath,
    subnet: Annotated[
        str, typer.Argument(help="Name of one subnet. Default: all.", metavar="SUBNET", show_default=False)
    ] = "",
    who: Annotated[
        bool,
        typer.Option("--who", help="List every address in use, with its holder, name, MAC, switch port and place."),
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Write the list of --who to this .csv or .xlsx file.", show_default=False
        ),
    ] = None,
) -> None:
    """Draw the addresses of each subnet with their uses, or list who has which address.

    A map has sixteen by sixteen cells; each cell is one address, or in a larger subnet one block of addresses. The
    legend and the widest free gaps stand to the right of the map, or below it on a narrow terminal. An IPv6 subnet
    is a list. There is no colour without a terminal or if NO_COLOR is set.

    A free address is in neither the plan nor its surveys, but it may be in use.

    With --who the command lists the addresses in use instead; --out writes this list to a file.

    Exit codes:
      0  drawn
      2  wrong use, or a plan that cannot be read

    Example: netcheck map plans/tarn-hollow process

    Example: netcheck map plans/tarn-hollow process --who
    """
    from netcheck.app.map import print_map

    print_map(plan, subnet, who=who, out=out)
