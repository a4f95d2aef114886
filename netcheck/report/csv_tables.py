"""Writes findings and requests to IT as CSV: one finding or request in a row, with empty columns for the answers.

RFC 4180: every field is quoted and lines end with CRLF. The text is UTF-8. It begins with a byte order mark only if it
holds characters beyond ASCII: spreadsheet programs read a file without the mark in the local code page, and simple
readers of ASCII files do not expect the mark.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from netcheck.answers.grants import TO_ANSWER
from netcheck.answers.table import COLUMNS, LONGEST_CELL, REPORT_COLUMNS, cells_of, report_row
from netcheck.caution import CAUTION
from netcheck.proof.result import Verdict
from netcheck.proof.settings.model import wrong_of
from netcheck.report.model import Report
from netcheck.requests.build import asked_of, changed_since
from netcheck.requests.model import Request
from netcheck.rules.accept import remarks_on
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding, Severity
from netcheck.tables.delimited import guarded
from netcheck.text import safe


def to_csv(report: Report) -> bytes:
    """Return all open findings in the report's order, then the ports with wrong settings.

    A finding has its number and its earlier answers.
    """
    remarks = remarks_on(report.checked.findings, report.plan.remarks)
    rows = [
        report_row(str(number), finding, remarks=remarks.get(finding.key, ()))
        for number, finding in enumerate(report.checked.findings, 1)
    ]
    rows += [report_row("", finding) for finding in wrong_settings(report)]
    return rows_to_csv(REPORT_COLUMNS, map(safe_cells, rows))


def wrong_settings(report: Report) -> tuple[Finding, ...]:
    """Return a finding for each port whose mask or gateway differs from the plan, for rows below the findings."""
    return tuple(
        Finding(
            rule=str(Verdict.WRONG_SETTINGS),
            severity=Severity.CONFLICT,
            subjects=(port.proof.subject,),
            address=port.proof.address,
            message=port.proof.why,
            source="found on site (prove --settings)",
            fix=None,
            where="" if port.evidence is None else f"{port.evidence.record}: line {port.evidence.proved.line}",
        )
        for port in report.ports
        if wrong_of(port.proof.evidence)
    )


def findings_to_csv(findings: Iterable[Finding]) -> bytes:
    """Return these findings in their order."""
    return rows_to_csv(COLUMNS, map(cells_of, findings))


def rows_to_csv(titles: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """Return rows below their titles; the cells must be safe already."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(titles)
    writer.writerows(rows)
    text = out.getvalue()
    return text.encode("ascii" if text.isascii() else "utf-8-sig")


REQUEST_COLUMNS = (
    "kind", "subject", "island", "address", "mac", "host-name", "subnet", "vlan", "switch-port", "what", "note",
    *TO_ANSWER, "to", "to-address", "protocol", "port", "opened-by",
)  # fmt: skip


def requests_to_csv(checked: Checked, before: Checked | None = None) -> bytes:
    """Return all requests by kind and in plan order; with *before* only the requests that changed since that revision.

    The text is UTF-8, with a byte order mark if it holds characters beyond ASCII. If there are requests, the last row
    holds the cautions and is not a request.
    """
    requests = asked_of(checked).requests if before is None else changed_since(checked, before)
    caution = dict.fromkeys(REQUEST_COLUMNS, "") | {"kind": "caution", "note": " ".join(CAUTION)}
    last = [tuple(caution.values())] if requests else []
    return rows_to_csv(REQUEST_COLUMNS, map(safe_cells, (*map(row_of, requests), *last)))


def safe_cells(cells: Iterable[str]) -> list[str]:
    """Return cells without control characters, none of which begins as a formula."""
    return [guarded(safe(cell, LONGEST_CELL)) for cell in cells]


def row_of(request: Request) -> tuple[str, ...]:
    """Return the cells of one request in the order of `REQUEST_COLUMNS`."""
    return (
        str(request.kind), request.subject, request.island, request.address, request.mac, request.host_name,
        request.subnet, request.vlan, request.switch_port, request.what, request.note,
        *("" for _ in TO_ANSWER), request.to, request.to_address, request.protocol, request.port, request.opened_by,
    )  # fmt: skip
