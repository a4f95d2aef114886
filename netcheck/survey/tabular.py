"""Reads site hosts from any delimited table that has a recognisable column of addresses."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain, islice

from netcheck.addr import Address
from netcheck.errors import Problem, SurveyError
from netcheck.plan.delimited import Record, lines_of, records_of, text_of
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.header import SAMPLE, Layout, layout_of
from netcheck.survey.values import addresses_from, date_from, mac_from, says_nothing


def recognises(head: bytes) -> bool:
    """Any text may be a table; this reader is asked last."""
    return not head.startswith(b"PK\x03\x04")


def read(source: Source, into: Gathering) -> None:
    """Read every row of the table as a stream; rows without a readable address are kept as skipped."""
    with source.open() as stream, text_of(stream) as text:
        lines = lines_of(text)
        sample = list(islice(lines, SAMPLE))
        if not any(map(str.strip, sample)):
            raise SurveyError(
                Problem("it is empty", do="Export it again; an empty list would make every address look free")
            )
        layout = layout_of(sample, source.entry.columns)
        gather(records_of(chain(sample, lines), layout.delimiter), layout, into)


def gather(records: Iterator[Record], layout: Layout, into: Gathering) -> None:
    """Turn a table's records into site hosts."""
    row_reader = _RowReader(layout, into)
    for record in records:
        if record.empty or record.row == layout.header:
            continue
        if record.row < layout.header:
            into.pass_over(record.row, "it stands above the header")
            continue
        if record.fault:
            into.cannot_read(record.row, f"{record.fault}; the row was read up to the end of its line")
        row_reader.read(record)


class _RowReader:
    def __init__(self, layout: Layout, into: Gathering) -> None:
        self._addresses = layout.addresses
        self._columns = dict(layout.fields)
        self._bare = layout.header == 0
        self._into = into

    def read(self, record: Record) -> None:
        row, into = record.row, self._into
        addresses = self._read_addresses(record)
        if not addresses:
            return
        mac = into.attempt(row, mac_from, self._cell(record, "mac"))
        seen = into.attempt(row, date_from, self._cell(record, "seen"))
        name, note = self._cell(record, "name"), self._note(record)
        for address in addresses:
            into.add(address, mac, row, name, note, seen)

    def _read_addresses(self, record: Record) -> list[Address]:
        found: list[Address] = []
        faults: list[str] = []
        for column in self._addresses:
            text = record.cells[column] if column < len(record.cells) else ""
            if says_nothing(text):
                continue
            try:
                found += addresses_from(text)
            except ValueError as error:
                faults.append(str(error))
        for fault in faults if found else ():
            self._into.cannot_read(record.row, fault)
        if not found and faults:
            self._into.skip(record.row, "; ".join(faults))
        elif not found:
            self._into.pass_over(record.row, "it has no address")
        return found

    def _cell(self, record: Record, name: str) -> str:
        column = self._columns.get(name, -1)
        return record.cells[column].strip() if 0 <= column < len(record.cells) else ""

    def _note(self, record: Record) -> str:
        """The note; in a table without header all that is neither address nor MAC."""
        if not self._bare or "note" in self._columns:
            return self._cell(record, "note")
        used = {*self._addresses, *self._columns.values()}
        rest = (cell.strip() for column, cell in enumerate(record.cells) if column not in used)
        return ", ".join(filter(None, rest))
