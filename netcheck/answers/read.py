"""Reads the table of findings that a reviewer filled in, as the CSV file or workbook that a spreadsheet program saved.

Columns are found by their titles, in any order and among others. A formula is refused as an answer.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from netcheck.answers.table import COLUMNS
from netcheck.errors import Problem, ReportError
from netcheck.files import MIB, ZIP, FileError, open_plain, read_bounded
from netcheck.plan.forms.csv_table import title_of
from netcheck.tables.delimited import DELIMITERS, Record, lines_of, records_of, text_of
from netcheck.tables.formula_guard import unguarded
from netcheck.tables.workbook_read import MOST_ROWS, Book, Formula, opened
from netcheck.text import listed, safe

LIMIT = 64 * MIB
_HEAD = 40  # rows that may precede the titles, and the titles
_WIDEST = 1000  # columns that are read
_READ = ("rule", "subjects", "address", "fix", "key", "decision", "change-to", "remark", "by", "until")
# First bytes of compound files: workbooks of the older kind, and those locked with a password.
_COMPOUND = b"\xd0\xcf\x11\xe0"
_SEPARATOR_LINE = re.compile(r'"?sep=(.)"?\s*', re.IGNORECASE)  # written above the titles by some programs


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One row as written, without outer space and formula guards; `fault` is the reason why it cannot be read."""

    row: int
    rule: str = ""
    subjects: str = ""
    address: str = ""
    fix: str = ""
    key: str = ""
    decision: str = ""
    change_to: str = ""
    remark: str = ""
    by: str = ""
    until: str = ""
    fault: str = ""


def from_file(path: Path) -> tuple[Answer, ...]:
    """Return all rows below the titles that hold anything; ReportError where the file holds no findings to answer."""
    name = safe(path.name)
    try:
        with open_plain(path) as stream:
            mark = stream.read(4)
        if mark == _COMPOUND:
            what, do = "it is a workbook of an older kind, or is locked", "Save it as .xlsx without a password"
            raise FileError(Problem(what, do=do))
        return _from_workbook(path) if mark == ZIP else _from_text(read_bounded(path, LIMIT))
    except FileError as error:
        raise ReportError(error.at(name)) from error


def _from_text(data: bytes) -> tuple[Answer, ...]:
    lines = list(lines_of(text_of(io.BytesIO(data))))
    if lines and _SEPARATOR_LINE.fullmatch(lines[0]):
        lines[0] = "\n"
    head = lines[:_HEAD]
    delimiter = max(DELIMITERS, key=lambda one: max(map(_known, records_of(head, one)), default=0))
    return tuple(_answers(records_of(lines, delimiter)))


def _from_workbook(path: Path) -> tuple[Answer, ...]:
    with opened(path, values=False) as book:
        return tuple(_answers(book.records(_sheet_of(book))))


def _sheet_of(book: Book) -> str:
    """Return the sheet that has the titles of findings; FileError where several could be meant."""
    found = [sheet for sheet in book.sheets if any(map(_titled, islice(book.records(sheet), _HEAD)))]
    if len(found) > 1:
        names = listed([safe(each, 40) for each in found])
        raise FileError(Problem(f"several sheets hold findings: {names}", do="Leave only the one with the answers"))
    return found[0] if found else book.sheets[0]


def _titled(record: Record) -> bool:
    titles = set(_titles(record))
    return "decision" in titles and ("key" in titles or {"rule", "subjects"} <= titles)


def _known(record: Record) -> int:
    return sum(title in COLUMNS for title in _titles(record))


def _titles(record: Record) -> list[str]:
    return [title_of(cell) for cell in record.cells[:_WIDEST] if len(cell) < _WIDEST]


def _answers(records: Iterator[Record]) -> Iterator[Answer]:
    header = next(filter(_titled, islice(records, _HEAD)), None)
    if header is None:
        what = f"it has no row of titles with decision and key within its first {_HEAD} rows"
        raise FileError(Problem(what, do="Name a file that `netcheck report PLAN --out FILE.csv` or `.xlsx` made"))
    titles = [title_of(cell) for cell in header.cells[:_WIDEST]]
    twice = [title for title in _READ if titles.count(title) > 1]
    if twice:
        raise FileError(Problem(f"it has the column {listed(twice)} twice", do="Leave the one that holds the answers"))
    columns = {title: titles.index(title) for title in _READ if title in titles}
    for record in records:
        if record.row > MOST_ROWS:
            raise FileError(Problem(f"it has more than {MOST_ROWS:,} rows", do="Split it"))
        if not record.empty:
            yield _answer(record, columns)


def _answer(record: Record, columns: dict[str, int]) -> Answer:
    cells = {title: _cell(record, column, title) for title, column in columns.items()}
    values = {title.replace("-", "_"): cells.get(title, "") for title in _READ}
    return Answer(row=record.row, **values, fault=record.fault)


def _cell(record: Record, column: int, title: str) -> str:
    text = record.cells[column] if column < len(record.cells) else ""
    if isinstance(text, Formula):
        what = f"row {record.row}: {title} is a formula, {text}, and formulas are not read as answers"
        raise FileError(Problem(what, do="Write the value itself"))
    return unguarded(text.strip()).strip()
