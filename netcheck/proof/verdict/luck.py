"""Chances: that a silence is luck, that a second owner was not heard, that replies after the return are too few.

Probes a fraction of a second apart are not independent trials: the figures order evidence, they are no guarantee.
"""

from __future__ import annotations

from functools import lru_cache

LUCK_LIMIT = 1e-4
UNHEARD_LIMIT = 1e-3
TOO_FEW = 1e-3  # replies after the return that are less likely than this are not those of the same sound link


@lru_cache(maxsize=4096)
def luck(sent: int, answered: int, missed: int) -> float:
    """Return the chance that a device which answered `answered` of `sent` probes would miss the next `missed` all.

    Beta(1/2, 1/2) prior on the rate of answers (Jeffreys); posterior predictive of `missed` failures in a row:
    the product over i of (n - k + 1/2 + i) / (n + 1 + i).
    """
    chance = 1.0
    for i in range(missed):
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return chance


@lru_cache(maxsize=4096)
def at_most(sent: int, answered: int, later_sent: int, later_answered: int) -> float:
    """Return the chance that a device which answered `answered` of `sent` probes answers at most `later_answered` of
    the next `later_sent`: the posterior predictive (beta-binomial) distribution with the same prior as `luck`."""
    hits, misses = answered + 0.5, sent - answered + 0.5
    chance = luck(sent, answered, later_sent)
    total = chance
    for k in range(later_answered):  # from P(k) to P(k + 1)
        chance *= (later_sent - k) * (hits + k) / ((k + 1) * (misses + later_sent - k - 1))
        total += chance
    return min(1.0, total)


def misses_needed(sent: int, answered: int, limit: float = LUCK_LIMIT, most: int = 1000) -> int:
    """Return how many misses in a row bring `luck` to the limit or below; `most` where that many do not."""
    chance = 1.0
    for i in range(most):
        if chance <= limit:
            return i
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return most


def unheard(broadcasts: int) -> float:
    """Return the chance that an owner which answers half of the requests answers none of this number of broadcasts."""
    return 0.5**broadcasts
