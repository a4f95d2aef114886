"""Writes addresses back into a workbook's sheet of interfaces, and saves one that was changed as a whole."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

from netcheck.errors import NetcheckError
from netcheck.plan.csv_form import title_of, titled_records
from netcheck.plan.delimited import Record
from netcheck.plan.shapes import InterfaceRow
from netcheck.plan.workbook import demand_sound, opened_from
from netcheck.plan.workbook_cells import workbook_with_cells
from netcheck.plan.workbook_form import sheet_called
from netcheck.text import listed, safe

# Parts that openpyxl reads and writes again; whatever else is there, it drops.
_KEPT = re.compile(
    r"\[Content_Types\]\.xml|_rels/\.rels|docProps/(?:core|app|custom)\.xml|xl/(?:workbook|styles|sharedStrings)\.xml"
    r"|xl/_rels/.*|xl/theme/.*|xl/worksheets/(?:_rels/)?sheet[0-9]*\.xml(?:\.rels)?|xl/tables/.*|xl/printerSettings/.*"
    r"|xl/comments/?(?:comment)?s?[0-9]*\.xml|xl/drawings/(?:vml|comments|legacy)[A-Za-z]*[0-9]*\.vml|xl/calcChain\.xml"
)
_FORMULA = re.compile(rb"<f[ />]")


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


def saved(workbook: Any, data: bytes) -> bytes:
    """The bytes of a changed workbook; ValueError where something of the old bytes would be lost."""
    _demand_lossless(data)
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def workbook_from(data: bytes) -> Any:
    """Load a workbook in order to change it; ValueError where it is none, or is too large."""
    import openpyxl  # only where there is a workbook

    try:
        demand_sound(io.BytesIO(data))
    except NetcheckError as error:
        raise ValueError(error.problems[0].what) from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            return openpyxl.load_workbook(io.BytesIO(data))
    except Exception as error:  # a broken workbook makes openpyxl fail in ways it does not name
        raise ValueError(f"it cannot be read as a workbook ({safe(str(error), 100)})") from error


def _demand_lossless(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        lost = [safe(name, 60) for name in archive.namelist() if not _KEPT.fullmatch(name)]
        if lost:
            raise ValueError(f"it holds {listed(lost, 3)}, which would be lost")
        sheets = (name for name in archive.namelist() if name.startswith("xl/worksheets/"))
        if any(_FORMULA.search(archive.read(name)) for name in sheets):
            raise ValueError("it holds formulas, whose stored values would be lost")
