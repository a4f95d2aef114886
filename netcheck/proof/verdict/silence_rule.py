"""The silence rule: how long a silence must last, how many requests must go unanswered in it, and what remains.

Pure functions of numbers. The phases, the countdown on the screen and the calibration of the rig all use them.

A silence is evidence that the cable is out because something else says so as well: the carrier, the operator, or the
moment of a request that the device cannot know. The weaker this confirmation, the longer the silence must last. The
seconds below are measured from the last answered probe.

`luck`, `unheard` and `at_most` are the chances that a silence is luck, that a second owner was not heard, and that so
few replies come after the return. Probes a fraction of a second apart are not independent trials: the figures order
evidence, they are no guarantee.
"""

from __future__ import annotations

from enum import Enum
from functools import lru_cache

from netcheck.proof.result import PhaseResult, Tally

ARP_EVERY = 1.01  # a little over the second that RFC 1122 section 2.3.2.1 recommends between requests to one address
ECHO_EVERY = 0.25
LEAST_ARP_OUT = 5  # broadcast requests in phase out, all its silences together, so that a second owner is heard
GAPS = 4  # a silence lasts at least as many times the longest time between two answers with the cable in
ON_TIME = 8.0  # seconds after a request in which a silence answers it: a hand that waits at the cable needs 1 to 5
WEAK = 60.0  # seconds after a request from which on a silence that nobody confirmed says little about the cable


class Confirmed(Enum):
    """What confirms that the cable is out, and the seconds that the silence must last then: if no answer was lost
    before, and if some were.

    CARRIER: a renegotiation, an adapter reset and a restart of the transceiver end within a few seconds (common
    practice, no source); 10 s exclude them. OPERATOR: the operator confirms the pull, or the silence answers the
    request in time, and the operator confirms the return. REQUEST: one of several silences that each answer a request
    in time, all but the first asked for after a random delay. FIRST: on a walk, a silence that nobody asked for and
    that is no evidence itself; one on request follows. NOTHING: a silence that nobody asked for or confirms. A link
    that is bad a fifth of the time, for 2 s on average, stays bad for 15 s with a chance of 0.2 * exp(-15 / 2), about
    1e-4."""

    CARRIER = (10.0, 10.0)
    OPERATOR = (7.5, 15.0)
    REQUEST = (5.0, 8.0)
    FIRST = (5.0, 8.0, 0.0)  # a value of its own: equal values would be aliases
    NOTHING = (15.0, 15.0)


def lossy(before: PhaseResult) -> bool:
    """Return whether answers of a kind that the device answers were lost in phase in."""
    return any(0 < tally.answered < tally.sent for tally in (before.arp, before.echo))


def seconds_needed(by: Confirmed, before: PhaseResult, gap: float, out_for: float = 0.0) -> float:
    """Return the seconds that a silence must last. `before` is phase in, `gap` the longest time between two answers in
    it, `out_for` what the operator asked for."""
    least: float = by.value[lossy(before)]
    return max(least, GAPS * gap if by is not Confirmed.CARRIER else 0.0, out_for)


def chance(before: Tally, missed: int, looked: int) -> float:
    """Return the chance that a run of `missed` misses is luck, where one was looked for among `looked` probes."""
    return min(1.0, luck(before.sent, before.answered, missed) * max(1, looked))


def kinds_that_count(by: Confirmed, before: PhaseResult) -> tuple[bool, bool]:
    """Return whether the chance by ARP, and that by echo, must reach the limit of luck.

    A silence is luck only if every request in it was lost, ARP and echo alike: the chance of that is at most the
    smaller of both. The larger one is demanded all the same, because losses come together, so that echoes a quarter of
    a second apart say less than their number. It is not demanded of ARP where the operator confirms the pull and the
    return, and not one answer was lost in phase in: such a link shows no losses that could come together, 7.5 s hold 30
    echoes, and eight ARP requests, one a second, would only prolong the silence. Five of them must go unanswered all
    the same, so that a second owner is heard; one answer of either kind ends the silence."""
    arp, echo = bool(before.arp.answered), bool(before.echo.answered)
    return (arp and not (by is Confirmed.OPERATOR and echo and not lossy(before)), echo)


def figures(before: PhaseResult, missed: tuple[int, int], looked: tuple[int, int]) -> tuple[float, float]:
    """Return the chances by ARP and by echo that the misses are luck; 1 for a kind that the device did not answer."""
    pairs = zip((before.arp, before.echo), missed, looked, strict=True)
    arp, echo = (chance(seen, misses, tried) if seen.answered else 1.0 for seen, misses, tried in pairs)
    return arp, echo


def figure(by: Confirmed, before: PhaseResult, missed: tuple[int, int], looked: tuple[int, int]) -> float:
    """Return the larger of the chances that count; 1 if the device answered neither kind."""
    pairs = zip(kinds_that_count(by, before), figures(before, missed, looked), strict=True)
    return max((chance for counts, chance in pairs if counts), default=1.0)


def enough_missed(
    by: Confirmed, before: PhaseResult, missed: tuple[int, int], looked: tuple[int, int], limit: float
) -> bool:
    """Return whether the misses of each kind that counts are too many for chance."""
    answered = before.arp.answered or before.echo.answered
    return not answered or figure(by, before, missed, looked) <= limit


def seconds_of_misses(by: Confirmed, before: PhaseResult, looked: tuple[int, int], limit: float) -> float:
    """Return the seconds that the fewest misses take: a quick bound below which nothing need be counted."""
    both = kinds_that_count(by, before)
    kinds = zip(both, (before.arp, before.echo), looked, (ARP_EVERY, ECHO_EVERY), strict=True)
    needed = (
        (misses_needed(seen.sent, seen.answered, limit / max(1, tried)) - 1) * every
        for counts, seen, tried, every in kinds
        if counts
    )
    return max(needed, default=0.0)


def seconds_left(
    by: Confirmed,
    before: PhaseResult,
    missed: tuple[int, int],
    looked: tuple[int, int],
    limit: float,
    *,
    growing: bool,
    most: int = 300,
) -> float:
    """Return the seconds until the misses are too many for chance, if the silence goes on; `growing` says that a run of
    misses is looked for in each further probe as well."""
    left = 0.0
    both = kinds_that_count(by, before)
    kinds = zip(both, (before.arp, before.echo), missed, looked, (ARP_EVERY, ECHO_EVERY), strict=True)
    for counts, seen, misses, tried, every in kinds:
        if counts:
            chances = (chance(seen, misses + more, tried + more * growing) for more in range(most))
            left = max(left, next((n for n, figure in enumerate(chances) if figure <= limit), most) * every)
    return left


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
