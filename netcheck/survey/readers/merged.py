"""Reads the merged file of `netcheck survey read --out`: hosts, DNS records, ranges of DHCP servers and unread rows.

Every row keeps the kind, file and row of the list that it came from. A check therefore finds the same with the merged
file as with the lists.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from netcheck.addr import Address, Range
from netcheck.survey.gathering import Gathering
from netcheck.survey.model import RecordKind
from netcheck.survey.readers.values import date_from, mac_from
from netcheck.tables.delimited import Lines, Record, records_of, unguarded
from netcheck.text import Pattern

HEADER = ("address", "mac", "name", "note", "seen", "source", "kind")
UNREAD_ROW, UNREAD_CELL = "row not read", "cell not read"  # kinds of rows; `name` may hold how many the row stands for
RANGE = "DHCP range"  # a row whose note is a range that a DHCP server assigns
ALIAS = "CNAME"  # a row whose name is an alias and whose note is the target name
_RECORDS = {str(kind): kind for kind in RecordKind}
_SOURCE = Pattern(r"(.*?)(?:: (sheet .*),|:) (row|line|frame) (\d{1,15})", re.ASCII)


def is_merged(first: Sequence[str]) -> bool:
    """Return whether the cells of a file's first row are the titles of a merged file."""
    return tuple(map(str.strip, first)) == HEADER


def gather(lines: Lines, file: str, into: Gathering) -> None:
    """Add the content of all rows below the titles; a row that cannot be read becomes a remark."""
    for record in records_of(lines, ",", 1):
        if record.row > 1 and not record.empty:
            _gather_row(record, file, into)


def _gather_row(record: Record, file: str, into: Gathering) -> None:
    cells = [unguarded(cell.strip()) for cell in (*record.cells, *[""] * len(HEADER))[: len(HEADER)]]
    address, mac, name, note, seen, source, kind = cells
    row = _begin_source(source, kind, file, record.row, into)
    if kind in (UNREAD_ROW, UNREAD_CELL):
        count = int(name) if name.isdecimal() and len(name) < 12 else 1
        (into.skip if kind == UNREAD_ROW else into.cannot_read)(row, note, count)
        return
    if kind == ALIAS:
        into.add_alias(name.removesuffix("."), note, name.endswith("."), row)
        return
    if kind == RANGE:
        _gather_range(note, row, record.row, file, into)
        return
    try:
        value = Address.from_text(address)
    except ValueError as error:
        into.begin_line(file, "row")
        into.skip(record.row, str(error))
        return
    if kind in _RECORDS:
        into.add_record(_RECORDS[kind], name.removesuffix("."), value, name.endswith("."), row)
        return
    day: date | None = into.attempt(row, date_from, seen)
    into.add(value, into.attempt(row, mac_from, mac), row, name, note, day)


def _gather_range(text: str, row: int, own_row: int, file: str, into: Gathering) -> None:
    try:
        into.add_range(Range.from_text(text), row)
    except ValueError as error:
        into.begin_line(file, "row")
        into.skip(own_row, str(error))


def _begin_source(source: str, kind: str, file: str, row: int, into: Gathering) -> int:
    """Set the list that a row came from and return its row there; without a source, the row in the merged file."""
    first = source.partition("; ")[0]
    found = _SOURCE.fullmatch(first)
    if not first:
        into.begin_line(file, "row")
        return row
    list_kind = (
        ""
        if kind in (UNREAD_ROW, UNREAD_CELL)
        else "zone"
        if kind in (*_RECORDS, ALIAS)
        else "dhcp"
        if kind == RANGE
        else kind
    )
    if found is None:  # a list without rows, such as JSON
        into.begin_line(first, "row", list_kind)
        return 0
    into.begin_line(f"{found[1]}, {found[2]}" if found[2] else found[1], found[3], list_kind)
    return int(found[4])
