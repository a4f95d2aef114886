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
from typing import NamedTuple

from netcheck.errors import Problem, ReportError
from netcheck.files import MIB, ZIP, FileError, open_plain, read_bounded
from netcheck.plan.forms.csv_table import title_of
from netcheck.tables.delimited import DELIMITERS, Record, lines_of, records_of, text_of, unguarded
from netcheck.tables.workbook_read import MOST_ROWS, Book, Formula, opened
from netcheck.text import listed, safe

LIMIT = 64 * MIB
_HEAD = 40  # rows that may precede the titles, and the titles
_WIDEST = 1000  # columns that are read
_READ = ("rule", "subjects", "address", "fix", "key", "decision", "change-to", "remark", "by", "until")
# First bytes of compound files: workbooks of the older kind, and those locked with a password.
_COMPOUND = b"\xd0\xcf\x11\xe0"
_SEPARATOR_LINE = re.compile(r'"?sep=(.)"?\s*', re.IGNORECASE)  # written above the titles by some programs


class FilledRow(NamedTuple):
    """One row as written: its number, its cells by title, and the reason why it cannot be read."""

    row: int
    cells: dict[str, str]
    fault: str


@dataclass(frozen=True, slots=True)
class Table:
    """A kind of table that is filled in: the titles that are read, those that identify it, and what made it."""

    titles: tuple[str, ...]
    marks: tuple[frozenset[str], ...]  # a row of titles holds all of one of these
    about: str  # as in "no row of titles with ..."
    made_by: str
    other: str  # in a file that holds both tables, a row with this column belongs to the other table

    def is_head(self, record: Record) -> bool:
        """Return whether a row is the table's row of titles."""
        titles = set(_titles(record))
        return any(mark <= titles for mark in self.marks)


FINDINGS = Table(
    _READ,
    (frozenset({"decision", "key"}), frozenset({"decision", "rule", "subjects"})),
    "decision and key",
    "`netcheck report PLAN --out FILE.csv` or `.xlsx`",
    other="kind",
)


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
    return tuple(
        Answer(row=each.row, **{title.replace("-", "_"): text for title, text in each.cells.items()}, fault=each.fault)
        for each in rows_from(path, FINDINGS)
    )


def holds(path: Path, table: Table) -> bool:
    """Return whether a file has the titles of a table; False for a file that cannot be read."""
    try:
        rows_from(path, table)
    except ReportError:
        return False
    return True


def rows_from(path: Path, table: Table) -> tuple[FilledRow, ...]:
    """Return the rows of a table that hold anything; ReportError where the file has no such table."""
    name = safe(path.name)
    try:
        with open_plain(path) as stream:
            mark = stream.read(4)
        if mark == _COMPOUND:
            what, do = "it is a workbook of an older kind, or is locked", "Save it as .xlsx without a password"
            raise FileError(Problem(what, do=do))
        if mark == ZIP:
            return _from_workbook(path, table)
        return _from_text(read_bounded(path, LIMIT), table)
    except FileError as error:
        raise ReportError(error.at(name)) from error


def _from_text(data: bytes, table: Table) -> tuple[FilledRow, ...]:
    lines = list(lines_of(text_of(io.BytesIO(data))))
    if lines and _SEPARATOR_LINE.fullmatch(lines[0]):
        lines[0] = "\n"
    head = lines[:_HEAD]

    def known(delimiter: str) -> int:
        counts = (sum(title in table.titles for title in _titles(one)) for one in records_of(head, delimiter))
        return max(counts, default=0)

    return tuple(_rows(records_of(lines, max(DELIMITERS, key=known)), table))


def _from_workbook(path: Path, table: Table) -> tuple[FilledRow, ...]:
    with opened(path, values=False) as book:
        return tuple(_rows(book.records(_sheet_of(book, table)), table))


def _sheet_of(book: Book, table: Table) -> str:
    """Return the sheet that has the titles of the table; FileError where several could be meant."""
    found = [sheet for sheet in book.sheets if any(map(table.is_head, islice(book.records(sheet), _HEAD)))]
    if len(found) > 1:
        names = listed([safe(each, 40) for each in found])
        raise FileError(Problem(f"several sheets hold findings: {names}", do="Leave only the one with the answers"))
    return found[0] if found else book.sheets[0]


def _titles(record: Record) -> list[str]:
    return [title_of(cell) for cell in record.cells[:_WIDEST] if len(cell) < _WIDEST]


def _rows(records: Iterator[Record], table: Table) -> Iterator[FilledRow]:
    header = next(filter(table.is_head, islice(records, _HEAD)), None)
    if header is None:
        what = f"it has no row of titles with {table.about} within its first {_HEAD} rows"
        raise FileError(Problem(what, do=f"Name a file that {table.made_by} made"))
    titles = [title_of(cell) for cell in header.cells[:_WIDEST]]
    twice = [title for title in table.titles if titles.count(title) > 1]
    if twice:
        raise FileError(Problem(f"it has the column {listed(twice)} twice", do="Leave the one that holds the answers"))
    columns = {title: titles.index(title) for title in table.titles if title in titles}
    other = titles.index(table.other) if {"decision", "granted", table.other} <= set(titles) else None
    for record in records:
        if record.row > MOST_ROWS:
            raise FileError(Problem(f"it has more than {MOST_ROWS:,} rows", do="Split it"))
        if not record.empty and not (other is not None and _cell(record, other, table.other)):
            yield FilledRow(
                record.row, {title: _cell(record, at, title) for title, at in columns.items()}, record.fault
            )


def _cell(record: Record, column: int, title: str) -> str:
    text = record.cells[column] if column < len(record.cells) else ""
    if isinstance(text, Formula):
        what = f"row {record.row}: {title} is a formula, {text}, and formulas are not read as answers"
        raise FileError(Problem(what, do="Write the value itself"))
    return unguarded(text.strip()).strip()
