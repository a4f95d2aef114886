"""One survey as read: what the plan says of it, its site hosts, and every row or cell that could not be used."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import NamedTuple

from netcheck.addr import Address, Prefix
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.host_columns import Addresses
from netcheck.survey.host_table import HostTable

SHOWN_REMARKS = 200  # remarks kept in full; the rest are counted, so that memory stays bounded


@dataclass(frozen=True, slots=True)
class Remark:
    """One row or cell that could not be used, and why."""

    position: Position
    why: str

    def __str__(self) -> str:
        return f"{self.position}: {self.why}"


@dataclass(frozen=True, slots=True)
class Remarks:
    """All remarks of one kind: the first ones in full, and the count of all."""

    first: tuple[Remark, ...] = ()
    count: int = 0


class RecordKind(StrEnum):
    """The types of DNS records that name a host (RFC 1035 sections 3.4.1 and 3.3.12, RFC 3596 section 2.1)."""

    A = "A"
    AAAA = "AAAA"
    PTR = "PTR"


_KINDS = tuple(RecordKind)


class NameRecord(NamedTuple):
    """One record: the name without final dot, and the address. `absolute` says whether the name is complete; it is
    not where no `$ORIGIN` or absolute SOA owner tells which zone the file is."""

    kind: RecordKind
    name: str
    address: Address
    absolute: bool
    position: Position


class NameRecords:
    """The records of one zone in the order read, a few dozen bytes each."""

    def __init__(self) -> None:
        self._files: list[str] = []
        self._names: list[str] = []
        self._addresses = Addresses()
        self._lines = array("Q")
        self._sources = array("I")
        self._kinds = array("B")  # index into _KINDS, doubled, plus one where the name is absolute

    def __len__(self) -> int:
        return len(self._lines)

    def __iter__(self) -> Iterator[NameRecord]:
        for row, (kind, line) in enumerate(zip(self._kinds, self._lines, strict=True)):
            position = Position(self._files[self._sources[row]], f"line {line}")
            yield NameRecord(_KINDS[kind >> 1], self._names[row], self._addresses[row], bool(kind & 1), position)

    def add(self, kind: RecordKind, name: str, address: Address, absolute: bool, file: str, line: int) -> None:
        """Append one record."""
        if not self._files or self._files[-1] != file:
            self._files.append(file)
        self._names.append(name)
        self._addresses.add(address)
        self._lines.append(line)
        self._sources.append(len(self._files) - 1)
        self._kinds.append(_KINDS.index(kind) * 2 + absolute)


@dataclass(frozen=True, slots=True)
class Survey:
    """A survey file's site hosts and, from a zone, its DNS records. `skipped` are rows whose address cannot be read;
    `addressless` rows that name none, such as a title above the header; `unread` other cells that cannot be read, in
    rows kept without them."""

    entry: SurveyEntry
    hosts: HostTable
    kind: str
    skipped: Remarks = field(default=Remarks())
    addressless: Remarks = field(default=Remarks())
    unread: Remarks = field(default=Remarks())
    records: NameRecords = field(default_factory=NameRecords)

    @property
    def file(self) -> str:
        """The file's name as written in the plan; also the survey's subject in findings."""
        return self.entry.file

    @property
    def taken(self) -> date | None:
        """The day the survey was taken, where the plan says so."""
        return self.entry.taken

    @property
    def covers(self) -> tuple[Prefix, ...]:
        """The prefixes it covers, those that can be read."""
        return tuple(cell.value for cell in self.entry.covers if cell.value is not None)

    @property
    def island(self) -> str:
        """The island its addresses belong to."""
        return self.entry.island


def hosts_of(surveys: Iterable[Survey], island: str) -> HostTable:
    """The site hosts of one island, over all its surveys."""
    tables = [survey.hosts for survey in surveys if survey.island == island]
    return tables[0] if len(tables) == 1 else HostTable.merged(tables)
