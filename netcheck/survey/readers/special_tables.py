"""Reads tables that are no lists of hosts: DNS records, ranges of a DHCP server, and merged files of netcheck.

`header` recognises these tables. In a merged file, which `survey read --out` writes, every row keeps the kind, file and
row of the list that it came from. A check therefore finds the same with the merged file as with the lists.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from netcheck.addr import Address, Range, ranges_without
from netcheck.errors import Problem, SurveyError
from netcheck.survey.gathering import Gathering
from netcheck.survey.model import RecordKind
from netcheck.survey.readers.header import DNS_TYPE, MERGED, DnsColumns, RangeColumns
from netcheck.survey.readers.values import date_from, mac_from
from netcheck.tables.delimited import Lines, Record, records_of, unguarded
from netcheck.text import Pattern, safe

_REVERSE = Pattern(r"((?:\d{1,3}\.){4})in-addr\.arpa", re.IGNORECASE | re.ASCII)
_EXCLUDED = Pattern(r"exclu|ausgeschl|exclus", re.IGNORECASE)
_FOR_USE = Pattern(r"distribution|verteil|\brange\b|\bbereich\b", re.IGNORECASE)

UNREAD_ROW, UNREAD_CELL = "row not read", "cell not read"  # kinds of rows; `name` may hold how many the row stands for
RANGE = "DHCP range"  # a row whose note is a range that a DHCP server assigns
ALIAS = "CNAME"  # a row whose name is an alias and whose note is the target name
_RECORDS = {str(kind): kind for kind in RecordKind}
_SOURCE = Pattern(r"(.*?)(?:: (sheet .*),|:) (row|line|frame) (\d{1,15})", re.ASCII)


def gather_dns(records: Iterable[Record], columns: DnsColumns, file: str, into: Gathering) -> None:
    """Add the records of all rows below the titles; a row that is not a record becomes a remark."""
    into.begin_line(file, "line", "zone")
    for record in records:
        if record.row <= columns.header or record.empty:
            continue
        cells = [unguarded(cell.strip()) for cell in record.cells]
        name, kind, data = (cells[at] if at < len(cells) else "" for at in (columns.name, columns.kind, columns.data))
        try:
            _add_record(name, kind, data, record.row, into)
        except ValueError as error:
            into.skip_row(record.row, str(error))


def _add_record(name: str, kind: str, data: str, row: int, into: Gathering) -> None:
    found = DNS_TYPE.fullmatch(kind)
    if found is None:
        raise ValueError(f"{safe(kind, 40)!r} is not a type of DNS record")
    word = found[1].upper()
    if word in ("A", "AAAA"):
        address = Address.from_text(data)
        if name.startswith(("(", "@")) or not name:  # the record of the zone itself; the table does not give its name
            into.remark_no_host(row, f"{address}: the record of the zone itself")
            return
        into.add_record(RecordKind(word), name.removesuffix("."), address, name.endswith("."), row)
    elif word == "PTR":
        into.add_record(RecordKind.PTR, data.removesuffix("."), _address_of_pointer(name), True, row)
    elif word == "CNAME":
        into.add_alias(name.removesuffix("."), data.removesuffix("."), name.endswith("."), row)
    else:
        into.remark_no_host(row, f"a record of type {word} names no host")


def _address_of_pointer(name: str) -> Address:
    """Return the address of a PTR record from its owner: an address, or a name in in-addr.arpa; else ValueError."""
    if found := _REVERSE.fullmatch(name.removesuffix(".")):
        return Address.from_text(".".join(reversed(found[1].removesuffix(".").split("."))))
    try:
        return Address.from_text(name)
    except ValueError as error:
        what = f"{safe(name, 60)!r} is not the address of a PTR record"
        raise ValueError(f"{what}; export the whole address or its name in in-addr.arpa") from error


def gather_ranges(records: Iterable[Record], columns: RangeColumns, file: str, into: Gathering) -> None:
    """Add the ranges of all rows below the titles, without the excluded ranges.

    Raises SurveyError if a row could be either an assigned or an excluded range.
    """
    into.begin_line(file, "row", "dhcp")
    ranges: list[tuple[int, Range]] = []
    excluded: list[Range] = []
    for record in records:
        if record.row <= columns.header or record.empty:
            continue
        try:
            span = _span(record, columns)
        except ValueError as error:
            into.skip_row(record.row, f"a range of a DHCP server: {error}")
            continue
        words = " ".join(record.cells)
        if _EXCLUDED.search(words):
            excluded.append(span)
        elif columns.of_scopes or _FOR_USE.search(words):
            ranges.append((record.row, span))
        else:
            do = "Add a column that says `range` or `excluded` in each row, or put the ranges into `pools` of the plan"
            what = f"row {record.row}: {span} could be a range that the DHCP server assigns, or one that it excludes"
            raise SurveyError(Problem(what, do=do))
    for row, span in ranges:
        into.remark_no_host(row, f"the range {span} of a DHCP server belongs in `pools` of its subnet in the plan")
    for row, part in ranges_without(ranges, excluded):
        into.add_range(part, row)


def _span(record: Record, columns: RangeColumns) -> Range:
    ends = [record.cells[at].strip() if at < len(record.cells) else "" for at in (columns.start, columns.end)]
    first, last = (Address.from_text(text) for text in ends)
    return Range.from_text(f"{first}-{last}")


def gather_merged(lines: Lines, file: str, into: Gathering) -> None:
    """Add the content of all rows below the titles; a row that cannot be read becomes a remark."""
    for record in records_of(lines, ",", 1):
        if record.row > 1 and not record.empty:
            _gather_row(record, file, into)


def _gather_row(record: Record, file: str, into: Gathering) -> None:
    cells = [unguarded(cell.strip()) for cell in (*record.cells, *[""] * len(MERGED))[: len(MERGED)]]
    address, mac, name, note, seen, source, kind = cells
    row = _begin_source(source, kind, file, record.row, into)
    if kind in (UNREAD_ROW, UNREAD_CELL):
        count = int(name) if name.isdecimal() and len(name) < 12 else 1
        (into.skip_row if kind == UNREAD_ROW else into.skip_cell)(row, note, count)
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
        into.skip_row(record.row, str(error))
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
        into.skip_row(own_row, str(error))


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
