"""`netcheck new`: starts a plan, as a folder or as a workbook."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def command(
    target: Annotated[
        Path, typer.Argument(help="The folder, or the workbook, to make.", metavar="FOLDER", show_default=False)
    ],
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Make a workbook instead of a folder.")] = False,
) -> None:
    """Start a plan: a small example that passes the check, with comments that say what to replace.

    No existing file is overwritten.

    Exit code: 0 made, 2 bad use, or the name is in use.

    Example: netcheck new plans/north-hall

    Example: netcheck new --xlsx north-hall.xlsx
    """
    from netcheck.app.new_plan import start_plan

    start_plan(target, workbook=xlsx)
