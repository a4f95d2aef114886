"""`netcheck demo`: the main job on an invented plant and a simulated bench, without hardware, rights or network."""

from __future__ import annotations

from pathlib import Path

import typer


def command(
    out: Path = typer.Option(Path("netcheck-demo"), "--out", help="Folder for plan, record and reports."),
) -> None:
    """Check an invented plant, mend its plan, prove its ports on a simulated bench, and write the reports.

    Needs no hardware, rights or network, and takes less than ten seconds.

    Example: netcheck demo --out netcheck-demo
    """
    from netcheck.app.demo import demonstrate

    demonstrate(out)
