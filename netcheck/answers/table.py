"""Findings as CSV, one a row, with empty columns for the reviewer's decision, remark, name and last day.

RFC 4180: every field quoted, lines ended by CRLF. The text is UTF-8; a byte order mark leads it only where it holds
more than ASCII, since spreadsheets take a file without one for their local code page, while plain readers without one
in ASCII need no care. Formulas are kept out by `guarded`.
"""

from __future__ import annotations

from netcheck.rules.finding import Finding
from netcheck.tables.formula_guard import guarded
from netcheck.text import safe

COLUMNS = (
    "rule",
    "severity",
    "subjects",
    "address",
    "message",
    "source",
    "fix",
    "where",
    "key",
    "decision",
    "remark",
    "by",
    "until",
)
TO_ANSWER = COLUMNS[-4:]
LONGEST_CELL = 8000  # characters; a workbook's cell holds 32,767


def cells_of(finding: Finding) -> tuple[str, ...]:
    """One finding's cells as they are written: harmless to a terminal, and none that begins like a formula."""
    return tuple(guarded(safe(cell, LONGEST_CELL)) for cell in row_of(finding))


def row_of(finding: Finding) -> tuple[str, ...]:
    """One finding's cells in the order of `COLUMNS`; the last four are for the reviewer."""
    return (
        finding.rule,
        str(finding.severity),
        "; ".join(finding.subjects),
        finding.address or "",
        finding.message,
        finding.source,
        fix_text(finding),
        finding.where,
        finding.key,
        *("" for _ in TO_ANSWER),
    )


def fix_text(finding: Finding) -> str:
    """The fix in one cell: an address, or `subject=address` for each of several, joined by `; `."""
    pairs = finding.fix.addresses if finding.fix else ()
    if len(finding.subjects) == 1:
        return "; ".join(str(address) for _, address in pairs)
    return "; ".join(f"{subject}={address}" for subject, address in pairs)
