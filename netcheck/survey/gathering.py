"""What a survey reader is given: the source to read, and the place where hosts and remarks are gathered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import BinaryIO, TypeVar

from netcheck.addr import Address, Mac
from netcheck.files import open_plain
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.host_columns import Block, HostColumns
from netcheck.survey.host_table import HostTable
from netcheck.survey.model import SHOWN_REMARKS, Remark, Remarks, Survey
from netcheck.survey.name_records import NameRecords, RecordKind

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Source:
    """One survey file: the plan's entry for it, and where it lies."""

    entry: SurveyEntry
    path: Path

    def open(self) -> BinaryIO:
        """Open it for reading from its beginning."""
        return open_plain(self.path)


class _Remarks:
    def __init__(self) -> None:
        self._first: list[Remark] = []
        self._count = 0

    def add(self, position: Position, why: str) -> None:
        self._count += 1
        if len(self._first) < SHOWN_REMARKS:
            self._first.append(Remark(position, why))

    def done(self) -> Remarks:
        return Remarks(tuple(self._first), self._count)


class Gathering:
    """Site hosts and remarks of one survey while it is read."""

    def __init__(self, file: str, unit: str = "row") -> None:
        """`unit` is what the file's lines are called: row, line, frame."""
        self._file, self._sheet, self._unit = file, "", unit
        self._columns = HostColumns()
        self._columns.begin(file, unit)
        self._records = NameRecords()
        self._skipped, self._addressless, self._unread = _Remarks(), _Remarks(), _Remarks()

    def begin_sheet(self, name: str) -> None:
        """Name the sheet of the rows that follow."""
        self._sheet = f"sheet {name}, "
        self._columns.begin(f"{self._file}, sheet {name}")

    def begin_file(self, name: str) -> None:
        """Name another file that the rows which follow come from."""
        self._file = name
        self._columns.begin(name, self._unit)

    def _position(self, row: int) -> Position:
        return Position(self._file, f"{self._sheet}{self._unit} {row}" if row else self._sheet.rstrip(", "))

    def add(self, address: Address, mac: Mac | None, row: int, name: str, note: str, seen: date | None) -> None:
        """Append one site host."""
        self._columns.add(address, mac, row, name, note, seen)

    def add_block(self, block: Block, row: int) -> None:
        """Append site hosts of rows that follow one another, the first of them this row."""
        self._columns.add_block(block, row)

    def add_record(self, kind: RecordKind, name: str, address: Address, absolute: bool, row: int) -> None:
        """Append a DNS record and the site host that it names."""
        self._records.add(kind, name, address, absolute, self._file, row)
        self._columns.add(address, None, row, name)

    def skip(self, row: int, why: str) -> None:
        """Remark on a row whose address cannot be read."""
        self._skipped.add(self._position(row), why)

    def pass_over(self, row: int, why: str) -> None:
        """Remark on a row that names no address."""
        self._addressless.add(self._position(row), why)

    def cannot_read(self, row: int, why: str) -> None:
        """Remark on a part of a row that is kept without it."""
        self._unread.add(self._position(row), why)

    def attempt(self, row: int, read: Callable[[str], T | None], text: str) -> T | None:
        """Read a lesser cell; where that fails, remark on it and return None."""
        if not text:
            return None
        try:
            return read(text)
        except ValueError as error:
            self.cannot_read(row, str(error))
            return None

    def survey(self, entry: SurveyEntry, kind: str) -> Survey:
        """The finished survey."""
        remarks = (self._skipped.done(), self._addressless.done(), self._unread.done())
        return Survey(entry, HostTable(self._columns), kind, *remarks, self._records)
