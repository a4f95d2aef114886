"""`netcheck verify`: verifies records, and prints their seals."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o


def command(
    records: Annotated[
        list[Path],
        typer.Argument(help="Records that a proving run wrote.", metavar="RECORD", show_default=False),
    ],
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Verify that no line of a record was changed and that its proofs follow from its counts; print its seal.

    Every verdict is judged again from the recorded counts. Probabilities, times and the summary are compared too.

    Exit codes:
      0  all records are valid
      1  a line or proof does not fit, or the last line is torn
      2  a file cannot be read

    Example: netcheck verify tarn-hollow-2026-11-02.jsonl
    """
    from netcheck.app.verify import verify_records

    raise typer.Exit(verify_records(records, as_json=form is o.TextFormat.JSON))
