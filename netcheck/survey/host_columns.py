"""The columns of a table of site hosts: integers in arrays, texts in lists."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import repeat
from typing import ClassVar, NamedTuple

from netcheck.addr import Address, Mac


class Addresses:
    """A column of addresses: IPv4 addresses as 32 bits in an array, the rare IPv6 addresses in a dictionary by row."""

    def __init__(self) -> None:
        self.low = array("I")
        self.wide: dict[int, int] = {}

    def __len__(self) -> int:
        return len(self.low)

    def __getitem__(self, row: int) -> Address:
        value = self.wide.get(row)
        return Address(4, self.low[row]) if value is None else Address(6, value)

    def narrow(self, row: int) -> bool:
        """Return whether a row's address is IPv4."""
        return row not in self.wide

    def add(self, address: Address) -> None:
        """Append one address."""
        if address.family == 6:
            self.wide[len(self.low)] = address.value
        self.low.append(address.value if address.family == 4 else 0)

    def extend(self, other: Addresses) -> None:
        """Append another column's addresses."""
        base = len(self.low)
        self.wide.update((base + row, value) for row, value in other.wide.items())
        self.low.extend(other.low)


class Block(NamedTuple):
    """The hosts of consecutive rows, with values as in `HostColumns`; a field that the file lacks is empty."""

    addresses: array[int]
    macs: array[int]
    names: Sequence[str]
    notes: Sequence[str]
    seen: array[int]


NO_MAC = 1 << 48


class HostColumns:
    """The hosts in the order read, one row a host. `begin` sets the file of the rows that follow."""

    NO_MAC: ClassVar[int] = NO_MAC

    def __init__(self) -> None:
        self.files: list[str] = []
        self.units: list[str] = []  # the name of a file's lines: row, line or frame
        self.addresses = Addresses()
        self.macs = array("Q")
        self.lines = array("Q")
        self.sources = array("I")
        self.seen = array("I")  # proleptic Gregorian ordinal, 0 for unknown
        self.names: list[str] = []
        self.notes: list[str] = []
        self._indexes: dict[tuple[str, str], int] = {}
        self._current = -1

    def __len__(self) -> int:
        return len(self.macs)

    def begin(self, file: str, unit: str = "row") -> None:
        """Set the file of the rows that follow, and the name of its lines."""
        self._current = self._indexes.setdefault((file, unit), len(self.files))
        if self._current == len(self.files):
            self.files.append(file)
            self.units.append(unit)

    def add(
        self, address: Address, mac: Mac | None, line: int, name: str = "", note: str = "", seen: date | None = None
    ) -> None:
        """Append one host of the current file."""
        self.addresses.add(address)
        self.macs.append(self.NO_MAC if mac is None else mac.value)
        self.lines.append(line)
        self.sources.append(self._current)
        self.seen.append(seen.toordinal() if seen else 0)
        self.names.append(name)
        self.notes.append(note)

    def add_block(self, block: Block, line: int) -> None:
        """Append hosts of the current file from consecutive lines; `line` is the first one."""
        size = len(block.addresses)
        self.addresses.low.extend(block.addresses)
        self.macs.extend(block.macs or array("Q", [NO_MAC]) * size)
        self.lines.extend(range(line, line + size))
        self.sources.extend(array("I", [self._current]) * size)
        self.seen.extend(block.seen or array("I", [0]) * size)
        self.names += block.names or repeat("", size)
        self.notes += block.notes or repeat("", size)

    def extend(self, other: HostColumns) -> None:
        """Append the rows of other columns."""
        base = len(self.files)
        self.files.extend(other.files)
        self.units.extend(other.units)
        self.sources.extend(base + source for source in other.sources)
        self.addresses.extend(other.addresses)
        self.macs.extend(other.macs)
        self.lines.extend(other.lines)
        self.seen.extend(other.seen)
        self.names.extend(other.names)
        self.notes.extend(other.notes)

    def order(self) -> array[int]:
        """Return the rows sorted by address, IPv4 first; rows with the same address keep the order read."""
        low, wide = self.addresses.low, self.addresses.wide
        rows = list(filter(self.addresses.narrow, range(len(low)))) if wide else range(len(low))
        order = _in_order(rows, low)
        order.extend(sorted(wide, key=wide.__getitem__))
        return order

    def values(self) -> tuple[array[int], list[int]]:
        """Return the IPv4 and the IPv6 addresses as integers, each in ascending order."""
        low, wide = self.addresses.low, self.addresses.wide
        narrow = map(low.__getitem__, filter(self.addresses.narrow, range(len(low)))) if wide else low
        # A float holds integers of 53 bits exactly (IEEE 754), and floats are sorted faster than integers.
        return array("I", map(int, sorted(map(float, narrow)))), sorted(wide.values())


# A float holds integers of 53 bits exactly (IEEE 754): 32 bits of address and 21 bits of row. Floats are sorted faster
# than pairs.
_ROWS = 1 << 21


def _in_order(rows: Sequence[int], keys: array[int]) -> array[int]:
    """Return rows sorted by their 32-bit keys; `rows` must ascend, and rows with the same key keep their order."""
    if len(keys) > _ROWS:
        return array("I", sorted(rows, key=keys.__getitem__))
    scale = float(_ROWS)
    packed = sorted([keys[row] * scale + row for row in rows])
    return array("I", [int(each) & (_ROWS - 1) for each in packed])


class Index:
    """Finds rows by an integer key in O(log n); rows with the same key keep their order."""

    def __init__(self, rows: Iterable[int], keys: Sequence[int]) -> None:
        self._rows = array("I", sorted(rows, key=keys.__getitem__))
        self._keys = keys

    def find(self, key: int) -> list[int]:
        """Return every row with this key."""
        at = bisect_left(self._rows, key, key=self._keys.__getitem__)
        found = []
        while at < len(self._rows) and self._keys[self._rows[at]] == key:
            found.append(self._rows[at])
            at += 1
        return found
