"""Source addresses that may be borrowed, by the number of leading bits that they share with the device's address.

A source of level k shares exactly k bits with the device's address, so that it is on-link for a device
whose prefix has at most k bits, and off-link for any other. Pure; the same random numbers give the same sources.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from random import Random

INNERMOST = 30  # the closest level: the only address of level 31 is a network or broadcast address in a /30
_DRAWS = 64  # random addresses tried if a level has too many to list
_LISTED = 8  # a level is listed if at most this many bits vary in it


def level_of(one: int, other: int) -> int:
    """Return the number of leading bits that two addresses share; 32 for the same address."""
    return 32 - (one ^ other).bit_length()


class Sources:
    """Source addresses, each given once."""

    def __init__(self, address: int, free: Callable[[int], bool], rng: Random) -> None:
        """`address` is the device's; `free` says whether an address is assigned in neither plan nor survey."""
        self.address, self._free, self._rng = address, free, rng
        self.used: dict[int, float] = {}  # source -> when it was last used
        self.spoken_for: set[int] = set()  # not to be used: a host has them, or the device asks for them by itself

    def fresh(self, level: int) -> int | None:
        """Return a free address of this level that was not used yet, or None."""
        for address in self._candidates(level):
            if address not in self.used and address not in self.spoken_for and self._fit(address):
                return address
        return None

    def oldest(self, level: int) -> int | None:
        """Return the address of this level that was used longest ago, or None."""
        used = [
            address
            for address in self.used
            if level_of(address, self.address) == level and address not in self.spoken_for
        ]
        return min(used, key=self.used.__getitem__, default=None)

    def rested(self, level: int) -> int:
        """Return this level or a closer one: the closest with an unused source, else the one used longest ago."""
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
        """Say whether an address is free, valid for a host (RFC 1122 section 3.2.1.3), and neither the network nor the
        broadcast address of any prefix of up to 30 bits."""
        first = address >> 24
        return address & 3 in (1, 2) and 0 < first < 224 and first != 127 and self._free(address)
