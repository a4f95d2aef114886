"""Writes the requests to IT as CSV, one request a row, with columns for the answer (RFC 4180)."""

from __future__ import annotations

from netcheck.answers.grants import TO_ANSWER
from netcheck.answers.table import LONGEST_CELL
from netcheck.report.csv_xlsx.findings import rows_to_csv
from netcheck.requests.build import asked_of, changed_since
from netcheck.requests.model import Request
from netcheck.rules.engine import Checked
from netcheck.tables.formula_guard import guarded
from netcheck.text import safe

COLUMNS = (
    "kind", "subject", "island", "address", "mac", "host-name", "subnet", "vlan", "switch-port", "what", "note",
    *TO_ANSWER,
)  # fmt: skip


def to_csv(checked: Checked, before: Checked | None = None) -> bytes:
    """Return all requests by kind and in plan order as UTF-8, or only what changed since an earlier revision; a byte
    order mark leads text beyond ASCII."""
    requests = asked_of(checked).requests if before is None else changed_since(checked, before)
    return rows_to_csv(COLUMNS, ([guarded(safe(cell, LONGEST_CELL)) for cell in row_of(one)] for one in requests))


def row_of(request: Request) -> tuple[str, ...]:
    """Return the cells of one request in the order of `COLUMNS`."""
    return (
        str(request.kind), request.subject, request.island, request.address, request.mac, request.host_name,
        request.subnet, request.vlan, request.switch_port, request.what, request.note,
        *("" for _ in TO_ANSWER),
    )  # fmt: skip
