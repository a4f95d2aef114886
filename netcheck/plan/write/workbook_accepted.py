"""Writes accepted findings into a workbook's sheet `accepted`, which it makes where there is none; nothing else
changes."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from netcheck.errors import NetcheckError
from netcheck.plan.forms.csv_table import title_of, titled_records
from netcheck.plan.forms.workbook_plan import sheet_called
from netcheck.plan.shapes import AcceptedShape
from netcheck.tables.delimited import Record
from netcheck.tables.workbook_edit import workbook_with_cells, workbook_with_sheet
from netcheck.tables.workbook_read import cell_text, opened_from

SHEET = "accepted"
IDENTITY = ("rule", "subject", "address", "with")  # the keys that say which finding is meant
VALUES = ("by", "because", "until")  # and those that say what was agreed


def workbook_with_accepted(data: bytes, rows: Sequence[Mapping[str, Any]]) -> bytes:
    """The bytes of a workbook with these entries, its own bytes where it holds them already; ValueError where another
    value would change with them."""
    sheet, records = _accepted(data)
    layout = _Layout(records)
    for row in rows:
        layout.put(row)
    if not layout.cells:
        return data
    whole = data if sheet else workbook_with_sheet(data, SHEET)
    new = workbook_with_cells(whole, sheet or SHEET, layout.cells)
    if {(record.row, *cell) for record in _accepted(new)[1] for cell in enumerate(record.cells, 1) if cell[1]} != {
        (*at, text) for at, text in layout.texts.items() if text
    }:
        raise ValueError("another value would change with it")
    return new


def _accepted(data: bytes) -> tuple[str, Sequence[Record]]:
    """The name of the sheet as the workbook writes it, "" where there is none, and its rows from the titles on."""
    try:
        with opened_from(io.BytesIO(data), "") as book:
            sheet = sheet_called(book, SHEET) or ""
            return sheet, titled_records(list(book.records(sheet)), AcceptedShape) if sheet else []
    except NetcheckError as error:
        raise ValueError(error.problems[0].what) from error


@dataclass
class _Layout:
    """Where things are on the sheet: the texts of all cells by row and column, and those of them that change."""

    records: Sequence[Record]
    cells: dict[tuple[int, int], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        head = self.records[0] if self.records else Record(1, ())
        self.texts = {(r.row, column): text for r in self.records for column, text in enumerate(r.cells, 1) if text}
        self.columns = {title_of(text): column for column, text in enumerate(head.cells, 1) if text.strip()}
        self.header, self.last = head.row, max((record.row for record in self.records), default=1)
        rows = [record.row for record in reversed(self.records[1:])]
        self.there = {tuple(self._text(row, key) for key in IDENTITY): row for row in rows}  # the first one counts

    def _text(self, row: int, key: str) -> str:
        return self.texts.get((row, self.columns.get(key, 0)), "").strip()

    def put(self, row: Mapping[str, Any]) -> None:
        """Write an entry in its own row, or below the last."""
        texts = {key: cell_text(row.get(key)) for key in (*IDENTITY, *VALUES)}
        identity = tuple(texts[key] for key in IDENTITY)
        if identity not in self.there:
            self.last += 1
            self.there[identity] = self.last
        for key, text in texts.items():
            if text != self._text(self.there[identity], key):
                self._set(self.there[identity], self._column(key), text)

    def _column(self, key: str) -> int:
        if key not in self.columns:
            self.columns[key] = max(self.columns.values(), default=0) + 1
            self._set(self.header, self.columns[key], key)
        return self.columns[key]

    def _set(self, row: int, column: int, text: str) -> None:
        self.cells[row, column] = self.texts[row, column] = text
