"""The free addresses of one subnet. Single addresses are looked up; all gaps are computed only for the widest one."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from heapq import heapify, heappop, heappush

from netcheck.addr import Address, Prefix, Range
from netcheck.space.intervals import Spans, between, range_of
from netcheck.space.occupancy import Island
from netcheck.space.usable import private_ranges, usable_ranges


class FreeSpace:
    """Disjoint ascending gaps of integers that shrink and split as addresses are taken."""

    def __init__(self, gaps: Sequence[tuple[int, int]]) -> None:
        """`gaps` are pairs of first and last address."""
        self._lows = [low for low, _ in gaps]
        self._highs = [high for _, high in gaps]
        self._widest = [(low - high, low) for low, high in gaps]
        heapify(self._widest)

    def __bool__(self) -> bool:
        return bool(self._lows)

    def holds(self, value: int) -> bool:
        """Return whether an address is still free."""
        at = bisect_right(self._lows, value) - 1
        return at >= 0 and value <= self._highs[at]

    def take(self, value: int) -> None:
        """Mark an address as no longer free."""
        at = bisect_right(self._lows, value) - 1
        if at < 0 or value > self._highs[at]:
            return
        low, high = self._lows[at], self._highs[at]
        left = [(low, value - 1)] if low < value else []
        rest = left + ([(value + 1, high)] if value < high else [])
        self._lows[at : at + 1] = [start for start, _ in rest]
        self._highs[at : at + 1] = [end for _, end in rest]
        for start, end in rest:
            heappush(self._widest, (start - end, start))

    def widest(self) -> tuple[int, int] | None:
        """Return the widest gap as (low, high), the lowest of equal ones; None if nothing is free."""
        while self._widest:
            width, low = self._widest[0]
            at = bisect_right(self._lows, low) - 1
            if at >= 0 and self._lows[at] == low and self._highs[at] == low - width:
                return low, low - width
            heappop(self._widest)  # this gap has been cut since it was pushed
        return None


class Vacant:
    """Assignable addresses of a subnet: usable, unclaimed, not yet taken, and `keep_clear` away from known hosts."""

    def __init__(self, prefix: Prefix, island: Island, keep_clear: int) -> None:
        self._whole = range_of(prefix)
        self._usable = Spans(private_ranges(prefix) or usable_ranges(prefix))
        self._island = island
        self._reach = max(keep_clear - 1, 0)
        self._taken: set[int] = set()
        self._space: FreeSpace | None = None

    def holds(self, value: int) -> bool:
        """Return whether an address is still free."""
        if self._space is not None:
            return self._space.holds(value)
        family = self._whole.family
        if value in self._taken or not self._usable.holds(family, value) or self._island.claims(Address(family, value)):
            return False
        return not self._island.hosts.count(Range(family, value - self._reach, value + self._reach))

    def take(self, value: int) -> None:
        """Mark an address as no longer free."""
        self._taken.add(value)
        if self._space is not None:
            self._space.take(value)

    def widest(self) -> tuple[int, int] | None:
        """Return the widest gap as (low, high), the lowest of equal ones; None if nothing is free."""
        if self._space is None:
            self._space = FreeSpace(self._gaps())
            for value in self._taken:
                self._space.take(value)
        return self._space.widest()

    def _gaps(self) -> list[tuple[int, int]]:
        whole, reach = self._whole, self._reach
        hosts = self._island.hosts.values(whole)
        unusable = list(self._usable.gaps(whole))
        starts, ends = self._island.claimed.bounds(whole)
        starts += [*(value - reach for value in hosts), *(span.low for span in unusable)]
        ends += [*(value + reach for value in hosts), *(span.high for span in unusable)]
        return between(whole.low, whole.high, starts, ends)
