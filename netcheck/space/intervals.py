"""Sets of addresses as sorted ranges, and ranges with owners; building takes O(n log n), a lookup O(log n)."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from heapq import heappop, heappush
from ipaddress import IPv4Address, IPv6Address, summarize_address_range
from itertools import chain, repeat, takewhile
from typing import Generic, TypeVar

from netcheck.addr import WIDTH, Address, Prefix, Range

T = TypeVar("T")


def range_of(prefix: Prefix) -> Range:
    """Return all addresses of a prefix as a range."""
    return Range(prefix.family, prefix.value, prefix.last.value)


def single(address: Address) -> Range:
    """Return an address as a range."""
    return Range(address.family, address.value, address.value)


def prefixes_of(span: Range) -> Iterator[Prefix]:
    """Yield the fewest prefixes whose union is a range, in ascending order."""
    address = IPv4Address if span.family == 4 else IPv6Address
    for network in summarize_address_range(address(span.low), address(span.high)):
        yield Prefix(span.family, int(network.network_address), network.prefixlen)


class Spans:
    """A set of addresses, stored as ascending ranges that neither overlap nor touch."""

    def __init__(self, ranges: Iterable[Range]) -> None:
        self._lows: dict[int, list[int]] = {family: [] for family in WIDTH}
        self._highs: dict[int, list[int]] = {family: [] for family in WIDTH}
        for family, low, high in sorted(ranges):
            highs = self._highs[family]
            if highs and low <= highs[-1] + 1:
                highs[-1] = max(highs[-1], high)
            else:
                self._lows[family].append(low)
                highs.append(high)

    def joined(self, others: Iterable[Range]) -> Spans:
        """Return the set with other ranges added."""
        return Spans([*others, *self.ranges()])

    def ranges(self) -> Iterator[Range]:
        """Yield all ranges of the set, IPv4 first, ascending."""
        for family in WIDTH:
            yield from map(Range, repeat(family), self._lows[family], self._highs[family])

    def holds(self, family: int, value: int) -> bool:
        """Return whether an address is in the set."""
        at = bisect_left(self._highs[family], value)
        lows = self._lows[family]
        return at < len(lows) and lows[at] <= value

    def bounds(self, window: Range) -> tuple[list[int], list[int]]:
        """Return two lists: the first and the last address of each range inside a window, clipped to it, ascending."""
        lows, highs = self._lows[window.family], self._highs[window.family]
        start, end = bisect_left(highs, window.low), bisect_right(lows, window.high)
        if start >= end:
            return [], []
        first, last = max(lows[start], window.low), min(highs[end - 1], window.high)
        return [first, *lows[start + 1 : end]], [*highs[start : end - 1], last]

    def within(self, window: Range) -> Iterator[Range]:
        """Return the ranges of the set inside a window, clipped to it, ascending."""
        return map(Range, repeat(window.family), *self.bounds(window))

    def gaps(self, window: Range) -> Iterator[Range]:
        """Yield the parts of a window that are not in the set, ascending."""
        free = window.low
        for taken in self.within(window):
            if free < taken.low:
                yield Range(window.family, free, taken.low - 1)
            free = taken.high + 1
        if free <= window.high:
            yield Range(window.family, free, window.high)

    def count(self, window: Range) -> int:
        """Return how many addresses of a window are in the set."""
        return sum(span.size for span in self.within(window))


class Cover(Generic[T]):
    """Finds the owner of an address among ranges with owners; if ranges overlap, the first one counts."""

    def __init__(self, owned: Iterable[tuple[Range, T]]) -> None:
        pairs = list(owned)
        self._owners = [owner for _, owner in pairs]
        self._starts: list[Address] = []
        self._which: list[int | None] = []
        for family in WIDTH:
            self._sweep(family, [(span, index) for index, (span, _) in enumerate(pairs) if span.family == family])

    def _sweep(self, family: int, spans: list[tuple[Range, int]]) -> None:
        opening = sorted(spans)
        live: list[tuple[int, int]] = []  # index of the range, its last address
        at = 0
        for edge in sorted({edge for span, _ in spans for edge in (span.low, span.high + 1)}):
            while at < len(opening) and opening[at][0].low == edge:
                heappush(live, (opening[at][1], opening[at][0].high))
                at += 1
            while live and live[0][1] < edge:
                heappop(live)
            self._starts.append(Address(family, edge))
            self._which.append(live[0][0] if live else None)

    def at(self, address: Address) -> T | None:
        """Return the owner of an address, or None."""
        found = bisect_right(self._starts, address) - 1
        which = self._which[found] if found >= 0 else None
        return None if which is None else self._owners[which]


class Prefixes:
    """Numbered prefixes, searched for the prefixes that share addresses with a given prefix.

    Two prefixes that share addresses are equal, or one contains the other.
    """

    def __init__(self, prefixes: Iterable[tuple[int, Prefix]]) -> None:
        self._ordered = sorted((prefix, number) for number, prefix in prefixes)
        self._same: dict[Prefix, list[int]] = {}
        for prefix, number in self._ordered:
            self._same.setdefault(prefix, []).append(number)
        self._lengths = sorted({prefix.length for prefix in self._same})

    def sharing(self, prefix: Prefix) -> Iterator[int]:
        """Yield the numbers of the prefixes that share addresses with a prefix, first of those that contain it."""
        return chain(chain.from_iterable(self._around(prefix)), (self._ordered[at][1] for at in self._inside(prefix)))

    def count(self, prefix: Prefix) -> int:
        """Return the number of prefixes that share addresses with a prefix."""
        return sum(map(len, self._around(prefix))) + len(self._inside(prefix))

    def _around(self, prefix: Prefix) -> list[list[int]]:
        """Return, for each length, the numbers of the shorter prefix that contains a prefix."""
        shorter = takewhile(prefix.length.__gt__, self._lengths)
        return [self._same.get(Prefix.of(prefix.first, length), []) for length in shorter]

    def _inside(self, prefix: Prefix) -> range:
        """Return the positions in `_ordered` of the prefixes that are equal to a prefix or inside it."""
        start = bisect_left(self._ordered, (prefix,))
        return range(start, bisect_left(self._ordered, (Prefix(prefix.family, prefix.last.value + 1, 0),), start))
