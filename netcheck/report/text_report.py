"""Writes the whole report as plain text and as Markdown, and a check as Markdown, for a ticket or a wiki.

In Markdown no value can become markup.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from tabulate import tabulate

from netcheck.caution import CAUTION
from netcheck.report import words
from netcheck.report.address_list import address_parts
from netcheck.report.finding_groups import Group, findings_table, groups_of, headline, summary_line
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
from netcheck.report.text.findings import PATH_HEADS, path_rows
from netcheck.report.text.findings import to_text as findings_to_text
from netcheck.report.words import not_checked
from netcheck.requests.build import asked_of
from netcheck.rules.engine import Checked
from netcheck.text import safe

FINDING_HEADERS = ("rule", "subject", "address", "what", "fix", "where")
# Characters that Markdown, its tables and embedded HTML interpret: CommonMark section 2.4, backslash escapes.
_MARKUP = re.compile(r"[\\`*_{}\[\]<>()#+!|~&@:]")


def to_text(report: Report) -> bytes:
    """Return the report as UTF-8; the same report gives the same bytes."""
    parts = [safe(words.headline(report)), *(f"DAMAGED RECORD: {safe(alarm, 1000)}" for alarm in words.alarms(report))]
    parts += [f"Needed from IT: {words.needed_from_it(asked_of(report.checked), report)}"]
    parts += [f"DOES NOT FIT: {safe(each, 1000)}" for each in report.misfits]
    parts += [f"Checked on {report.today}; SHA-256 of the plan's files: {report.plan.sha256}"]
    parts += [_text_part(survey_part(report))]
    parts += [_text_part(islands)] if (islands := island_part(report)).rows else []
    parts += ["What was not checked\n" + "\n".join(f"- {safe(gap, 1000)}" for gap in not_checked(report))]
    parts += [findings_to_text(report.checked, boxes=True).rstrip("\n")]
    parts += [_text_part(said)] if (said := said_part(report)).rows else []
    if report.changes:
        parts += [f"What changed\n{safe(changes_line(report.changes), 1000)}"]
        parts += map(_text_part, changes_parts(report.changes))
    parts += ["IP list", *map(_text_part, address_parts(report))]
    parts += ["Requests to IT", *map(_text_part, asked_parts(report)), *map(_text_part, proof_parts(report))]
    parts += [_text_part(hash_part(report))]
    parts += ["Before any cable is pulled\n" + "\n".join(f"- {line}" for line in CAUTION)]
    return ("\n\n".join(parts) + "\n").encode("utf-8")


def _text_part(part: Part) -> str:
    body = "\n".join(safe(line, 1000) for line in part.lines) or _text_table(part.headers, part.rows) or part.none
    return f"{safe(part.title)}{part.number}\n{body}"


def _text_table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    cells = [[safe(cell, 1000) for cell in row] for row in rows]
    table = tabulate(cells, headers, tablefmt="simple", disable_numparse=True) if cells else ""
    return "\n".join(line.rstrip() for line in table.splitlines())


def checked_to_markdown(checked: Checked) -> str:
    """Return a heading, the counts, and one table for each severity. No value can become markup."""
    return "\n\n".join(findings_parts(checked)) + "\n"


def paths_to_markdown(checked: Checked) -> str:
    """Return the paths of the conversations, there and back, as a table; no value can become markup."""
    rows = [[escaped(cell) for cell in row] for talk in checked.conversations for row in path_rows(talk)]
    body = tabulate(rows, PATH_HEADS, "pipe", disable_numparse=True) if rows else "The plan lists no conversations."
    return f"## Conversations ({len(checked.conversations)})\n\n{body}\n"


def findings_parts(checked: Checked, *, boxes: bool = False) -> list[str]:
    """Return the heading, the counts and the tables as paragraphs.

    With *boxes* the tables are those of a report, with numbers, islands and the decisions to choose from.
    """
    tables = [_group_table(checked, group, boxes) for group in groups_of(checked, numbered=boxes)]
    return [f"# {escaped(headline(checked))}", escaped(summary_line(checked)), *tables]


def escaped(text: str) -> str:
    """Return text with a backslash before every character that could be markup."""
    return _MARKUP.sub(r"\\\g<0>", text)


def _group_table(checked: Checked, group: Group, boxes: bool) -> str:
    """Return the heading and the Markdown table of one group; with *boxes* as in a report."""
    headers: tuple[str, ...] = FINDING_HEADERS
    cells: list[tuple[str, ...]] = [
        (row.rule, row.subject, row.address, row.message, row.fix, row.where) for row in group.rows
    ]
    if boxes:
        columns, cells = findings_table(checked, group, FINDING_HEADERS)
        headers = words.titles_of(columns)
    rows = [[escaped(cell) for cell in row] for row in cells]
    table = tabulate(rows, headers, tablefmt="pipe", disable_numparse=True)
    return f"## {escaped(group.title)} ({len(rows)})\n\n{table}"


def to_markdown(report: Report) -> bytes:
    """Return the report as UTF-8; the same report gives the same bytes."""
    head, *rest = findings_parts(report.checked, boxes=True)
    parts = [head, f"**{_plain(words.headline(report))}**", *(f"**{_plain(alarm)}**" for alarm in words.alarms(report))]
    parts += [f"Needed from IT: {_plain(words.needed_from_it(asked_of(report.checked), report))}"]
    parts += [f"**Does not fit: {_plain(each)}**" for each in report.misfits]
    parts += [f"Checked on {report.today}; SHA-256 of the plan's files: {report.plan.sha256}"]
    parts += _markdown_part(survey_part(report), "##")
    parts += _markdown_part(islands, "##") if (islands := island_part(report)).rows else ()
    parts += ["## What was not checked", "\n".join(f"- {_plain(gap)}" for gap in not_checked(report)), *rest]
    parts += _markdown_part(said, "##") if (said := said_part(report)).rows else ()
    if report.changes:
        parts += ["## What changed", _plain(changes_line(report.changes))]
        parts += [text for part in changes_parts(report.changes) for text in _markdown_part(part)]
    parts += ["## IP list", *(text for part in address_parts(report) for text in _markdown_part(part))]
    parts += ["## Requests to IT"]
    parts += [text for part in asked_parts(report) for text in _markdown_part(part)]
    parts += [text for part in proof_parts(report) for text in _markdown_part(part, "##")]
    parts += _markdown_part(hash_part(report), "##")
    parts += ["## Before any cable is pulled", "\n".join(f"- {_plain(line)}" for line in CAUTION)]
    return ("\n\n".join(parts) + "\n").encode("utf-8")


def _markdown_part(part: Part, level: str = "###") -> tuple[str, str]:
    """Return heading and body; zone lines stand in a code fence, which they cannot close: they have no backtick."""
    if part.lines and part.counted:
        body = "\n".join(("```", *(safe(line, 1000) for line in part.lines), "```"))
    elif part.lines:
        body = "\n".join(f"- {_plain(line)}" for line in part.lines)
    else:
        body = _markdown_table(part.headers, part.rows) or part.none
    return f"{level} {_plain(part.title)}{part.number}", body


def _plain(text: str) -> str:
    return escaped(safe(text, 1000))


def _markdown_table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    cells = [[_plain(cell) for cell in row] for row in rows]
    return tabulate(cells, headers, tablefmt="pipe", disable_numparse=True) if cells else ""
