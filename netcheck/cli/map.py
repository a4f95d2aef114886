"""`netcheck map`: who holds which address of a subnet, drawn in the terminal."""

from __future__ import annotations

import os
import shutil
import sys
from datetime import date
from pathlib import Path

import typer

from netcheck.app.progress import Steps
from netcheck.errors import Problem, UsageError
from netcheck.text import listed, safe


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
    from netcheck.app.map import draw
    from netcheck.rules.engine import check
    from netcheck.survey.read import read_site

    with Steps(2) as steps:
        steps.begin(f"reading {plan}")
        read, surveys = read_site(plan)
        steps.end()
        if subnet and subnet not in read.subnet_named:
            names = listed([safe(name) for name in read.subnet_named], joint="or")
            raise UsageError(Problem(f"the plan has no subnet {safe(subnet)!r}", do=f"Name one of {names}"))
        steps.begin("looking for conflicts")
        checked = check(read, surveys, date.today())
    colour = sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    print(draw(read, surveys, checked, subnet, shutil.get_terminal_size().columns, colour=colour))
