"""What the site's IT is asked for as CSV, one request a row; RFC 4180, formulas kept out by `guarded`."""

from __future__ import annotations

from netcheck.answers.table import LONGEST_CELL
from netcheck.report.csv_xlsx.findings import rows_to_csv
from netcheck.requests.build import asked_of
from netcheck.requests.model import Request
from netcheck.rules.engine import Checked
from netcheck.tables.formula_guard import guarded
from netcheck.text import safe

COLUMNS = (
    "kind", "subject", "island", "address", "mac", "host-name", "subnet", "vlan", "switch-port", "what", "note",
)  # fmt: skip


def to_csv(checked: Checked) -> bytes:
    """All requests, by kind and in plan order; UTF-8, led by a byte order mark only where there is more than ASCII."""
    requests = asked_of(checked).requests
    return rows_to_csv(COLUMNS, ([guarded(safe(cell, LONGEST_CELL)) for cell in row_of(one)] for one in requests))


def row_of(request: Request) -> tuple[str, ...]:
    """One request's cells in the order of `COLUMNS`."""
    return (
        str(request.kind), request.subject, request.island, request.address, request.mac, request.host_name,
        request.subnet, request.vlan, request.switch_port, request.what, request.note,
    )  # fmt: skip
