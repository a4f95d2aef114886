"""Site hosts in columns: a million rows in compact arrays, searched by address, MAC and name.

Addresses are integers sorted by family and value; the rest of a row is put together as a `SiteHost` only when asked
for. Building is O(n log n), a search O(log n) plus what it yields.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import compress, count, islice, repeat
from operator import eq
from typing import TypeVar

from netcheck.addr import WIDTH, Address, Mac, Prefix, Range
from netcheck.survey.host_columns import HostColumns, Index
from netcheck.tables.columns import SPACES

K = TypeVar("K")


@dataclass(frozen=True, slots=True)
class SiteHost:
    """Something already on the site: what one row of one survey file says. `line` is the row, line or frame (the
    `unit`), counted from 1."""

    address: Address
    mac: Mac | None = None
    name: str = ""
    note: str = ""
    seen: date | None = None
    file: str = ""
    line: int = 0
    unit: str = "row"

    @property
    def where(self) -> str:
        """`site-hosts.csv: row 7`."""
        return f"{self.file}: {self.unit} {self.line}"


class HostTable:
    """Site hosts in order of address (IPv4 before IPv6), rows of one address in the order they were read."""

    def __init__(self, columns: HostColumns) -> None:
        self._columns = columns

    @cached_property
    def _ascending(self) -> tuple[Sequence[int], Sequence[int]]:
        """The IPv4 and the IPv6 values of all rows in order; most plans are checked without them."""
        return self._columns.values()

    @cached_property
    def _order(self) -> Sequence[int]:
        """The rows in order; most plans are checked without it."""
        return self._columns.order()

    @classmethod
    def of(cls, hosts: Iterable[SiteHost]) -> HostTable:
        """Build a table from single hosts."""
        columns = HostColumns()
        for host in hosts:
            _add(columns, host)
        return cls(columns)

    @classmethod
    def merged(cls, tables: Iterable[HostTable]) -> HostTable:
        """Build one table that holds the rows of several."""
        columns = HostColumns()
        for table in tables:
            columns.extend(table._columns)
        return cls(columns)

    def __len__(self) -> int:
        return len(self._columns)

    def __iter__(self) -> Iterator[SiteHost]:
        return map(self._host, self._order)

    def at(self, address: Address) -> tuple[SiteHost, ...]:
        """Every row that has the address; more than one where surveys or rows repeat it."""
        return tuple(self.between(address, address))

    def between(self, low: Address, high: Address) -> Iterator[SiteHost]:
        """The rows from `low` to `high`, both included, ascending; the two are of one family."""
        start, end = self._span(Range(low.family, low.value, high.value))
        offset = self._offset(low.family)
        return (self._host(self._order[index + offset]) for index in range(start, end))

    def values(self, within: Range) -> Sequence[int]:
        """The distinct addresses inside a range as ascending integers."""
        distinct = self._distinct[within.family]
        return distinct[bisect_left(distinct, within.low) : bisect_right(distinct, within.high)]

    def count(self, within: Range) -> int:
        """How many distinct addresses lie inside a range."""
        distinct = self._distinct[within.family]
        return bisect_right(distinct, within.high) - bisect_left(distinct, within.low)

    def among(self, family: int, wanted: Iterable[int]) -> set[int]:
        """Which of these addresses some row has."""
        return self._present[family].intersection(wanted)

    def around(self, address: Address, within: Prefix) -> Iterator[SiteHost]:
        """The rows inside a prefix by their distance from an address, nearest first, distance 0 included; of two
        equally near the lower address first."""
        if address.family != within.family:
            return
        values, offset = self._values(within.family), self._offset(within.family)
        low, high = self._span(Range(within.family, within.value, within.last.value))
        right = bisect_left(values, address.value, low, high)
        left = right - 1
        while left >= low or right < high:
            if right >= high or (left >= low and address.value - values[left] <= values[right] - address.value):
                yield self._host(self._order[left + offset])
                left -= 1
            else:
                yield self._host(self._order[right + offset])
                right += 1

    def nearest(self, address: Address, within: Prefix) -> SiteHost | None:
        """The row nearest to an address inside a prefix, distance 0 included."""
        return next(self.around(address, within), None)

    def by_mac(self, mac: Mac) -> tuple[SiteHost, ...]:
        """Every row with this MAC, in the order read."""
        return tuple(map(self._host, self._macs.find(mac.value)))

    def by_name(self, name: str) -> tuple[SiteHost, ...]:
        """Every row with this name, in the order read; case and a final dot do not count."""
        wanted = folded(name)
        found = map(self._host, self._names.find(hash(wanted)))
        return tuple(host for host in found if wanted and folded(host.name) == wanted)

    def by_addresses(self, addresses: Collection[Address]) -> dict[Address, list[SiteHost]]:
        """The rows of each of these addresses that has any, in the order read, by one look at every row."""
        found: dict[Address, list[SiteHost]] = {}
        narrow = {address.value for address in addresses if address.family == 4}
        broad = {address.value for address in addresses if address.family == 6}
        columns = self._columns.addresses
        rows = compress(count(), map(narrow.__contains__, columns.low)) if narrow else iter(())
        wide = (row for row, value in columns.wide.items() if value in broad)
        for row in sorted({*rows, *wide}):
            if (address := columns[row]) in addresses:
                found.setdefault(address, []).append(self._host(row))
        return found

    def by_macs(self, macs: Iterable[Mac]) -> dict[Mac, list[SiteHost]]:
        """The rows of each of these MACs that has any, in the order read, by one look at every row."""
        wanted = {mac.value for mac in macs}
        found: dict[Mac, list[SiteHost]] = {}
        for row in _rows(self._columns.macs, wanted):
            found.setdefault(Mac(self._columns.macs[row]), []).append(self._host(row))
        return found

    def by_names(self, names: Iterable[str]) -> dict[str, list[SiteHost]]:
        """The rows of each of these folded names that has any, in the order read, as `by_macs` finds them."""
        found: dict[str, list[SiteHost]] = {}
        for row in _rows(self._folded, set(names) - {""}):
            host = self._host(row)
            found.setdefault(folded(host.name), []).append(host)
        return found

    @cached_property
    def _folded(self) -> list[str]:
        """Every name as it is compared."""
        return folded_all(self._columns.names)

    @property
    def distinct(self) -> int:
        """How many distinct addresses there are."""
        return sum(map(len, self._present.values()))

    def repeated(self) -> Iterator[tuple[SiteHost, ...]]:
        """The rows of each address that has more than one."""
        for family in WIDTH if self.distinct < len(self) else ():
            values = self._values(family)
            same = compress(values, map(eq, values, islice(values, 1, None)))
            for value in dict.fromkeys(same):
                yield self.at(Address(family, value))

    @cached_property
    def _present(self) -> dict[int, set[int]]:
        """By family, the addresses in no order."""
        columns = self._columns.addresses
        narrow = compress(columns.low, map(columns.narrow, count())) if columns.wide else columns.low
        return {4: set(narrow), 6: set(columns.wide.values())}

    @cached_property
    def _distinct(self) -> dict[int, Sequence[int]]:
        """By family, the addresses in order, each once."""
        return {family: sorted(values) for family, values in self._present.items()}

    def _values(self, family: int) -> Sequence[int]:
        return self._ascending[0 if family == 4 else 1]

    def _offset(self, family: int) -> int:
        return 0 if family == 4 else len(self) - len(self._columns.addresses.wide)

    def _span(self, within: Range) -> tuple[int, int]:
        values = self._values(within.family)
        start = bisect_left(values, within.low)
        return start, bisect_right(values, within.high, start)

    @cached_property
    def _macs(self) -> Index:
        macs = self._columns.macs
        return Index((row for row, mac in enumerate(macs) if mac != HostColumns.NO_MAC), macs)

    @cached_property
    def _names(self) -> Index:
        names = self._columns.names
        keys = array("q", map(hash, self._folded))
        return Index(compress(count(), names), keys)

    def _host(self, row: int) -> SiteHost:
        columns = self._columns
        mac, seen = columns.macs[row], columns.seen[row]
        return SiteHost(
            columns.addresses[row],
            None if mac == HostColumns.NO_MAC else Mac(mac),
            columns.names[row],
            columns.notes[row],
            date.fromordinal(seen) if seen else None,
            columns.files[columns.sources[row]],
            columns.lines[row],
            columns.units[columns.sources[row]],
        )


def folded(name: str) -> str:
    """A name as it is compared: without case, outer space and final dot (RFC 4343 section 2 on case)."""
    return name.strip().rstrip(".").casefold()


def folded_all(names: Sequence[str]) -> list[str]:
    """`folded` of many names at once, without a call of Python's own for each."""
    joined = "\n".join(names) + "\n"
    alike = joined.isascii() and joined.count("\n") == len(names) and ".\n" not in joined
    if alike and not any(space in joined for space in (*SPACES, "\r")):
        lower = joined.lower()
        return list(names) if lower == joined else lower.split("\n")[:-1]
    return list(map(str.casefold, map(str.rstrip, map(str.strip, names), repeat("."))))


def _rows(column: Sequence[K], wanted: set[K]) -> Iterator[int]:
    """The rows that have one of the wanted values; most often none has."""
    return iter(()) if wanted.isdisjoint(column) else compress(count(), map(wanted.__contains__, column))


def _add(columns: HostColumns, host: SiteHost) -> None:
    columns.begin(host.file, host.unit)
    columns.add(host.address, host.mac, host.line, host.name, host.note, host.seen)
