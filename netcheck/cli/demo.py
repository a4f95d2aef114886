"""`netcheck demo`: shows the whole job on an invented plant and a simulated bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def command(
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Folder for plan, record and reports.")] = Path(
        "netcheck-demo"
    ),
) -> None:
    """Check an invented plant, correct its plan, prove its ports on a simulated bench, and write reports.

    Needs no hardware, rights or network, and takes less than ten seconds.

    Example: netcheck demo --out netcheck-demo
    """
    from netcheck.app.demo import demonstrate

    demonstrate(out)
