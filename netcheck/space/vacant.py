"""The free addresses of one subnet. Single addresses are looked up; all gaps are computed only for the widest one."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence

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


class Vacant:
    """Assignable addresses of a subnet: usable, unclaimed, not yet taken, and `keep_clear` away from known hosts."""

    def __init__(self, prefix: Prefix, island: Island, keep_clear: int, without: Sequence[Range] = ()) -> None:
        """`without` are ranges that do not count as usable."""
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
            self._all.take(value)

    def next(self, value: int) -> int | None:
        """Return the first free address from a value upward, or None."""
        return self._space.next(value)

    def previous(self, value: int) -> int | None:
        """Return the first free address from a value downward, or None."""
        return self._space.previous(value)

    @property
    def _space(self) -> FreeSpace:
        """Return all gaps; computed only when single look-ups do not answer."""
        if self._all is None:
            self._all = FreeSpace(
                _gaps(self._whole, self._usable, self._island, self._island.claimed, self._keep_clear)
            )
            for value in self._taken:
                self._all.take(value)
        return self._all


def gaps_without_plan(
    prefix: Prefix, island: Island, keep_clear: int, without: Sequence[Range] = ()
) -> list[tuple[int, int]]:
    """Return the gaps of a subnet as (low, high) pairs, ascending, as if no interface were planned in it; the ranges of
    `without` are no gaps."""
    return _gaps(range_of(prefix), _usable(prefix, without), island, island.claimed_by_site, keep_clear)


def _usable(prefix: Prefix, without: Sequence[Range]) -> Spans:
    spans = Spans(private_ranges(prefix) or usable_ranges(prefix))
    if not without:
        return spans
    excluded = Spans(without)
    return Spans(gap for span in spans.ranges() for gap in excluded.gaps(span))


def _reach(keep_clear: int) -> int:
    return max(keep_clear - 1, 0)


def _gaps(whole: Range, usable: Spans, island: Island, claimed: Spans, keep_clear: int) -> list[tuple[int, int]]:
    reach = _reach(keep_clear)
    hosts = island.hosts.values(whole)
    unusable = list(usable.gaps(whole))
    starts, ends = claimed.bounds(whole)
    starts += [*(value - reach for value in hosts), *(span.low for span in unusable)]
    ends += [*(value + reach for value in hosts), *(span.high for span in unusable)]
    return between(whole.low, whole.high, starts, ends)
