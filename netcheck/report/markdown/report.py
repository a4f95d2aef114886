"""Writes the whole report as Markdown, for a ticket or a wiki. `escaped` keeps every value from becoming markup."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tabulate import tabulate

from netcheck.caution import CAUTION
from netcheck.report import words
from netcheck.report.markdown.findings import escaped, findings_parts
from netcheck.report.model import Report
from netcheck.report.not_checked import not_checked
from netcheck.report.part_rows import Part, asked_parts, changes_line, changes_parts
from netcheck.report.proof_rows import HEADERS, RECORD_HEADERS, port_rows, record_rows, survey_rows
from netcheck.requests.build import asked_of
from netcheck.text import safe


def to_markdown(report: Report) -> bytes:
    """Return the report as UTF-8; the same report gives the same bytes."""
    head, *rest = findings_parts(report.checked, boxes=True)
    parts = [head, f"**{_plain(words.headline(report))}**", *(f"**{_plain(alarm)}**" for alarm in words.alarms(report))]
    parts += [f"Needed from IT: {_plain(words.needed_from_it(asked_of(report.checked), report))}"]
    parts += [f"**Does not fit: {_plain(each)}**" for each in report.misfits]
    parts += [f"Checked on {report.today}; SHA-256 of the plan's files: {report.plan.sha256}"]
    parts += ["## Surveys", _table(("file", "taken", "covers", "hosts"), survey_rows(report)) or "None."]
    parts += ["## What was not checked", "\n".join(f"- {_plain(gap)}" for gap in not_checked(report)), *rest]
    if report.changes:
        parts += ["## What changed", _plain(changes_line(report.changes))]
        parts += [text for part in changes_parts(report.changes) for text in _part(part)]
    parts += ["## Requests to IT"]
    parts += [text for part in asked_parts(report) for text in _part(part)]
    parts += ["## Proofs", _table(HEADERS, port_rows(report)) or "No record of a proving run was given."]
    if report.records:
        parts += ["## Records and seals", _table(RECORD_HEADERS, record_rows(report))]
    parts += ["## Before any cable is pulled", "\n".join(f"- {_plain(line)}" for line in CAUTION)]
    return ("\n\n".join(parts) + "\n").encode("utf-8")


def _part(part: Part) -> tuple[str, str]:
    """Return heading and body; zone lines stand in a fence, which they cannot close: they hold no backtick."""
    lines = "\n".join(safe(line, 1000) for line in part.lines)
    body = f"```\n{lines}\n```" if lines else _table(part.headers, part.rows) or "None."
    return f"### {_plain(part.title)} ({part.size})", body


def _plain(text: str) -> str:
    return escaped(safe(text, 1000))


def _table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    cells = [[_plain(cell) for cell in row] for row in rows]
    return tabulate(cells, headers, tablefmt="pipe", disable_numparse=True) if cells else ""
