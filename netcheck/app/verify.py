"""Verifies the chains of records and prints what was found."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from netcheck.errors import NetcheckError, Problem, UsageError
from netcheck.record.verify import verify
from netcheck.report.text.verification import to_json, to_text


def verify_records(paths: Sequence[Path], *, as_json: bool) -> int:
    """Print each record's state and seal; return 0 where all are intact, else 1. UsageError: files that cannot be read.

    The readable records are printed before the error is raised.
    """
    results, problems = [], list[Problem]()
    for path in paths:
        try:
            results.append((str(path), verify(path)))
        except NetcheckError as error:
            problems += error.problems
    if results and as_json:
        shapes = [to_json(name, verification) for name, verification in results]
        print(json.dumps(shapes if len(paths) > 1 else shapes[0], indent=2))
    elif results:
        print("\n".join(to_text(name, verification) for name, verification in results))
    if problems:
        raise UsageError(*problems)
    return 0 if all(verification.passes for _, verification in results) else 1
