"""Loss in bursts: a link is good or bad for a while, and while it is bad no frame passes.

This is the two-state chain of Gilbert's model in continuous time. Both states have exponentially distributed lengths,
so that probes a fraction of a second apart are lost together, as on a worn cable.
"""

from __future__ import annotations

from math import exp
from random import Random


class Bursts:
    """A link that is bad for `share` of the time, for `length` seconds on average.

    It is sampled at times that never decrease. The state at each follows exactly from the chain, so that nothing need
    be simulated in between."""

    def __init__(self, share: float, length: float, random: Random) -> None:
        """Begin in either state, with the probability of that state."""
        self.share, self.length = share, length
        self._random = random
        self._settles = length * (1.0 - share)  # seconds in which the chain forgets its state
        self._bad = random.random() < share
        self._at = 0.0

    def lose(self, now: float) -> bool:
        """Return whether a frame is lost now."""
        if now > self._at:
            kept = exp((self._at - now) / self._settles)
            chance = self.share + (self._bad - self.share) * kept
            self._bad = self._random.random() < chance
            self._at = now
        return self._bad
