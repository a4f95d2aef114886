"""Reads site hosts from a delimited table that has a recognisable column of addresses."""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterable, Sequence
from itertools import islice

from netcheck.addr import Address
from netcheck.errors import SurveyError
from netcheck.survey.gathering import EMPTY, Gathering, Source
from netcheck.survey.host_columns import NO_MAC, Block
from netcheck.survey.readers.header import (
    FIELDS,
    SAMPLE,
    Layout,
    dns_columns,
    is_merged,
    layout_of,
    plain_title,
    range_columns,
)
from netcheck.survey.readers.values import (
    NO_HOST_MACS,
    addresses_from,
    addresses_of,
    date_from,
    is_unknown,
    mac_from,
    span_from,
)
from netcheck.tables.delimited import (
    Lines,
    Record,
    blocks_of,
    columns_of,
    ipv4_of,
    lines_in,
    macs_of,
    records_of,
    text_of,
    unguarded,
)
from netcheck.text import Pattern


def recognises(head: bytes) -> bool:
    """Accept everything but a zip archive; this reader is tried last."""
    return not head.startswith(b"PK\x03\x04")


def read(source: Source, into: Gathering) -> None:
    """Read the table as a stream; rows without a readable address become remarks."""
    with source.open() as stream, text_of(stream) as text:
        lines = Lines(blocks=blocks_of(text))
        sample = list(islice(lines, SAMPLE))
        if not any(map(str.strip, sample)):
            raise SurveyError(EMPTY)
        if is_merged(next(records_of(sample[:1], ",")).cells):
            from netcheck.survey.readers.special_tables import gather_merged  # few surveys need it

            lines.give_back(sample)
            gather_merged(lines, source.entry.file, into)
            return
        if not source.entry.columns and (ranges := range_columns(sample)):
            from netcheck.survey.readers.special_tables import gather_ranges

            lines.give_back(sample)
            gather_ranges(records_of(lines, ranges.delimiter), ranges, source.entry.file, into)
            return
        layout = layout_of(sample, source.entry.columns)
        rows = [record for record in records_of(sample, layout.delimiter) if not record.empty]
        lines.give_back(sample)
        named = bool(source.entry.columns)
        if not gather_special(rows, records_of(lines, layout.delimiter), layout, source.entry.file, into, named=named):
            _gather_lines(lines, layout, into)


def gather_special(
    rows: Sequence[Record], records: Iterable[Record], layout: Layout, file: str, into: Gathering, *, named: bool
) -> bool:
    """Read a table of DNS records or of DHCP leases, and return whether the table is one of these.

    `rows` are the first of `records`. `named`: the plan names the columns, so that the table is not one of DNS records.
    """
    if not named and (columns := dns_columns(rows, layout.header)):
        from netcheck.survey.readers.special_tables import gather_dns

        gather_dns(records, columns, file, into)
        return True
    lease = _lease_column(rows, layout.header)
    if lease >= 0:
        into.begin_line(file, "row", "leases")
        gather(records, layout, into, lease)
    return lease >= 0


# Titles of the column with the end of a DHCP lease, reduced to letters and digits; common practice, no source.
_LEASES = ("leaseexpiration", "leaseexpirytime", "leaseexpires", "leaseend", "leaseablauf", "leaseende")
# Words of a row whose addresses a DHCP server assigns; common practice, no source.
_DHCP = Pattern(r"(?<![a-z])dhcp(?![a-z])|dhcp-?(?:pool|range|bereich)", re.IGNORECASE)
_POOL = Pattern(r"(?:ip|address|adress)?[ -]?pool", re.IGNORECASE)
_BEGINS = Pattern(r"\W*[\d.]*\d\.\d|\W*[0-9a-f]*:[0-9a-f]*:", re.ASCII | re.IGNORECASE)  # the beginning of an address
_RESERVED = Pattern(r"reserv", re.IGNORECASE)


def _is_assigned(cell: str) -> bool:
    """Return whether a cell says that a DHCP server assigns the addresses of its row."""
    return _DHCP.search(cell) is not None or _POOL.fullmatch(cell.strip()) is not None


def _lease_column(rows: Sequence[Record], header: int) -> int:
    """Return the column with the end of a DHCP lease, or -1 if there is none."""
    titles = next((list(map(plain_title, row.cells)) for row in rows if row.row == header), [])
    return next((titles.index(title) for title in _LEASES if title in titles), -1)


def _gather_lines(lines: Lines, layout: Layout, into: Gathering) -> None:
    """Read the rows down to the header one by one, and the rows below it in blocks if possible."""
    bulk = Bulk(layout)
    row = 1 + _gather_records(lines, layout.header, 1, layout, into)
    while text := lines.block():
        block = bulk.block(text)
        if block is None:
            single = list(lines_in(text))
            lines.give_back(single)
            row += _gather_records(lines, len(single), row, layout, into)
        else:
            into.add_block(block, row)
            row += len(block.addresses)


def _gather_records(lines: Lines, most: int, row: int, layout: Layout, into: Gathering) -> int:
    """Read up to `most` rows one by one, the first of them `row`; return the number of rows read."""
    records = list(islice(records_of(lines, layout.delimiter, row), most))
    gather(records, layout, into)
    return len(records)


def gather(records: Iterable[Record], layout: Layout, into: Gathering, lease: int = -1) -> None:
    """Add the site hosts of a table's records; `lease` is the column with the end of a DHCP lease, -1 without one."""
    rows = _Rows(layout, into, lease)
    for record in records:
        if record.fault:
            into.skip_cell(record.row, f"{record.fault}; the row was read up to the end of its line")
        if record.row > layout.header:
            rows.read(record)
        elif record.row < layout.header and not record.empty:
            into.remark_no_host(record.row, "it is above the header")


class _Rows:
    """Reads the rows of one layout."""

    def __init__(self, layout: Layout, into: Gathering, lease: int) -> None:
        self._lease = lease
        self._untitled = layout.header == 0 and bool(layout.delimiter.strip(" "))
        self._addresses = layout.addresses
        fields = dict(layout.fields)
        self._mac, self._name, self._note, self._seen = (fields.get(name, -1) for name in FIELDS[1:])
        used = {*layout.addresses, *fields.values()}
        self._used = used if layout.header == 0 and self._note < 0 else None
        self._into = into

    def read(self, record: Record) -> None:
        """Read one row below the header."""
        cells, row, into = record.cells, record.row, self._into
        width = len(cells)
        addresses = self._read_addresses(record)
        if not addresses:
            return
        mac = into.attempt(row, mac_from, cells[self._mac]) if 0 <= self._mac < width else None
        seen = into.attempt(row, date_from, cells[self._seen]) if 0 <= self._seen < width else None
        name = unguarded(cells[self._name].strip()) if 0 <= self._name < width else ""
        note = unguarded(cells[self._note].strip()) if 0 <= self._note < width else ""
        if self._used is not None:
            note = self._rest(cells, self._used)
        if self._lease >= 0:
            note = "; ".join(filter(None, (self._lease_note(cells), note)))
        for address in addresses:
            into.add(address, mac, row, name, note, seen)

    def _lease_note(self, cells: Sequence[str]) -> str:
        """Return the note of a row in a list of leases: a reservation, or a lease and its end."""
        if any(map(_RESERVED.search, cells)):
            return "DHCP reservation"
        end = cells[self._lease].strip() if self._lease < len(cells) else ""
        return f"DHCP lease until {end}" if end else "DHCP lease"

    def _read_addresses(self, record: Record) -> list[Address]:
        found: list[Address] = []
        faults: list[str] = []
        served = False  # the row is a range of a DHCP server and no host
        for column in self._addresses:
            text = record.cells[column] if column < len(record.cells) else ""
            try:
                span = span_from(text)
                if span is not None and any(map(_is_assigned, record.cells)):
                    self._into.remark_no_host(
                        record.row, f"the range {span} of a DHCP server belongs in `pools` of its subnet in the plan"
                    )
                    self._into.add_range(span, record.row)
                    served = True
                else:
                    found += addresses_from(text) if span is None else addresses_of(span)
            except ValueError as error:
                if not is_unknown(text):
                    faults.append(str(error))
        if faults and not found and self._is_words(record):
            self._into.remark_no_host(record.row, "it is a line of text and no row of the table")
            return []
        for fault in faults if found else ():
            self._into.skip_cell(record.row, fault)
        if not found and faults:
            self._into.skip_row(record.row, "; ".join(faults))
        elif not found and not record.empty and not served:
            self._into.remark_no_host(record.row, "it has no address")
        return found

    def _is_words(self, record: Record) -> bool:
        """Return whether a row is a line of text, such as a legend, in a table without titles.

        Its only filled cell has several words, and the first of them does not look like an address.
        """
        filled = [cell for cell in record.cells if cell.strip()]
        words = filled[0].split() if self._untitled and len(filled) == 1 else []
        return len(words) > 1 and not _BEGINS.match(words[0])

    @staticmethod
    def _rest(cells: Sequence[str], used: set[int]) -> str:
        """Return the unused cells of a row as its note, for a table without a header."""
        rest = (cell.strip() for column, cell in enumerate(cells) if column not in used)
        return ", ".join(filter(None, rest))


class Bulk:
    """Reads blocks of rows of one layout column by column, which is many times faster than row by row.

    A block is read as a whole or refused as a whole. It is refused if one of its rows needs a remark or has a form that
    only `gather` reads. In practice nearly all rows of nearly all lists are read here.
    """

    def __init__(self, layout: Layout) -> None:
        fields = dict(layout.fields)
        self._delimiter = layout.delimiter
        self._columns = (*layout.addresses, *(fields.get(name, -1) for name in FIELDS[1:]))
        used = {*layout.addresses, *fields.values()}
        self._used = used if layout.header == 0 and "note" not in fields else None
        self._fit = len(layout.addresses) == 1

    def block(self, text: str) -> Block | None:
        """Return the hosts of complete lines below the header, or None if the lines must be read one by one."""
        cells = columns_of(text, self._delimiter) if self._fit else None
        if cells is None or len(cells) <= max(self._columns):
            return None
        if self._used is not None and len(self._used) < len(cells):
            return None
        address, mac, name, note, seen = (cells[column] if column >= 0 else [] for column in self._columns)
        addresses, guarded = ipv4_of(address), "'" in text
        if addresses is None:
            return None
        try:
            return Block(addresses, _macs(mac), _unguarded(name, guarded), _unguarded(note, guarded), _days(seen))
        except ValueError:
            return None


def _unguarded(texts: list[str], guarded: bool) -> list[str]:
    """Return the texts without the guard that keeps spreadsheets from reading them as formulas."""
    return list(map(unguarded, texts)) if guarded else texts


def _macs(texts: Sequence[str]) -> array[int]:
    """Return MACs as integers, `NO_MAC` for a cell without a value; ValueError if a cell cannot be read."""
    uniform = macs_of(texts)
    if uniform is not None and NO_HOST_MACS.isdisjoint(uniform):
        return uniform
    macs = (mac_from(text) if text else None for text in texts)
    return array("Q", [NO_MAC if mac is None else mac.value for mac in macs])


def _days(texts: Sequence[str]) -> array[int]:
    """Return days as ordinals, 0 for a cell without a value; ValueError if a cell cannot be read."""
    days = {text: date_from(text) if text else None for text in set(texts)}
    ordinals = {text: day.toordinal() if day else 0 for text, day in days.items()}
    return array("I", map(ordinals.__getitem__, texts))
