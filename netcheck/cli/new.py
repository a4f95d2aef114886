"""`netcheck new`: starts a plan, as a folder or as a workbook."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def command(
    target: Annotated[Path, typer.Argument(help="The new folder or workbook.", metavar="FOLDER", show_default=False)],
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Write a workbook instead of a folder.")] = False,
    sources: Annotated[
        list[Path] | None,
        typer.Option(
            "--from",
            metavar="LIST",
            help="Your own device list (.xlsx or .csv) in any layout. Repeatable; several lists make one plan.",
        ),
    ] = None,
    maps: Annotated[
        list[str] | None,
        typer.Option(
            "--map",
            metavar="TITLE=FIELD",
            help='Read a column of LIST as this field, such as "Tag=device" or "2=device". Repeatable.',
        ),
    ] = None,
) -> None:
    """Start a plan, as a small example with comments, or from your own device lists.

    The example passes the check; its comments say what to replace. With --from the command prints which columns and
    values it understood, guessed or could not read. No existing file is overwritten.

    Exit codes:
      0  written
      2  wrong use, or the name is in use

    Example: netcheck new plans/north-hall

    Example: netcheck new --xlsx north-hall.xlsx

    Example: netcheck new plans/north-hall --from devices.xlsx --map "Tag=device"
    """
    from netcheck.app.new_plan import plan_from_lists, start_plan
    from netcheck.errors import UsageError

    if sources:
        plan_from_lists(target, sources, maps or [], workbook=xlsx)
    elif maps:
        raise UsageError.of("--map needs --from", do="Name the device list with --from")
    else:
        start_plan(target, workbook=xlsx)
