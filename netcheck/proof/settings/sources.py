"""Which addresses may be borrowed to ask a device from, by how many leading bits they share with its own.

A source of level k shares exactly k bits with the device's address, so a device whose prefix has at most k bits takes
it for on-link, and any other does not. Pure; the same random numbers give the same sources.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from random import Random

INNERMOST = 30  # the closest level that is asked: the only one of level 31 is network or broadcast address in /30
_DRAWS = 64  # random addresses tried, where a level has too many to list
_LISTED = 8  # bits that may vary in a level whose addresses are listed


def level_of(one: int, other: int) -> int:
    """How many leading bits two addresses share; 32 for the same address."""
    return 32 - (one ^ other).bit_length()


class Sources:
    """Addresses to ask from, each given once."""

    def __init__(self, address: int, free: Callable[[int], bool], rng: Random) -> None:
        """`address` is the device's; `free` says whether plan and survey leave an address to nobody."""
        self.address, self._free, self._rng = address, free, rng
        self.used: dict[int, float] = {}  # and when last
        self.spoken_for: set[int] = set()  # not to be used: somebody has them, or the device asks for them by itself

    def fresh(self, level: int) -> int | None:
        """A free address of this level that was not used yet; None where none is found."""
        for address in self._candidates(level):
            if address not in self.used and address not in self.spoken_for and self._fit(address):
                return address
        return None

    def oldest(self, level: int) -> int | None:
        """Of the addresses of this level that were used, the one whose use lies back longest."""
        used = [
            address
            for address in self.used
            if level_of(address, self.address) == level and address not in self.spoken_for
        ]
        return min(used, key=self.used.__getitem__, default=None)

    def rested(self, level: int) -> int:
        """Of this level and all closer ones, the one to ask from next: with a fresh source, else with the oldest."""
        closer = range(INNERMOST, level - 1, -1)
        oldest = {one: self.used[source] for one in closer if (source := self.oldest(one)) is not None}
        fresh = next((one for one in closer if self.fresh(one) is not None), None)
        return fresh if fresh is not None else min(oldest, key=oldest.__getitem__, default=level)

    def _candidates(self, level: int) -> Iterator[int]:
        bits = 31 - level
        flipped = (self.address ^ 1 << bits) >> bits << bits
        if bits <= _LISTED:
            yield from self._rng.sample(range(flipped, flipped + (1 << bits)), 1 << bits)
        else:
            for _ in range(_DRAWS):
                yield flipped | self._rng.getrandbits(bits)

    def _fit(self, address: int) -> bool:
        """Free, an address that a host may have at all (RFC 1122 section 3.2.1.3), and, by its last two bits, neither
        network nor broadcast address in any prefix of up to 30 bits."""
        first = address >> 24
        return address & 3 in (1, 2) and 0 < first < 224 and first != 127 and self._free(address)
