"""Writes the check of a plan as plain text, one finding a line, for files, pipes and search."""

from __future__ import annotations

from tabulate import tabulate

from netcheck.report.finding_groups import MOST_SHOWN, Group, groups_of, headline, next_step, summary_line
from netcheck.rules.engine import Checked

HEADERS = ("rule", "subject", "address", "fix", "what", "where")


def to_text(checked: Checked) -> str:
    """Return tables by severity, then the counts, with a final line break."""
    parts = [headline(checked), *map(_table, groups_of(checked, MOST_SHOWN)), summary_line(checked)]
    step = next_step(checked)
    return "\n\n".join(parts) + "\n" + (step + "\n" if step else "")


def _table(group: Group) -> str:
    rows = [(row.rule, row.subject, row.address, row.fix, row.message, row.where) for row in group.rows]
    table = tabulate(rows, HEADERS, tablefmt="simple", disable_numparse=True)
    lines = [*(line.rstrip() for line in table.splitlines()), *filter(None, (group.rest,))]
    return f"{group.title} ({group.size})\n" + "\n".join(lines)
