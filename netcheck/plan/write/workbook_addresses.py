"""Writes addresses back into a workbook's sheet of interfaces; nothing else of it changes."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

from netcheck.errors import NetcheckError
from netcheck.plan.forms.csv_table import title_of, titled_records
from netcheck.plan.forms.workbook_plan import sheet_called
from netcheck.plan.shapes import InterfaceRow
from netcheck.tables.delimited import Record
from netcheck.tables.workbook_edit import workbook_with_cells
from netcheck.tables.workbook_read import opened_from


def workbook_with_addresses(data: bytes, wanted: Mapping[str, str]) -> tuple[bytes, set[str]]:
    """The bytes of a workbook with these addresses, and which of the subjects it holds; ValueError where it could not
    be written without another value changing."""
    try:
        sheet, records = _interfaces(data)
    except NetcheckError as error:
        raise ValueError(error.problems[0].what) from error
    titles = list(map(title_of, records[0].cells)) if records else []
    titled = "address" in titles
    column = titles.index("address") if titled else len(titles)
    subjects = {record.row: _subject(titles, record) for record in records[1:]}
    held = set(subjects.values()) & set(wanted)
    texts = {record.row: _cell(record, column) for record in records}
    cells = {row: wanted[subject] for row, subject in subjects.items() if wanted.get(subject, texts[row]) != texts[row]}
    if not cells:
        return data, held
    if not titled:
        cells[records[0].row] = "address"
    new = workbook_with_cells(data, sheet, {(row, column + 1): text for row, text in cells.items()})
    expected = [_put(each, column, cells.get(each.row)) for each in records]
    if [_put(each, column, None) for each in _interfaces(new)[1]] != expected:
        raise ValueError("another value would change with it")
    return new, held


def _interfaces(data: bytes) -> tuple[str, Sequence[Record]]:
    """The name of the sheet of interfaces as the workbook writes it, and its rows from the titles on."""
    with opened_from(io.BytesIO(data), "") as book:
        sheet = sheet_called(book, "interfaces") or ""
        return sheet, titled_records(list(book.records(sheet)), InterfaceRow) if sheet else []


def _subject(titles: list[str], record: Record) -> str:
    cells = dict(zip(titles, map(str.strip, record.cells), strict=False))
    return f"{cells.get('device', '')}/{cells.get('interface', '')}"


def _cell(record: Record, column: int) -> str:
    return record.cells[column].strip() if column < len(record.cells) else ""


def _put(record: Record, column: int, text: str | None) -> tuple[int, list[str]]:
    """A row's number and cells without outer space, with one cell replaced, filled up to it."""
    cells = [*map(str.strip, record.cells), *[""] * (column + 1 - len(record.cells))]
    if text is not None:
        cells[column] = text
    while cells and not cells[-1]:
        cells.pop()
    return record.row, cells
