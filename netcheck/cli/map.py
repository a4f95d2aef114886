"""`netcheck map`: draws who holds which address of a subnet in the terminal."""

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
        bool, typer.Option("--who", help="List every address in use: who has it, name, MAC, switch port and place.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write the list of --who as .csv or .xlsx.", show_default=False),
    ] = None,
) -> None:
    """Draw who holds which address of each subnet.

    A map has sixteen by sixteen cells; a larger subnet is drawn by blocks of addresses. The legend and the widest free
    ranges stand to the right, or below on a narrow terminal. An IPv6 subnet is listed. Without a terminal, and with
    NO_COLOR set, there is no colour.

    With --who the addresses in use are listed instead, and --out writes this list into a file.

    Exit code: 0 drawn, 2 bad use or a plan that cannot be read.

    Example: netcheck map plans/tarn-hollow process

    Example: netcheck map plans/tarn-hollow process --who
    """
    from netcheck.app.map import print_map

    print_map(plan, subnet, who=who, out=out)
