"""Verifies the chains of records and the files that they name, and prints the result."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from netcheck.errors import NetcheckError, Problem, UsageError
from netcheck.record.attachment import compare_with_file
from netcheck.record.verify import Verification, merged, verify
from netcheck.report.text.verification import ComparedFile, merged_text, to_json, to_text
from netcheck.text import for_terminal, safe


def verify_records(paths: Sequence[Path], *, as_json: bool) -> int:
    """Print each record's state and seal; return 0 if all are intact, else 1.

    Raises UsageError for files that cannot be read, after the other records were printed.
    """
    results, problems = list[tuple[str, Verification]](), list[Problem]()
    files: list[list[ComparedFile]] = []
    for path in paths:
        try:
            results.append((str(path), verify(path)))
        except NetcheckError as error:
            problems += error.problems
            continue
        files.append([ComparedFile(one, *compare_with_file(path, one)) for one in results[-1][1].attachments])
    several = len(paths) > 1
    if results and as_json:
        shapes = [to_json(*one, compared, attempts=several) for one, compared in zip(results, files, strict=True)]
        print(json.dumps(shapes if several else shapes[0], indent=2))
    elif results:
        found = "\n".join(to_text(*one, compared) for one, compared in zip(results, files, strict=True))
        print(for_terminal(found, sys.stdout))
        for lines in _together(results):
            print(lines)
    if problems:
        raise UsageError(*problems)
    fits = all(one.fits for compared in files for one in compared)
    return 0 if fits and all(verification.passes for _, verification in results) else 1


def _together(results: list[tuple[str, Verification]]) -> Iterator[str]:
    """Yield the ports of all records of one plan; simulated and real runs are listed separately."""
    kinds = dict.fromkeys((verification.plan, verification.simulated) for _, verification in results)
    for plan, simulated in kinds:
        same = [(name, one) for name, one in results if (one.plan, one.simulated) == (plan, simulated)]
        if len(same) > 1 and any(one.attempts for _, one in same):
            yield f"plan {safe(plan)}{' (SIMULATED)' if simulated else ''}: {merged_text(merged(same))}"
