"""One survey as read: what the plan says of it, its site hosts, and every row or cell that could not be used."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from netcheck.addr import Prefix
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.host_table import HostTable
from netcheck.survey.name_records import NameRecords

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
