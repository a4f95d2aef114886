"""What a survey reader is given: the source to read, and the place where hosts and remarks are gathered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import BinaryIO, TypeVar

from netcheck.addr import Address, Mac
from netcheck.files import open_plain
from netcheck.plan.model import Place, SurveyEntry
from netcheck.survey.columns import HostColumns
from netcheck.survey.source import SHOWN_REMARKS, Remark, Remarks, Survey
from netcheck.survey.table import HostTable

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
    def __init__(self, file: str) -> None:
        self._file, self._first, self._count = file, list[Remark](), 0

    def add(self, row: int, why: str) -> None:
        self._count += 1
        if len(self._first) < SHOWN_REMARKS:
            self._first.append(Remark(Place(self._file, f"row {row}"), why))

    def done(self) -> Remarks:
        return Remarks(tuple(self._first), self._count)


class Gathering:
    """Site hosts and remarks of one survey while it is read."""

    def __init__(self, file: str) -> None:
        self._columns = HostColumns()
        self._columns.begin(file)
        self._skipped, self._addressless, self._unread = _Remarks(file), _Remarks(file), _Remarks(file)

    def add(self, address: Address, mac: Mac | None, row: int, name: str, note: str, seen: date | None) -> None:
        """Append one site host."""
        self._columns.add(address, mac, row, name, note, seen)

    def skip(self, row: int, why: str) -> None:
        """Remark on a row whose address cannot be read."""
        self._skipped.add(row, why)

    def pass_over(self, row: int, why: str) -> None:
        """Remark on a row that names no address."""
        self._addressless.add(row, why)

    def cannot_read(self, row: int, why: str) -> None:
        """Remark on a part of a row that is kept without it."""
        self._unread.add(row, why)

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
        return Survey(entry, HostTable(self._columns), kind, *remarks)
