"""Writes the check of a plan as plain text, one finding a line, for files, pipes and search."""

from __future__ import annotations

from tabulate import tabulate

from netcheck.report.finding_groups import MOST_SHOWN, Group, groups_of, headline, next_step, summary_line
from netcheck.rules.engine import Checked

HEADERS = ("rule", "subject", "address", "fix", "what", "where")
DECISION = "decision"  # the column of the report, where findings are to be answered


def to_text(checked: Checked, *, boxes: bool = False) -> str:
    """Return tables by severity, then the counts, with a final line break; *boxes* adds the decisions to choose."""
    tables = [_table(group, boxes) for group in groups_of(checked, MOST_SHOWN)]
    parts = [headline(checked), *tables, summary_line(checked)]
    step = next_step(checked)
    return "\n\n".join(parts) + "\n" + (step + "\n" if step else "")


def _table(group: Group, boxes: bool) -> str:
    answered = boxes and group.severity is not None
    headers = (*HEADERS, DECISION) if answered else HEADERS
    rows = [
        (row.rule, row.subject, row.address, row.fix, row.message, row.where, row.boxes)[: len(headers)]
        for row in group.rows
    ]
    table = tabulate(rows, headers, tablefmt="simple", disable_numparse=True)
    lines = [*(line.rstrip() for line in table.splitlines()), *filter(None, (group.rest,))]
    return f"{group.title} ({group.size})\n" + "\n".join(lines)
