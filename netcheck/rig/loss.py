"""Loss that comes in bursts: a link is good or bad for a while, and while it is bad nothing passes.

The two-state chain of Gilbert's model in continuous time: both states last exponentially long, so that probes a
fraction of a second apart are lost together, as they are on a worn cable or behind a switch that learns anew.
"""

from __future__ import annotations

from math import exp
from random import Random


class Bursts:
    """`share` of the time the link is bad, `length` seconds at a time on average. Asked at moments that never go
    back; the state between two moments follows exactly from the chain, so nothing happens while nobody asks."""

    def __init__(self, share: float, length: float, random: Random) -> None:
        """Begin in either state, as often as it lasts."""
        self.share, self.length = share, length
        self._random = random
        self._settles = length * (1.0 - share)  # seconds in which the chain forgets its state
        self._bad = random.random() < share
        self._at = 0.0

    def lose(self, now: float) -> bool:
        """Say whether a frame is lost now."""
        if now > self._at:
            kept = exp((self._at - now) / self._settles)
            chance = self.share + (self._bad - self.share) * kept
            self._bad = self._random.random() < chance
            self._at = now
        return self._bad
