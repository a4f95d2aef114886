"""Writes the check of a plan as Markdown tables, for a ticket or a wiki."""

from __future__ import annotations

import re

from tabulate import tabulate

from netcheck.report.finding_groups import Group, groups_of, headline, summary_line
from netcheck.rules.engine import Checked

HEADERS = ("rule", "subject", "address", "what", "fix", "where")
DECISION = "decision"  # the column of the report, where findings are to be answered
# Characters that Markdown, its tables and embedded HTML interpret: CommonMark section 2.4, backslash escapes.
_MARKUP = re.compile(r"[\\`*_{}\[\]<>()#+!|~&@:]")


def to_markdown(checked: Checked) -> str:
    """Return a heading, the counts, and one table for each severity. No value can become markup."""
    return "\n\n".join(findings_parts(checked)) + "\n"


def findings_parts(checked: Checked, *, boxes: bool = False) -> list[str]:
    """Return the heading, the counts and the tables as paragraphs; *boxes* adds the decisions to choose."""
    tables = [_table(group, boxes) for group in groups_of(checked)]
    return [f"# {escaped(headline(checked))}", escaped(summary_line(checked)), *tables]


def escaped(text: str) -> str:
    """Return text with a backslash before every character that could be markup."""
    return _MARKUP.sub(r"\\\g<0>", text)


def _table(group: Group, boxes: bool) -> str:
    headers = (*HEADERS, DECISION) if boxes and group.severity is not None else HEADERS
    cells = [(row.rule, row.subject, row.address, row.message, row.fix, row.where, row.boxes) for row in group.rows]
    rows = [[escaped(cell) for cell in row[: len(headers)]] for row in cells]
    return f"## {escaped(group.title)} ({len(rows)})\n\n" + tabulate(
        rows, headers, tablefmt="pipe", disable_numparse=True
    )
