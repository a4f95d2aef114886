"""The content of a survey: its entry in the plan, site hosts, DNS records, and remarks on unusable rows and cells."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import NamedTuple

from netcheck.addr import Address, Prefix, Range
from netcheck.errors import Problem
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.host_columns import Addresses
from netcheck.survey.host_table import HostTable, SiteHost

SHOWN_REMARKS = 200  # remarks stored of each kind; further ones are only counted, to bound the memory


class SurveyRemark(NamedTuple):
    """A row or cell that could not be used, and the reason."""

    position: Position
    why: str

    def __str__(self) -> str:
        return f"{self.position}: {self.why}"


@dataclass(frozen=True, slots=True)
class Remarks:
    """The first remarks of one kind, and the number of all remarks of that kind."""

    first: tuple[SurveyRemark, ...] = ()
    count: int = 0


class RecordKind(StrEnum):
    """The types of DNS records that name a host (RFC 1035 sections 3.4.1 and 3.3.12, RFC 3596 section 2.1)."""

    A = "A"
    AAAA = "AAAA"
    PTR = "PTR"


_KINDS = tuple(RecordKind)


class NameRecord(NamedTuple):
    """One DNS record: a name without its final dot, and its address.

    `absolute` is false if the file does not name its zone; the name may then be incomplete.
    """

    kind: RecordKind
    name: str
    address: Address
    absolute: bool
    position: Position


class Alias(NamedTuple):
    """A CNAME record (RFC 1034 section 3.6.2): an alias and its target name, both without the final dot."""

    name: str
    target: str
    absolute: bool
    position: Position


class ServedRange(NamedTuple):
    """A range of addresses that a DHCP server assigns, as its configuration says."""

    span: Range
    position: Position

    def __str__(self) -> str:
        return f"{self.span} ({self.position})"


class NameRecords:
    """The DNS records of one survey in the order read, stored in a few dozen bytes each."""

    def __init__(self) -> None:
        self._files: list[str] = []
        self._names: list[str] = []
        self._addresses = Addresses()
        self._lines = array("Q")
        self._sources = array("I")
        self._kinds = array("B")  # twice the index into _KINDS, plus one for an absolute name

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """The content of one survey file.

    `skipped` are rows whose address cannot be read. `addressless` are rows that name no host, such as a title above the
    header. `unread` are cells that cannot be read; their rows are kept without them. `failed` gives the reasons why the
    file as a whole could not be read: such a survey has no hosts and covers no prefix.
    """

    entry: SurveyEntry
    hosts: HostTable
    kind: str
    skipped: Remarks = field(default=Remarks())
    addressless: Remarks = field(default=Remarks())
    unread: Remarks = field(default=Remarks())
    records: NameRecords = field(default_factory=NameRecords)
    kinds: Mapping[str, str] = field(default_factory=dict)  # of a merged file: the kind of each list in it
    aliases: tuple[Alias, ...] = ()
    failed: tuple[Problem, ...] = ()
    served: tuple[ServedRange, ...] = ()

    @property
    def file(self) -> str:
        """The file's name as the plan writes it; also the survey's subject in findings."""
        return self.entry.file

    def kind_of(self, file: str) -> str:
        """Return the kind of the list with this file name; the survey's own kind if the survey is not a merged file."""
        return self.kinds.get(file, self.kind)

    def is_lease(self, host: SiteHost) -> bool:
        """Return whether a host is a lease of a DHCP server; a list of leases can contain reservations as well."""
        return self.kind_of(host.file) == "leases" and "DHCP reservation" not in host.note

    @property
    def taken(self) -> date | None:
        """The day on which the survey was taken; None if the plan does not give it."""
        return self.entry.taken

    @property
    def covers(self) -> tuple[Prefix, ...]:
        """The readable prefixes that the plan says this survey covers; none if the survey failed."""
        return () if self.failed else tuple(cell.value for cell in self.entry.covers if cell.value is not None)

    @property
    def island(self) -> str:
        """The island of its addresses."""
        return self.entry.island


def hosts_of(surveys: Iterable[Survey], island: str) -> HostTable:
    """Return the site hosts of one island from all its surveys."""
    tables = [survey.hosts for survey in surveys if survey.island == island]
    return tables[0] if len(tables) == 1 else HostTable.merged(tables)
