"""How likely a silence is mere luck, and how likely a second owner went unheard (design notes in DEVELOPERS.md).

Probes a fraction of a second apart are not independent trials: the figures order evidence, they are no guarantee.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, inf

LUCK_LIMIT = 1e-4
UNHEARD_LIMIT = 1e-3
RARE = 0.05  # runs of misses expected by independent loss, below which a run is taken for a burst
# Seconds of silence where no carrier tells that the cable is out: a link that is bad a fifth of the time, for 2 s on
# average, stays bad that long with a chance of 0.2 * exp(-15 / 2), about 1e-4 (common practice, no source for the 2 s).
LEAST_UNSEEN = 15.0
LONGEST_WAIT = 90.0  # seconds that nobody holds a cable longer than
LONGEST_MEAN = 16.0  # seconds: a link that is gone for longer at a time is not one to prove ports on (our own bound)
Run = tuple[int, float]  # misses in a row, and the seconds between the answers around them


@lru_cache(maxsize=4096)
def luck(sent: int, answered: int, missed: int) -> float:
    """The chance that a device which answered `answered` of `sent` probes would miss the next `missed` all.

    Beta(1/2, 1/2) prior on the rate of answers (Jeffreys); posterior predictive of `missed` failures in a row:
    the product over i of (n - k + 1/2 + i) / (n + 1 + i).
    """
    chance = 1.0
    for i in range(missed):
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return chance


def bursty(sent: int, runs: Sequence[Run]) -> bool:
    """Say whether losses come in bursts: whether a run of misses as long as the longest of `runs` would be rare among
    so many probes that are lost one by one."""
    missed = sum(misses for misses, _ in runs)
    share = (missed + 0.5) / (sent + 1)
    longest = max((misses for misses, _ in runs), default=0)
    return longest > 1 and sent * (1 - share) * share**longest < RARE


@dataclass(frozen=True, slots=True)
class BurstsSeen:
    """So many bursts of loss, `total` seconds in all, were seen in `watched` seconds of answers."""

    count: int
    total: float
    watched: float

    def luck(self, silence: float, sought: float = 0.0) -> float:
        """The chance that a burst fills so many seconds of silence: one would have to be on at that moment, or begin in
        the `sought` seconds in which a silence was looked for, and last so long.

        Exponential lengths, whose mean may be of any order up to LONGEST_MEAN, each as likely: after n bursts of s
        seconds in all, the next lasts longer than x with the chance (s / (s + x)) ** n, lowered by that bound."""
        outlasting = self.total + max(0.0, silence)
        within = _poisson(self.count, outlasting / LONGEST_MEAN) / _poisson(self.count, self.total / LONGEST_MEAN)
        chance: float = self._on(sought) * (self.total / outlasting) ** self.count * within
        return chance

    def outlasted(self, sought: float = 0.0, limit: float = LUCK_LIMIT) -> float:
        """Seconds of silence, in tenths, that bring `luck` down to the limit; infinite where no hand holds a cable long
        enough (LONGEST_WAIT)."""
        tenths = range(int(10 * LONGEST_WAIT) + 1)
        needed = bisect_left(tenths, -limit, key=lambda tenth: -self.luck(tenth / 10, sought))
        return needed / 10 if needed < len(tenths) else inf

    def _on(self, sought: float) -> float:
        seconds = self.total + self.count * sought
        return min(1.0, seconds / self.watched) if self.watched > 0 else 1.0


def bursts_in(sent: int, runs: Sequence[Run], watched: float) -> BurstsSeen | None:
    """The bursts among runs of misses in so many probes, None where losses come one by one. A single miss is none."""
    lengths = [seconds for misses, seconds in runs if misses > 1]
    return BurstsSeen(len(lengths), sum(lengths), watched) if bursty(sent, runs) else None


def _poisson(count: int, mean: float) -> float:
    """The chance of fewer than so many where so many are to be expected (the upper incomplete gamma function)."""
    term = total = 1.0
    for k in range(1, count):
        term *= mean / k
        total += term
    return exp(-mean) * total


def misses_needed(sent: int, answered: int, limit: float = LUCK_LIMIT, most: int = 1000) -> int:
    """How many misses in a row bring `luck` to the limit or below; `most` where that many do not."""
    chance = 1.0
    for i in range(most):
        if chance <= limit:
            return i
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return most


def unheard(broadcasts: int) -> float:
    """The chance to have missed, in all of so many broadcast requests, an owner that answers half of them."""
    return 0.5**broadcasts
