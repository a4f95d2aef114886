"""Opens a workbook (.xlsx) as sheets of numbered records, within limits; nothing in it is executed.

A cell becomes the text that a person sees: whole numbers without a decimal point, days as 2026-10-28, formulas as the
value that was stored with them.
"""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import chain, pairwise
from pathlib import Path
from typing import IO, Any

from netcheck.errors import NetcheckError, Problem
from netcheck.files import MIB, FileError, open_plain
from netcheck.tables.delimited import Number, Record
from netcheck.text import safe

UNPACKED_LIMIT = 64 * MIB
MOST_ROWS = 1 << 20  # the limit of spreadsheet programs
MOST_CELLS = 20_000_000
TYPES = "[Content_Types].xml"  # the part that every package has (ECMA-376 part 2, section 10.1.2)
OTHER_KIND = "Save a workbook of another kind (.ods) as .xlsx, or its tables as CSV; unpack a packed file"
# A cell with a formula and no stored value: `<f>...</f></c>`, `<f/></c>`, or an empty `<v>`.
_NO_VALUE = re.compile(rb"(?:</f>|<f[^<>]*/>)\s*(?:<v\s*/>|<v></v>)?\s*</c>")


_BEFORE = b"\xef\xbb\xbf\xff\xfe\0 \t\r\n"  # bytes that may precede the first element in UTF-8 and UTF-16
_ROOT = re.compile(rb"<(?:[\w.-]+:)?([A-Za-z]+)")
# openpyxl reads sheets as a stream, but makes an object of every element in other parts; a text takes 12 microseconds
# (measured). Spreadsheet programs have at most about 65,000 formats (from memory).
_MOST_TAGS = {b"sst": 3_000_000, b"worksheet": UNPACKED_LIMIT}
# The limit of one token: the time of expat 2.5 grows with the square of its length. A cell has at most 32,767
# characters.
_LONG = re.compile(rb"<[^<]{%d}" % MIB)
_MARK = re.compile(rb"<!--|<!\[CDATA\[|<\?")
_ENDS = {b"<!--": b"-->", b"<![CDATA[": b"]]>", b"<?": b"?>"}
_SHEET = re.compile(rb"<(?:[\w.-]+:)?sheet[\s/>]")
_MOST_SHEETS = 1000
_ROW = re.compile(rb"<(?:[\w.-]+:)?row[\s/>]")
_WIDEST = 16 * 16384  # elements of one row, which openpyxl has in memory together; a row has at most 16,384 cells
MOST_RANGES = 100_000
MOST_FILLED = 20_000_000  # cells of merged ranges that are examined in all rows together
# The element `mergeCell` of a sheet (ECMA-376 part 1, section 18.3.1.54).
_MERGED = re.compile(rb"<(?:[\w.-]+:)?mergeCell\s[^<>]*?\bref\s*=\s*[\"']([A-Z0-9:]{1,21})[\"']")
_RANGE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6}):([A-Z]{1,3})([1-9][0-9]{0,6})")
_REFERENCE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")


class Formula(str):
    """The text of a formula in a cell; it must not be treated as typed text."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Book:
    """An open workbook; if `values`, formulas are read as their stored values."""

    name: str
    _workbook: Any
    _stream: IO[bytes]
    values: bool = True

    @property
    def sheets(self) -> tuple[str, ...]:
        """Return the names of all sheets with cells, in order."""
        return tuple(sheet.title for sheet in self._workbook.worksheets)

    def hidden(self, sheet: str) -> bool:
        """Return whether a sheet is hidden in the spreadsheet program."""
        return bool(self._workbook[sheet].sheet_state != "visible")

    def records(self, sheet: str) -> Iterator[Record]:
        """Yield the rows of a sheet that are not empty; the value of merged cells is in each of their rows."""
        try:
            yield from filled(self._records(sheet), merged_in(self._part(sheet)))
        except ValueError as error:
            raise _refused(f"sheet {safe(sheet, 40)}: {error}") from error

    def _part(self, sheet: str) -> bytes:
        with zipfile.ZipFile(self._stream) as archive:
            return archive.read(_path_of(self._workbook[sheet]))

    def _records(self, sheet: str) -> Iterator[Record]:
        found = self._workbook[sheet]
        found.reset_dimensions()  # the size that the file states may be false
        cells = 0
        try:
            for number, row in enumerate(found.iter_rows(values_only=self.values), 1):
                cells += len(row)
                if number > MOST_ROWS or cells > MOST_CELLS:
                    raise _refused(f"sheet {safe(sheet, 40)} has more than {MOST_ROWS:,} rows or {MOST_CELLS:,} cells")
                record = Record(number, tuple(map(cell_text if self.values else _written, row)))
                if not record.empty:
                    yield record
        except NetcheckError:
            raise
        except Exception as error:  # a broken sheet raises any exception in openpyxl
            raise _unreadable(error) from error


def _path_of(sheet: Any) -> str:
    """Return the name of the part from which openpyxl reads a sheet."""
    path: str = sheet._worksheet_path
    return path


def _refused(what: str, do: str = "Split it, or save its tables as CSV") -> FileError:
    return FileError(Problem(what, do=do))


def _unreadable(error: Exception) -> FileError:
    return _refused(f"it cannot be read as a workbook ({safe(str(error), 100)})", "Save it again as .xlsx")


def _written(cell: Any) -> str:
    """Return the text of a cell, or its formula as a `Formula`."""
    return Formula(safe(str(cell.value), 80)) if cell.data_type == "f" else cell_text(cell.value)


@contextmanager
def opened(path: Path, values: bool = True) -> Iterator[Book]:
    """Open a workbook for reading; FileError if it is not a workbook or is too large.

    With `values`, a formula is read as its stored value, otherwise as a `Formula`.
    """
    with open_plain(path) as stream, opened_from(stream, path.name, values) as book:
        yield book


@contextmanager
def opened_from(stream: IO[bytes], name: str, values: bool = True) -> Iterator[Book]:
    """Open a workbook from a stream; see `opened`. `name` is its name in messages."""
    import openpyxl  # only for a workbook

    # openpyxl warns of parts that it drops, such as colours; netcheck does not read them.
    warnings.filterwarnings("ignore", category=UserWarning, module="openpyxl")
    demand_sound(stream)
    try:
        workbook = openpyxl.load_workbook(stream, read_only=True, data_only=values, keep_links=False)
    except Exception as error:  # as above
        raise _unreadable(error) from error
    try:
        paths = list(map(_path_of, workbook.worksheets))
        if len(set(paths)) < len(paths):
            raise _refused("two of its sheets are the same part of the archive", "Save it again as .xlsx")
        yield Book(name, workbook, stream, values)
    finally:
        workbook.close()


def demand_sound(stream: IO[bytes]) -> None:
    """Raise FileError if a workbook is too large, is encrypted, or has parts that could exhaust memory or time."""
    try:
        with zipfile.ZipFile(stream) as archive:
            size = sum(part.file_size for part in archive.infolist())  # at most this much is unpacked
            if size > UNPACKED_LIMIT:
                what = f"it has {size:,} bytes unpacked; at most {UNPACKED_LIMIT:,} (64 MiB) are read"
                raise _refused(what)
            if TYPES not in archive.namelist():
                raise _refused("it is an archive, but not a workbook of the kind .xlsx", OTHER_KIND)
            for part in archive.infolist():
                _demand_plain(part.filename, archive.read(part))
    except NetcheckError:
        raise
    except Exception as error:  # a broken archive raises many exceptions: bad headers, checksums, methods, passwords
        raise _unreadable(error) from error
    stream.seek(0)


def _demand_plain(name: str, data: bytes) -> None:
    root = _ROOT.search(data)
    most = _MOST_TAGS.get(root[1] if root else b"", 500_000)
    if len(_SHEET.findall(data)) > _MOST_SHEETS:
        raise _refused(f"its part {safe(name, 60)} names more than {_MOST_SHEETS:,} sheets")
    rows = pairwise(chain((found.start() for found in _ROW.finditer(data)), (len(data),)))
    if any(data.count(b"<", start, end) > _WIDEST for start, end in rows):
        raise _refused(f"its part {safe(name, 60)} has a row of more than {_WIDEST:,} elements")
    if data.count(b"<") > most:
        raise _refused(f"its part {safe(name, 60)} has more than {most:,} elements, which would take too long to read")
    if name.startswith("xl/media/") or data.lstrip(_BEFORE)[:1] != b"<":
        return
    plain = data.replace(b"\0", b"")
    if b"<!DOCTYPE" in plain:
        raise _refused("it contains a document type declaration, which no workbook needs", "Save it again as .xlsx")
    ends = ((at.end(), plain.find(_ENDS[at[0]], at.end())) for at in _MARK.finditer(plain))
    if _LONG.search(plain) or any(not start <= end < start + MIB for start, end in ends):
        raise _refused(f"its part {safe(name, 60)} has a text of more than {MIB:,} bytes (1 MiB)")
    if "worksheets/" in name and _NO_VALUE.search(data):
        do = "Open it in a spreadsheet program and save it, or type the value"
        raise _refused("it has a formula without a stored value, which would be read as empty", do)


def cell_text(value: object) -> str:
    """Return the value of a cell as the text that a person sees."""
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case float():
            return str(int(value)) if value.is_integer() and abs(value) < 10**15 else Number(repr(value))
        case datetime():
            return value.date().isoformat() if value.time() == time() else value.isoformat(" ")
        case date() | time():
            return value.isoformat()
        case _:
            return str(value)


def column_of(reference: str) -> int:
    """Return the column number in a cell's reference (section 18.18.62): `AA7` gives 27; 0 if it has no column."""
    found = _REFERENCE.fullmatch(reference)
    column = 0
    for letter in found.group(1) if found else "":
        column = column * 26 + ord(letter) - ord("A") + 1
    return column


def letters_of(column: int) -> str:
    """Return the letters of a column number: 27 gives `AA`."""
    letters = ""
    while column:
        column, last = divmod(column - 1, 26)
        letters = chr(ord("A") + last) + letters
    return letters


@dataclass(frozen=True, slots=True)
class Merged:
    """A range of merged cells; rows and columns are counted from 1, and the last ones are included."""

    first: int
    column: int
    last: int
    last_column: int

    @classmethod
    def from_text(cls, reference: str) -> Merged | None:
        """Return the range of a reference such as `A3:B6`; None for any other text, such as a single cell."""
        found = _RANGE.fullmatch(reference)
        if found is None:
            return None
        left, first, right, last = found.groups()
        return cls(int(first), column_of(f"{left}1"), int(last), column_of(f"{right}1"))

    def hides(self, row: int, column: int) -> bool:
        """Return whether a cell is inside the range but is not the cell that shows the range's value."""
        inside = self.first <= row <= self.last and self.column <= column <= self.last_column
        return inside and (row, column) != (self.first, self.column)


def merged_in(data: bytes) -> Iterator[Merged]:
    """Yield the ranges of merged cells in a sheet's XML; ValueError if there are too many.

    A regular expression finds them in a fraction of the time of parsing the sheet again.
    """
    for number, found in enumerate(_MERGED.finditer(data)):
        if number == MOST_RANGES:
            raise ValueError(f"it has more than {MOST_RANGES:,} ranges of merged cells")
        if one := Merged.from_text(found[1].decode("ascii")):
            yield one


def filled(records: Iterable[Record], merged: Iterable[Merged]) -> Iterator[Record]:
    """Yield the records; an empty cell in the first column of a merged range gets the range's value.

    ValueError if more than MOST_FILLED cells would have to be examined.
    """
    waiting = sorted((one for one in merged if one.last > one.first), key=lambda one: -one.first)
    shown: dict[int, tuple[int, str]] = {}  # by column: the last row of the range, and its text
    count = 0
    for record in records:
        while waiting and waiting[-1].first <= record.row:
            one = waiting.pop()
            if one.first == record.row and one.column <= len(record.cells):
                shown[one.column] = one.last, record.cells[one.column - 1]
        for column in [column for column, (last, _) in shown.items() if last < record.row]:
            del shown[column]
        count += max(shown, default=0)
        if count > MOST_FILLED:
            raise ValueError(f"its merged ranges contain more than {MOST_FILLED:,} cells")
        yield _filled(record, shown) if shown else record


def _filled(record: Record, shown: dict[int, tuple[int, str]]) -> Record:
    cells = [*record.cells, *[""] * (max(shown) - len(record.cells))]
    for column, (_, text) in shown.items():
        if not cells[column - 1].strip():
            cells[column - 1] = text
    return record._replace(cells=tuple(cells))
