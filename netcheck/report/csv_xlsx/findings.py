"""Writes findings as CSV, one finding a row, with empty columns for the reviewer's decision, remark, name and last day.

RFC 4180: every field is quoted and lines end with CRLF. The text is UTF-8. A byte order mark leads it only where it
holds more than ASCII: spreadsheet programs read a file without one in the local code page, and plain readers of ASCII
files do not expect one.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from netcheck.answers.table import COLUMNS, cells_of
from netcheck.report.model import Report
from netcheck.rules.finding import Finding


def to_csv(report: Report) -> bytes:
    """Return all open findings in the report's order."""
    return findings_to_csv(report.checked.findings)


def findings_to_csv(findings: Iterable[Finding]) -> bytes:
    """These findings in their order."""
    return rows_to_csv(COLUMNS, map(cells_of, findings))


def rows_to_csv(titles: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """Rows whose cells are safe already, below their titles."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(titles)
    writer.writerows(rows)
    text = out.getvalue()
    return text.encode("ascii" if text.isascii() else "utf-8-sig")
