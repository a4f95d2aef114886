"""Sets of addresses as sorted ranges, and ranges with owners; building is O(n log n), asking O(log n)."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from heapq import heappop, heappush
from itertools import repeat
from typing import Generic, TypeVar

from netcheck.addr import WIDTH, Address, Prefix, Range

T = TypeVar("T")


def range_of(prefix: Prefix) -> Range:
    """All addresses of a prefix as a range."""
    return Range(prefix.family, prefix.value, prefix.last.value)


def single(address: Address) -> Range:
    """The range of one address."""
    return Range(address.family, address.value, address.value)


def prefixes_of(span: Range) -> Iterator[Prefix]:
    """The fewest prefixes that together are a range, ascending."""
    low = span.low
    while low <= span.high:
        align = (low & -low).bit_length() - 1 if low else WIDTH[span.family]
        bits = min(align, (span.high - low + 1).bit_length() - 1)
        yield Prefix(span.family, low, WIDTH[span.family] - bits)
        low += 1 << bits


def between(low: int, high: int, starts: Iterable[int], ends: Iterable[int]) -> list[tuple[int, int]]:
    """What ranges, each with an address from `low` to `high`, leave free of these: (first, last), ascending.

    The ranges may overlap. In order, as many have ended at an end as have begun at the start of the same rank, so that
    something is free exactly where an end lies below the next start.
    """
    pairs = zip([low - 1, *sorted(ends)], [*sorted(starts), high + 1], strict=True)
    return [(end + 1, start - 1) for end, start in pairs if start - end > 1]


class Spans:
    """A set of addresses, kept as ascending ranges that neither overlap nor touch."""

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
        """The set with other ranges added."""
        return Spans([*others, *self.ranges()])

    def ranges(self) -> Iterator[Range]:
        """All ranges of the set, IPv4 first, ascending."""
        for family in WIDTH:
            yield from map(Range, repeat(family), self._lows[family], self._highs[family])

    def holds(self, family: int, value: int) -> bool:
        """Say whether an address is in the set."""
        at = bisect_left(self._highs[family], value)
        lows = self._lows[family]
        return at < len(lows) and lows[at] <= value

    def bounds(self, window: Range) -> tuple[list[int], list[int]]:
        """The first and the last addresses of the set's ranges inside a window, cut to it, ascending."""
        lows, highs = self._lows[window.family], self._highs[window.family]
        start, end = bisect_left(highs, window.low), bisect_right(lows, window.high)
        if start >= end:
            return [], []
        first, last = max(lows[start], window.low), min(highs[end - 1], window.high)
        return [first, *lows[start + 1 : end]], [*highs[start : end - 1], last]

    def within(self, window: Range) -> Iterator[Range]:
        """The ranges of the set inside a window, cut to it, ascending."""
        return map(Range, repeat(window.family), *self.bounds(window))

    def gaps(self, window: Range) -> Iterator[Range]:
        """What of a window is not in the set, ascending."""
        free = window.low
        for taken in self.within(window):
            if free < taken.low:
                yield Range(window.family, free, taken.low - 1)
            free = taken.high + 1
        if free <= window.high:
            yield Range(window.family, free, window.high)

    def count(self, window: Range) -> int:
        """How many addresses of a window are in the set."""
        return sum(span.size for span in self.within(window))


class Cover(Generic[T]):
    """Ranges that each have an owner, asked who owns an address; where ranges overlap the earlier one wins."""

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
        """The owner of an address, or None."""
        found = bisect_right(self._starts, address) - 1
        which = self._which[found] if found >= 0 else None
        return None if which is None else self._owners[which]
