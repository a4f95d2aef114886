"""Writes the check of a plan as plain text, one finding a line, for files, pipes and search."""

from __future__ import annotations

from tabulate import tabulate

from netcheck.report.finding_groups import (
    MOST_SHOWN,
    Group,
    findings_table,
    groups_of,
    headline,
    next_step,
    summary_line,
)
from netcheck.rules.engine import Checked

HEADERS = ("rule", "subject", "address", "fix", "what", "where")


def to_text(checked: Checked, *, boxes: bool = False) -> str:
    """Return tables by severity, then the counts, with a final line break.

    *boxes* makes the tables of a report: with numbers, islands and the decisions to choose from.
    """
    groups = groups_of(checked, MOST_SHOWN, numbered=boxes)
    parts = [headline(checked), *(_table(checked, group, boxes) for group in groups), summary_line(checked)]
    step = next_step(checked)
    return "\n\n".join(parts) + "\n" + (step + "\n" if step else "")


def _table(checked: Checked, group: Group, boxes: bool) -> str:
    headers: tuple[str, ...] = HEADERS
    rows: list[tuple[str, ...]] = [
        (row.rule, row.subject, row.address, row.fix, row.message, row.where) for row in group.rows
    ]
    if boxes:
        from netcheck.report.words import titles_of  # imports what a check does not need

        columns, rows = findings_table(checked, group, HEADERS)
        headers = titles_of(columns)
    table = tabulate(rows, headers, tablefmt="simple", disable_numparse=True)
    lines = [*(line.rstrip() for line in table.splitlines()), *filter(None, (group.rest,))]
    return f"{group.title} ({group.size})\n" + "\n".join(lines)
