"""How likely a silence is mere luck, and how likely a second owner went unheard (design notes in DEVELOPERS.md).

Probes a fraction of a second apart are not independent trials: the figures order evidence, they are no guarantee.
"""

from __future__ import annotations

LUCK_LIMIT = 1e-4
UNHEARD_LIMIT = 1e-3


def luck(sent: int, answered: int, missed: int) -> float:
    """The chance that a device which answered `answered` of `sent` probes would miss the next `missed` all.

    Beta(1/2, 1/2) prior on the rate of answers (Jeffreys); posterior predictive of `missed` failures in a row:
    the product over i of (n - k + 1/2 + i) / (n + 1 + i).
    """
    chance = 1.0
    for i in range(missed):
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return chance


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
