"""Free addresses of one subnet, taken one by one: is it free, and where is the widest gap."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from heapq import heapify, heappop, heappush


class FreeSpace:
    """Disjoint ascending gaps that shrink and split as addresses are taken; values are integers of one family."""

    def __init__(self, gaps: Sequence[tuple[int, int]]) -> None:
        """`gaps` are pairs of their first and last addresses."""
        self._lows = [low for low, _ in gaps]
        self._highs = [high for _, high in gaps]
        self._widest = [(low - high, low) for low, high in gaps]
        heapify(self._widest)

    def __bool__(self) -> bool:
        return bool(self._lows)

    def holds(self, value: int) -> bool:
        """Say whether an address is still free."""
        at = bisect_right(self._lows, value) - 1
        return at >= 0 and value <= self._highs[at]

    def take(self, value: int) -> None:
        """Make an address no longer free."""
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
        """The widest gap as (low, high), the lowest of equals; None where nothing is free."""
        while self._widest:
            width, low = self._widest[0]
            at = bisect_right(self._lows, low) - 1
            if at >= 0 and self._lows[at] == low and self._highs[at] == low - width:
                return low, low - width
            heappop(self._widest)  # that gap has been cut since
        return None
