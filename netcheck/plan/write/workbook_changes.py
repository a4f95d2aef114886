"""Writes addresses and the site's decisions into a plan's workbook; nothing else in it changes.

The result is read back and compared with the old values before it is returned.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from netcheck.errors import NetcheckError
from netcheck.plan.forms.csv_table import title_of, titled_records
from netcheck.plan.forms.workbook_plan import sheet_called
from netcheck.plan.shapes import InterfaceRow, Shape
from netcheck.tables.delimited import Record
from netcheck.tables.workbook_edit import workbook_with_cells, workbook_with_sheet
from netcheck.tables.workbook_read import cell_text, opened_from


@dataclass(frozen=True, slots=True)
class EntryTable:
    """A table whose entries are written.

    It has its key in `plan.toml`, its sheet in a workbook, the keys that identify an entry, and the keys that a later
    decision changes.
    """

    key: str
    sheet: str
    shape: type[Shape]
    identity: tuple[str, ...]
    values: tuple[str, ...]


def workbook_with_addresses(data: bytes, wanted: Mapping[str, str], key: str = "address") -> tuple[bytes, set[str]]:
    """Return the workbook with these addresses, and the subjects found in it; ValueError if another value changes."""
    sheet, records = _sheet(data, "interfaces", InterfaceRow)
    titles = list(map(title_of, records[0].cells)) if records else []
    titled = key in titles
    column = titles.index(key) if titled else len(titles)
    subjects = {record.row: _subject(titles, record) for record in records[1:]}
    held = set(subjects.values()) & set(wanted)
    texts = {record.row: _cell(record, column) for record in records}
    cells = {row: wanted[subject] for row, subject in subjects.items() if wanted.get(subject, texts[row]) != texts[row]}
    if not cells:
        return data, held
    if not titled:
        cells[records[0].row] = key
    new = workbook_with_cells(data, sheet, {(row, column + 1): text for row, text in cells.items()})
    expected = [_put(each, column, cells.get(each.row)) for each in records]
    if [_put(each, column, None) for each in _sheet(new, "interfaces", InterfaceRow)[1]] != expected:
        raise ValueError("another value would change with it")
    return new, held


def _subject(titles: list[str], record: Record) -> str:
    cells = dict(zip(titles, map(str.strip, record.cells), strict=False))
    return f"{cells.get('device', '')}/{cells.get('interface', '')}"


def _cell(record: Record, column: int) -> str:
    return record.cells[column].strip() if column < len(record.cells) else ""


def _put(record: Record, column: int, text: str | None) -> tuple[int, list[str]]:
    """Return a row's number and its stripped cells with one cell replaced; a short row is extended."""
    cells = [*map(str.strip, record.cells), *[""] * (column + 1 - len(record.cells))]
    if text is not None:
        cells[column] = text
    while cells and not cells[-1]:
        cells.pop()
    return record.row, cells


def _sheet(data: bytes, name: str, shape: type[Shape]) -> tuple[str, Sequence[Record]]:
    """Return a sheet's name in the workbook's spelling, and its rows from the titles on.

    An empty name and no rows if there is no such sheet.
    """
    try:
        with opened_from(io.BytesIO(data), "") as book:
            sheet = sheet_called(book, name) or ""
            return sheet, titled_records(list(book.records(sheet)), shape) if sheet else []
    except NetcheckError as error:
        raise ValueError(error.problems[0].what) from error


def workbook_with_entries(
    data: bytes, table: EntryTable, rows: Sequence[Mapping[str, Any]], gone: Sequence[Mapping[str, Any]] = ()
) -> bytes:
    """Return the workbook with these entries and without those `gone`; ValueError if another value would change."""
    sheet, records = _sheet(data, table.sheet, table.shape)
    layout = _Layout(records, table)
    for row in gone:
        layout.clear(row)
    for row in rows:
        layout.put(row)
    if not layout.cells:
        return data
    whole = data if sheet else workbook_with_sheet(data, table.sheet)
    new = workbook_with_cells(whole, sheet or table.sheet, layout.cells)
    if {
        (record.row, *cell)
        for record in _sheet(new, table.sheet, table.shape)[1]
        for cell in enumerate(record.cells, 1)
        if cell[1]
    } != {(*at, text) for at, text in layout.texts.items() if text}:
        raise ValueError("another value would change with it")
    return new


@dataclass
class _Layout:
    """The cells of a sheet: the texts of all cells by row and column, and the changed ones."""

    records: Sequence[Record]
    table: EntryTable
    cells: dict[tuple[int, int], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        head = self.records[0] if self.records else Record(1, ())
        self.texts = {(r.row, column): text for r in self.records for column, text in enumerate(r.cells, 1) if text}
        self.columns = {title_of(text): column for column, text in enumerate(head.cells, 1) if text.strip()}
        self.header, self.last = head.row, max((record.row for record in self.records), default=1)
        rows = [record.row for record in reversed(self.records[1:])]
        # Of several rows of one entry, the first one counts.
        self.there = {tuple(self._text(row, key) for key in self.table.identity): row for row in rows}

    def _text(self, row: int, key: str) -> str:
        return self.texts.get((row, self.columns.get(key, 0)), "").strip()

    def put(self, row: Mapping[str, Any]) -> None:
        """Write an entry into its own row, or below the last row."""
        texts = {key: cell_text(row.get(key)) for key in (*self.table.identity, *self.table.values)}
        identity = tuple(texts[key] for key in self.table.identity)
        if identity not in self.there:
            self.last += 1
            self.there[identity] = self.last
        for key, text in texts.items():
            if text != self._text(self.there[identity], key):
                self._set(self.there[identity], self._column(key), text)

    def clear(self, row: Mapping[str, Any]) -> None:
        """Empty the rows of an entry; the reader leaves empty rows out."""
        wanted = tuple(cell_text(row.get(key)) for key in self.table.identity)
        for record in self.records[1:]:
            if tuple(self._text(record.row, key) for key in self.table.identity) == wanted:
                self.there.pop(wanted, None)
                for column, text in enumerate(record.cells, 1):
                    if text:
                        self._set(record.row, column, "")

    def _column(self, key: str) -> int:
        if key not in self.columns:
            self.columns[key] = max(self.columns.values(), default=0) + 1
            self._set(self.header, self.columns[key], key)
        return self.columns[key]

    def _set(self, row: int, column: int, text: str) -> None:
        self.cells[row, column] = self.texts[row, column] = text
