"""Names as a zone gives them: which address a name has, which name an address has, and where it stands."""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

from netcheck.addr import Address
from netcheck.plan.model import Position
from netcheck.survey.host_columns import Addresses


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
