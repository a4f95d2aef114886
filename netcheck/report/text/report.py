"""Writes the whole report as plain text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tabulate import tabulate

from netcheck.caution import CAUTION
from netcheck.report import words
from netcheck.report.address_list import address_parts
from netcheck.report.model import Report
from netcheck.report.part_rows import (
    Part,
    asked_parts,
    changes_line,
    changes_parts,
    hash_part,
    island_part,
    proof_parts,
    said_part,
    survey_part,
)
from netcheck.report.text.findings import to_text as findings_to_text
from netcheck.report.words import not_checked
from netcheck.requests.build import asked_of
from netcheck.text import safe


def to_text(report: Report) -> bytes:
    """Return the report as UTF-8; the same report gives the same bytes."""
    parts = [safe(words.headline(report)), *(f"DAMAGED RECORD: {safe(alarm, 1000)}" for alarm in words.alarms(report))]
    parts += [f"Needed from IT: {words.needed_from_it(asked_of(report.checked), report)}"]
    parts += [f"DOES NOT FIT: {safe(each, 1000)}" for each in report.misfits]
    parts += [f"Checked on {report.today}; SHA-256 of the plan's files: {report.plan.sha256}"]
    parts += [_part(survey_part(report))]
    parts += [_part(islands)] if (islands := island_part(report)).rows else []
    parts += ["What was not checked\n" + "\n".join(f"- {safe(gap, 1000)}" for gap in not_checked(report))]
    parts += [findings_to_text(report.checked, boxes=True).rstrip("\n")]
    parts += [_part(said)] if (said := said_part(report)).rows else []
    if report.changes:
        parts += [f"What changed\n{safe(changes_line(report.changes), 1000)}"]
        parts += map(_part, changes_parts(report.changes))
    parts += ["IP list", *map(_part, address_parts(report))]
    parts += ["Requests to IT", *map(_part, asked_parts(report)), *map(_part, proof_parts(report))]
    parts += [_part(hash_part(report))]
    parts += ["Before any cable is pulled\n" + "\n".join(f"- {line}" for line in CAUTION)]
    return ("\n\n".join(parts) + "\n").encode("utf-8")


def _part(part: Part) -> str:
    body = "\n".join(safe(line, 1000) for line in part.lines) or _table(part.headers, part.rows) or part.none
    return f"{safe(part.title)}{part.number}\n{body}"


def _table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    cells = [[safe(cell, 1000) for cell in row] for row in rows]
    table = tabulate(cells, headers, tablefmt="simple", disable_numparse=True) if cells else ""
    return "\n".join(line.rstrip() for line in table.splitlines())
