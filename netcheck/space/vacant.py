"""The free addresses of one subnet; single addresses are looked up, and gaps are computed only if they are needed."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from functools import cached_property
from itertools import compress
from operator import sub

from netcheck.addr import Address, Prefix, Range
from netcheck.space.intervals import Spans, range_of
from netcheck.space.occupancy import Island
from netcheck.space.usable import private_ranges, usable_ranges


class FreeSpace:
    """Disjoint ascending gaps of integers that shrink and split as addresses are taken."""

    def __init__(self, lows: list[int], highs: list[int]) -> None:
        """`lows` and `highs` are the first and the last address of each gap."""
        self._lows = lows
        self._highs = highs

    def copy(self) -> FreeSpace:
        """Return a copy; taking addresses from one does not change the other."""
        return FreeSpace(self._lows.copy(), self._highs.copy())

    def widest(self) -> tuple[int, int] | None:
        """Return the first and the last address of the widest gap, the first of several; None if nothing is free."""
        widths = list(map(sub, self._highs, self._lows))
        if not widths:
            return None
        at = widths.index(max(widths))
        return self._lows[at], self._highs[at]

    def __bool__(self) -> bool:
        return bool(self._lows)

    def holds(self, value: int) -> bool:
        """Return whether an address is still free."""
        at = bisect_right(self._lows, value) - 1
        return at >= 0 and value <= self._highs[at]

    def next(self, value: int) -> int | None:
        """Return the first free address from a value upward, or None."""
        at = bisect_left(self._highs, value)
        return max(self._lows[at], value) if at < len(self._lows) else None

    def previous(self, value: int) -> int | None:
        """Return the first free address from a value downward, or None."""
        at = bisect_right(self._lows, value) - 1
        return min(self._highs[at], value) if at >= 0 else None

    def nearest(self, value: int) -> tuple[int, int, int]:
        """Return the first free address from a value upward, else downward, and the two ends of its gap.

        Raises LookupError if nothing is free.
        """
        at = min(bisect_left(self._highs, value), len(self._lows) - 1)
        if at < 0:
            raise LookupError("nothing is free")
        low, high = self._lows[at], self._highs[at]
        return min(max(value, low), high), low, high

    def take(self, low: int, high: int) -> None:
        """Mark the addresses from `low` to `high` as no longer free."""
        start, end = bisect_left(self._highs, low), bisect_right(self._lows, high)
        if start < end:
            first, last = self._lows[start], self._highs[end - 1]
            left, right = first < low, last > high
            self._lows[start:end] = [first] * left + [high + 1] * right
            self._highs[start:end] = [low - 1] * left + [last] * right


class Vacant:
    """Assignable addresses of a subnet: usable, unclaimed, not yet taken, and `keep_clear` away from known hosts."""

    def __init__(self, prefix: Prefix, island: Island, keep_clear: int, without: Sequence[Range] = ()) -> None:
        """Begin with all assignable addresses of a subnet, except the ranges of `without`."""
        self._whole = range_of(prefix)
        self._usable = _usable(prefix, without)
        self._island = island
        self._keep_clear = keep_clear
        self._taken: set[int] = set()
        self._all: FreeSpace | None = None

    def usable(self, value: int) -> bool:
        """Return whether a host may have an address, in use or not."""
        return self._usable.holds(self._whole.family, value)

    def holds(self, value: int) -> bool:
        """Return whether an address is still free."""
        if self._all is not None:
            return self._all.holds(value)
        family, reach = self._whole.family, _reach(self._keep_clear)
        if value in self._taken or not self.usable(value) or self._island.claims(Address(family, value)):
            return False
        return not self._island.hosts.count(Range(family, value - reach, value + reach))

    def take(self, value: int) -> None:
        """Mark an address as no longer free."""
        self._taken.add(value)
        if self._all is not None:
            self._all.take(value, value)

    def next(self, value: int) -> int | None:
        """Return the first free address from a value upward, or None."""
        return self._space.next(value)

    def previous(self, value: int) -> int | None:
        """Return the first free address from a value downward, or None."""
        return self._space.previous(value)

    @property
    def _space(self) -> FreeSpace:
        """Return all gaps; computed when single look-ups are not enough."""
        if self._all is None:
            self._all = self.without_plan.copy()
            for value in (*self._island.planned_in(self._whole), *self._taken):
                self._all.take(value, value)
        return self._all

    @cached_property
    def without_plan(self) -> FreeSpace:
        """Return the gaps as if no interface were planned in the subnet."""
        whole, clear = self._whole, _reach(self._keep_clear) + 1
        hosts = [whole.low - clear, *self._island.hosts.values(whole), whole.high + clear]
        following = hosts[1:]
        wide = list(map((2 * clear - 1).__lt__, map(sub, following, hosts)))  # distances that leave a gap
        lows = [value + clear for value in compress(hosts, wide)]
        highs = [value - clear for value in compress(following, wide)]
        gaps = FreeSpace(lows, highs)
        for span in (*self._usable.gaps(whole), *self._island.claimed_by_site.within(whole)):
            gaps.take(span.low, span.high)
        return gaps


def _usable(prefix: Prefix, without: Sequence[Range]) -> Spans:
    spans = Spans(private_ranges(prefix) or usable_ranges(prefix))
    if not without:
        return spans
    excluded = Spans(without)
    return Spans(gap for span in spans.ranges() for gap in excluded.gaps(span))


def _reach(keep_clear: int) -> int:
    return max(keep_clear - 1, 0)
