"""Defines the table of findings that a reviewer fills in: its columns, and the cells of a finding."""

from __future__ import annotations

from netcheck.answers.decisions import choices_of
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
    "choices",
    "decision",
    "change-to",
    "remark",
    "by",
    "until",
)
TO_ANSWER = COLUMNS[-5:]
LONGEST_CELL = 8000  # characters; a workbook's cell holds 32,767


def cells_of(finding: Finding) -> tuple[str, ...]:
    """Return the cells of a finding as they are written: without control characters, and none begins as a formula."""
    return tuple(guarded(safe(cell, LONGEST_CELL)) for cell in row_of(finding))


def row_of(finding: Finding) -> tuple[str, ...]:
    """Return the cells of a finding in the order of `COLUMNS`; those of `TO_ANSWER` are empty."""
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
        " / ".join(choices_of(finding)),
        *("" for _ in TO_ANSWER),
    )


def fix_text(finding: Finding) -> str:
    """Return the fix in one cell: an address, or `subject=address` for each of several, joined by `; `."""
    pairs = finding.fix.addresses if finding.fix else ()
    if len(finding.subjects) == 1:
        return "; ".join(str(address) for _, address in pairs)
    return "; ".join(f"{subject}={address}" for subject, address in pairs)
