"""The input and the output of a survey reader: the source that it reads, and the hosts and remarks that it gathers."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import date
from itertools import islice
from pathlib import Path
from typing import BinaryIO, NamedTuple, TypeVar

from netcheck.addr import Address, Mac, Range
from netcheck.errors import NetcheckError, Problem, SurveyError
from netcheck.files import HashedFile, HashedFiles
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.host_columns import Block, HostColumns
from netcheck.survey.host_table import HostTable
from netcheck.survey.model import (
    SHOWN_REMARKS,
    Alias,
    NameRecords,
    RecordKind,
    Remarks,
    ServedRange,
    Survey,
    SurveyRemark,
)
from netcheck.tables.delimited import lines_of, text_of

T = TypeVar("T")
HEAD_LINES = 200  # a reader recognises its kind of file by these first lines
EMPTY = Problem("it is empty", do="Export it again; an empty list would make every address look free")


class KeptFile(NamedTuple):
    """A survey in a file that was read before: the plan's own workbook or table."""

    data: bytes

    def open(self) -> BinaryIO:
        """Return the bytes as a stream."""
        return io.BytesIO(self.data)

    def whole(self, limit: int) -> bytes:
        """Return all bytes; the plan's reader has checked the size already."""
        return self.data

    def finish(self) -> None:
        """Do nothing: the plan's reader has hashed the bytes already."""


class Source(NamedTuple):
    """One survey file: its entry in the plan, its path and its content.

    `files` reads and hashes every further file that the survey includes.
    """

    entry: SurveyEntry
    path: Path
    file: HashedFile | KeptFile
    files: HashedFiles

    def open(self) -> BinaryIO:
        """Return the content as a stream from its beginning."""
        return self.file.open()

    def lines(self) -> Iterator[tuple[int, str]]:
        """Yield each line's number, counted from 1, and its text without the line end.

        Raises SurveyError at the end if all lines are blank.
        """
        empty = True
        with self.open() as stream, text_of(stream) as text:
            for number, line in enumerate(lines_of(text), 1):
                empty = empty and not line.strip()
                yield number, line.rstrip("\r\n")
        if empty:
            raise SurveyError(EMPTY)


def head_lines(head: bytes) -> list[str]:
    """Return the non-blank lines among the first `HEAD_LINES` of these bytes; an empty list if they are not text."""
    try:
        with text_of(io.BytesIO(head)) as text:
            lines = [line.rstrip("\r\n") for line in islice(lines_of(text), HEAD_LINES)]
    except NetcheckError:
        return []
    return [line for line in lines if line.strip()]


class _Remarks:
    def __init__(self) -> None:
        self._first: list[SurveyRemark] = []
        self._count = 0

    def add(self, position: Position, why: str, count: int = 1) -> None:
        self._count += count
        if len(self._first) < SHOWN_REMARKS:
            self._first.append(SurveyRemark(position, why))

    def done(self) -> Remarks:
        return Remarks(tuple(self._first), self._count)


class Gathering:
    """Collects the site hosts and remarks of one survey while it is read."""

    def __init__(self, file: str, unit: str = "row") -> None:
        """Begin with a file; messages call its lines `unit`: row, line or frame."""
        self._file, self._sheet, self._unit = file, "", unit
        self._columns = HostColumns()
        self._columns.begin(file, unit)
        self._records = NameRecords()
        self._kinds: dict[str, str] = {}
        self._aliases: list[Alias] = []
        self._served: list[ServedRange] = []
        self._skipped, self._addressless, self._unread = _Remarks(), _Remarks(), _Remarks()

    def begin_sheet(self, name: str) -> None:
        """Set the sheet of the rows that follow."""
        self._sheet = f"sheet {name}, "
        self._columns.begin(f"{self._file}, sheet {name}")

    def begin_file(self, name: str) -> None:
        """Set the file of the rows that follow, if it is not the survey itself."""
        self._file = name
        self._columns.begin(name, self._unit)

    def begin_line(self, file: str, unit: str, kind: str = "") -> None:
        """Set the list that the next row comes from: its file, the name of its lines and its kind."""
        self._file, self._sheet, self._unit = file, "", unit
        self._columns.begin(file, unit)
        if kind:
            self._kinds[file] = kind

    def _position(self, row: int) -> Position:
        return Position(self._file, f"{self._sheet}{self._unit} {row}" if row else self._sheet.rstrip(", "))

    def add(self, address: Address, mac: Mac | None, row: int, name: str, note: str, seen: date | None) -> None:
        """Append one site host."""
        self._columns.add(address, mac, row, name, note, seen)

    def add_block(self, block: Block, row: int) -> None:
        """Append the site hosts of consecutive rows; `row` is the first one."""
        self._columns.add_block(block, row)

    def add_record(self, kind: RecordKind, name: str, address: Address, absolute: bool, row: int) -> None:
        """Append a DNS record and the site host that it names."""
        self._records.add(kind, name, address, absolute, self._file, row)
        self._columns.add(address, None, row, name)

    def add_alias(self, name: str, target: str, absolute: bool, row: int) -> None:
        """Append a CNAME record."""
        self._aliases.append(Alias(name, target, absolute, self._position(row)))

    def add_range(self, span: Range, row: int) -> None:
        """Append a range that a DHCP server assigns."""
        self._served.append(ServedRange(span, self._position(row)))

    def skip_row(self, row: int, why: str, count: int = 1) -> None:
        """Remark that `count` rows have no readable address; row 0 means the whole file or sheet."""
        self._skipped.add(self._position(row), why, count)

    def remark_no_host(self, row: int, why: str) -> None:
        """Remark that a row names no host, for example because it has no address; row 0 means the whole file."""
        self._addressless.add(self._position(row), why)

    def skip_cell(self, row: int, why: str, count: int = 1) -> None:
        """Remark that `count` cells of a row cannot be read; the row is kept without them."""
        self._unread.add(self._position(row), why, count)

    def attempt(self, row: int, read: Callable[[str], T | None], text: str) -> T | None:
        """Return the value of an optional cell; None if it is empty. An unreadable cell becomes a remark and None."""
        if not text:
            return None
        try:
            return read(text)
        except ValueError as error:
            self.skip_cell(row, str(error))
            return None

    def survey(self, entry: SurveyEntry, kind: str) -> Survey:
        """Return the finished survey."""
        return Survey(
            entry=entry,
            hosts=HostTable(self._columns),
            kind=kind,
            skipped=self._skipped.done(),
            addressless=self._addressless.done(),
            unread=self._unread.done(),
            records=self._records,
            kinds=self._kinds,
            aliases=tuple(self._aliases),
            served=tuple(self._served),
        )
