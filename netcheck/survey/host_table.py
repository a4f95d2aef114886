"""A table of site hosts: a million rows in compact arrays, searched by address, MAC and name.

Addresses are integers sorted by family and value. A `SiteHost` is made only when a caller asks for it. Sorting takes
O(n log n), a search O(log n) plus its results.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Sequence, Set
from datetime import date
from functools import cached_property
from itertools import compress, count, islice, repeat
from operator import eq
from typing import NamedTuple, TypeVar

from netcheck.addr import WIDTH, Address, Mac, Prefix, Range
from netcheck.survey.host_columns import HostColumns, Index
from netcheck.tables.delimited import SPACES

K = TypeVar("K")


class SiteHost(NamedTuple):
    """A host on the site, from one row of a survey file; `line` counts rows, lines or frames (`unit`) from 1."""

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
        """The position as text, such as `site-hosts.csv: row 7`."""
        return f"{self.file}: {self.unit} {self.line}"


class HostTable:
    """Site hosts in order of address, IPv4 before IPv6; rows with the same address keep the order read."""

    def __init__(self, columns: HostColumns) -> None:
        self._columns = columns

    @cached_property
    def _ascending(self) -> tuple[Sequence[int], Sequence[int]]:
        """The IPv4 and the IPv6 addresses of all rows as ascending integers; computed on first use."""
        return self._columns.values()

    @cached_property
    def _order(self) -> Sequence[int]:
        """The row numbers in order of address; computed on first use."""
        return self._columns.order()

    @classmethod
    def of(cls, hosts: Iterable[SiteHost]) -> HostTable:
        """Return a table of these hosts."""
        columns = HostColumns()
        for host in hosts:
            _add(columns, host)
        return cls(columns)

    @classmethod
    def merged(cls, tables: Iterable[HostTable]) -> HostTable:
        """Return one table with the rows of all these tables."""
        columns = HostColumns()
        for table in tables:
            columns.extend(table._columns)
        return cls(columns)

    def __len__(self) -> int:
        return len(self._columns)

    def __iter__(self) -> Iterator[SiteHost]:
        return map(self._host, self._order)

    @property
    def files(self) -> Sequence[str]:
        """The names of the files that the rows come from."""
        return self._columns.files

    def at(self, address: Address) -> tuple[SiteHost, ...]:
        """Return every row with this address; several surveys or rows may have it."""
        return tuple(self.between(address, address))

    def between(self, low: Address, high: Address) -> Iterator[SiteHost]:
        """Yield the rows from `low` to `high` in ascending order, both included; both have the same family."""
        start, end = self._span(Range(low.family, low.value, high.value))
        offset = self._offset(low.family)
        return (self._host(self._order[index + offset]) for index in range(start, end))

    def values(self, within: Range) -> Sequence[int]:
        """Return the distinct addresses inside a range as ascending integers."""
        distinct = self._distinct[within.family]
        return distinct[bisect_left(distinct, within.low) : bisect_right(distinct, within.high)]

    def count(self, within: Range) -> int:
        """Return the number of distinct addresses inside a range."""
        distinct = self._distinct[within.family]
        return bisect_right(distinct, within.high) - bisect_left(distinct, within.low)

    def among(self, family: int, wanted: Iterable[int]) -> set[int]:
        """Return the wanted addresses of a family, as integers, that occur in the table."""
        return self._present[family].intersection(wanted)

    def around(self, address: Address, within: Prefix) -> Iterator[SiteHost]:
        """Yield the rows inside a prefix, nearest to an address first; rows with that address are included.

        Of two addresses at the same distance the lower one comes first.
        """
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
        """Return the row inside a prefix that is nearest to an address, or None; it may have that very address."""
        return next(self.around(address, within), None)

    def by_mac(self, mac: Mac) -> tuple[SiteHost, ...]:
        """Return every row with this MAC, in the order read."""
        return tuple(map(self._host, self._macs.find(mac.value)))

    def by_addresses(self, addresses: Collection[Address]) -> dict[Address, list[SiteHost]]:
        """Return the rows with these addresses, by address, in the order read; one pass over the table."""
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
        """Return the rows with these MACs, by MAC, in the order read; one pass over the table."""
        wanted = {mac.value for mac in macs}
        found: dict[Mac, list[SiteHost]] = {}
        for row in _rows(self._columns.macs, wanted):
            found.setdefault(Mac(self._columns.macs[row]), []).append(self._host(row))
        return found

    def by_names(self, names: Set[str]) -> dict[str, list[SiteHost]]:
        """Return the rows with these folded names, by folded name, in the order read; one pass over the table.

        No row is returned for an empty name.
        """
        found: dict[str, list[SiteHost]] = {}
        for row in _rows(self._folded, names - {""} if "" in names else names):
            host = self._host(row)
            found.setdefault(folded(host.name), []).append(host)
        return found

    @cached_property
    def _folded(self) -> list[str]:
        """All names, folded."""
        return folded_all(self._columns.names)

    @property
    def distinct(self) -> int:
        """The number of distinct addresses."""
        return sum(map(len, self._present.values()))

    def repeated(self) -> Iterator[tuple[SiteHost, ...]]:
        """Yield the rows of each address that occurs in more than one row."""
        for family in WIDTH if self.distinct < len(self) else ():
            values = self._values(family)
            same = compress(values, map(eq, values, islice(values, 1, None)))
            for value in dict.fromkeys(same):
                yield self.at(Address(family, value))

    @cached_property
    def _present(self) -> dict[int, set[int]]:
        """The addresses by family, unordered."""
        columns = self._columns.addresses
        narrow = compress(columns.low, map(columns.narrow, count())) if columns.wide else columns.low
        return {4: set(narrow), 6: set(columns.wide.values())}

    @cached_property
    def _distinct(self) -> dict[int, Sequence[int]]:
        """The distinct addresses by family, ascending."""
        # An array is one piece of memory, and reading a slice of it is several times as fast as reading one of a list.
        return {4: array("I", sorted(self._present[4])), 6: sorted(self._present[6])}

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

    def _host(self, row: int) -> SiteHost:
        columns = self._columns
        mac, seen = columns.macs[row], columns.seen[row]
        return SiteHost(
            address=columns.addresses[row],
            mac=None if mac == HostColumns.NO_MAC else Mac(mac),
            name=columns.names[row],
            note=columns.notes[row],
            seen=date.fromordinal(seen) if seen else None,
            file=columns.files[columns.sources[row]],
            line=columns.lines[row],
            unit=columns.units[columns.sources[row]],
        )


def folded(name: str) -> str:
    """Return the form in which names are compared: no outer blanks, no final dot, lower case (RFC 4343 section 2)."""
    return name.strip().rstrip(".").casefold()


def folded_all(names: Sequence[str]) -> list[str]:
    """Return `folded` of each name, without a Python call for each name."""
    joined = "\n".join(names) + "\n"
    alike = joined.isascii() and joined.count("\n") == len(names) and ".\n" not in joined
    if alike and not any(space in joined for space in (*SPACES, "\r")):
        lower = joined.lower()
        return list(names) if lower == joined else lower.split("\n")[:-1]
    return list(map(str.casefold, map(str.rstrip, map(str.strip, names), repeat("."))))


def _rows(column: Sequence[K], wanted: Set[K]) -> Iterator[int]:
    """Yield the rows with one of the wanted values; the usual case, no such row, is the fast one."""
    return iter(()) if wanted.isdisjoint(column) else compress(count(), map(wanted.__contains__, column))


def _add(columns: HostColumns, host: SiteHost) -> None:
    columns.begin(host.file, host.unit)
    columns.add(host.address, host.mac, host.line, host.name, host.note, host.seen)
