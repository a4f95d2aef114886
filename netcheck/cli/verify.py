"""`netcheck verify`: tells whether records are intact, and prints their seals."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o


def command(
    records: Annotated[
        list[Path],
        typer.Argument(help="Records that a proving run wrote.", metavar="RECORD...", show_default=False),
    ],
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Verify that no line of a record was changed and that its proofs fit, and print its seal.

    Verdicts are judged again from the recorded counts; luck, unheard owners, times and the summary are compared.

    Exit code: 0 all fits, 1 a line or a proof does not fit or the last line is torn, 2 a file cannot be read.

    Example: netcheck verify tarn-hollow-2026-11-02.jsonl
    """
    from netcheck.app.verify import verify_records

    raise typer.Exit(verify_records(records, as_json=form is o.TextFormat.JSON))
