"""The check of a plan as plain text, one finding a line: for files, pipes and search."""

from __future__ import annotations

from tabulate import tabulate

from netcheck.report.findings_rows import Group, groups_of, headline, next_step, summary_line
from netcheck.rules.engine import Checked

HEADERS = ("rule", "subject", "address", "fix", "what", "where")
MOST_SHOWN = 2000  # rows of one group; of a broken file with a million rows nobody reads a million lines
_ALL = "--format json or csv has them all"


def to_text(checked: Checked) -> str:
    """Tables by severity, then the counts; ends with a line break."""
    parts = [headline(checked), *map(_table, groups_of(checked)), summary_line(checked)]
    step = next_step(checked)
    return "\n\n".join(parts) + "\n" + (step + "\n" if step else "")


def _table(group: Group) -> str:
    shown = group.rows[:MOST_SHOWN]
    rows = [(row.rule, row.subject, row.address, row.fix, row.message, row.where) for row in shown]
    table = tabulate(rows, HEADERS, tablefmt="simple", disable_numparse=True)
    more = len(group.rows) - len(shown)
    lines = [*(line.rstrip() for line in table.splitlines()), *([f"... and {more} more: {_ALL}"] if more else ())]
    return f"{group.title} ({len(group.rows)})\n" + "\n".join(lines)
