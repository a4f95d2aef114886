"""How likely a silence is mere luck, and how likely a second owner went unheard (design notes in DEVELOPERS.md).

Probes a fraction of a second apart are not independent trials: the figures order evidence, they are no guarantee.
"""

from __future__ import annotations

from collections.abc import Sequence

LUCK_LIMIT = 1e-4
UNHEARD_LIMIT = 1e-3
RARE = 0.05  # runs of misses expected by independent loss, below which a run is taken for a burst
# Seconds of silence where no carrier tells that the cable is out: a link that is bad a fifth of the time, for 2 s on
# average, stays bad that long with a chance of 0.2 * exp(-15 / 2), about 1e-4 (common practice, no source for the 2 s).
LEAST_UNSEEN = 15.0
MARGIN = 1e-3  # seconds, so that a silence of just that length is within the limit
LONGEST_WAIT = 90.0  # seconds that nobody holds a cable longer than


def luck(sent: int, answered: int, missed: int) -> float:
    """The chance that a device which answered `answered` of `sent` probes would miss the next `missed` all.

    Beta(1/2, 1/2) prior on the rate of answers (Jeffreys); posterior predictive of `missed` failures in a row:
    the product over i of (n - k + 1/2 + i) / (n + 1 + i).
    """
    chance = 1.0
    for i in range(missed):
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return chance


def bursty(sent: int, runs: Sequence[tuple[int, float]]) -> bool:
    """Say whether losses come in bursts: whether a run of misses as long as the longest of `runs` would be rare among
    so many probes that are lost one by one. A run is (misses, seconds)."""
    missed = sum(misses for misses, _ in runs)
    share = (missed + 0.5) / (sent + 1)
    longest = max((misses for misses, _ in runs), default=0)
    return longest > 1 and sent * (1 - share) * share**longest < RARE


def outlasts(runs: Sequence[tuple[int, float]], watched: float, limit: float = LUCK_LIMIT) -> float:
    """Seconds of silence that a burst of loss, by those seen in `watched` seconds, has no more than `limit` chance to
    fill (`burst_luck`); LONGEST_WAIT at most."""
    total, count, share = _bursts(runs, watched)
    factor: float = max(1.0, share / limit) ** (1 / (count + 1))
    return min(LONGEST_WAIT, total * (factor - 1) + MARGIN) if total else 0.0


def burst_luck(runs: Sequence[tuple[int, float]], watched: float, silence: float) -> float:
    """The chance that a burst of loss, by those seen in `watched` seconds, fills so many seconds of silence: it would
    have to be on at that moment, and last so long.

    Exponential lengths of unknown mean: after n bursts of s seconds in all, the next lasts longer than x with the
    chance (s / (s + x)) ** (n + 1). Runs of one miss are no bursts."""
    total, count, share = _bursts(runs, watched)
    chance: float = share * (total / (total + max(0.0, silence))) ** (count + 1) if total else 0.0
    return chance


def _bursts(runs: Sequence[tuple[int, float]], watched: float) -> tuple[float, int, float]:
    """Seconds of bursts, how many there were, and their share of the time."""
    lengths = [seconds for misses, seconds in runs if misses > 1]
    total = sum(lengths)
    return total, len(lengths), min(1.0, total / watched) if watched > 0 else 1.0


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
