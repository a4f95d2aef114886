"""`netcheck verify`: does every line of a record fit, and which seal belongs on the signed paper."""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path

import typer

from netcheck.errors import NetcheckError, Problem, UsageError


class Format(StrEnum):
    """How the result is printed."""

    TEXT = "text"
    JSON = "json"


def command(
    records: list[Path] = typer.Argument(
        help="Records that a proving run wrote.", metavar="RECORD...", show_default=False
    ),
    form: Format = typer.Option(Format.TEXT, "--format", help="How to print the result."),
) -> None:
    """Verify that no line of a record was changed, added or taken out, and print its seal.

    Exit code: 0 intact, 1 a line does not fit or the last one is torn, 2 a file cannot be read.

    Example: netcheck verify tarn-hollow-2026-11-02.jsonl
    """
    from netcheck.record.verify import verify
    from netcheck.report.text.verification import to_json, to_text

    results, problems = [], list[Problem]()
    for path in records:
        try:
            results.append((str(path), verify(path)))
        except NetcheckError as error:
            problems += error.problems
    if form is Format.TEXT:
        typer.echo("\n".join(to_text(name, verification) for name, verification in results), nl=bool(results))
    elif results:
        shapes = [to_json(name, verification) for name, verification in results]
        typer.echo(json.dumps(shapes if len(records) > 1 else shapes[0], indent=2))
    if problems:
        raise UsageError(*problems)
    raise typer.Exit(0 if all(verification.passes for _, verification in results) else 1)
