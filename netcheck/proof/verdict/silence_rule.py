"""The silence rule: how long a silence must last, how many requests must go unanswered, and the chance of an error.

Pure functions of numbers. The phases, the countdown on the screen and the calibration of the rig use them.

A silence alone is not evidence that the cable is out. Something else must confirm it: the carrier, the operator, or a
request at a moment that the device cannot know. The weaker this confirmation, the longer the silence must last. All
seconds below count from the last answered probe.

`luck` is the chance that a silence is luck, `unheard` the chance that a second owner was not heard, and `at_most` the
chance that so few replies come after the return. Probes a fraction of a second apart are not independent trials. The
figures rank evidence; they are no guarantee.
"""

from __future__ import annotations

from enum import Enum
from functools import lru_cache

from netcheck.proof.result import PhaseResult, Tally

ARP_EVERY = 1.01  # a little over the second that RFC 1122 section 2.3.2.1 recommends between requests to one address
ECHO_EVERY = 0.25
LEAST_ARP_OUT = 5  # broadcast requests in phase out, in all its silences together, so that a second owner is heard
GAPS = 4  # a silence lasts at least this many times the longest time between two answers with the cable in
ON_TIME = 8.0  # a silence answers a request if it begins within these seconds: a hand at the cable needs 1 to 5
WEAK = 60.0  # a silence that begins more seconds after the request and that nobody confirmed is weak evidence


class Confirmed(Enum):
    """What confirms that the cable is out. The value is the seconds that the silence must last: if phase in lost no
    answer, and if it lost some.

    - CARRIER: the link is down. A renegotiation, an adapter reset and a restart of the transceiver end within a few
      seconds (common practice, no source); 10 s exclude them.
    - OPERATOR: the operator confirms the pull, or the silence answers the request in time, and the operator confirms
      the return.
    - REQUEST: one of several silences that each answer a request in time. Every request but the first comes after a
      random delay.
    - FIRST: on a walk, a silence that nobody asked for. It is no evidence; a silence on request follows.
    - NOTHING: nobody asked for the silence or confirms it. A link that is bad a fifth of the time, for 2 s on average,
      stays bad for 15 s with a chance of 0.2 * exp(-15 / 2), about 1e-4.
    """

    CARRIER = (10.0, 10.0)
    OPERATOR = (7.5, 15.0)
    REQUEST = (5.0, 8.0)
    FIRST = (5.0, 8.0, 0.0)  # a value of its own: equal values would be aliases
    NOTHING = (15.0, 15.0)


def lossy(before: PhaseResult) -> bool:
    """Return whether the device left some probes of phase in unanswered, of a kind that it answers."""
    return any(0 < tally.answered < tally.sent for tally in (before.arp, before.echo))


def seconds_needed(by: Confirmed, before: PhaseResult, gap: float, out_for: float = 0.0) -> float:
    """Return the seconds that a silence must last.

    `before` is the result of phase in, `gap` the longest seconds between two answers in it, and `out_for` the least
    seconds that the operator asked for.
    """
    least: float = by.value[lossy(before)]
    return max(least, GAPS * gap if by is not Confirmed.CARRIER else 0.0, out_for)


def chance(before: Tally, missed: int, searched: int) -> float:
    """Return the chance that `missed` misses in a row are luck, if they were searched for among `searched` probes."""
    return min(1.0, luck(before.sent, before.answered, missed) * max(1, searched))


def kinds_that_count(by: Confirmed, before: PhaseResult) -> tuple[bool, bool]:
    """Return whether the chance by ARP must reach the limit, and whether the chance by echo must.

    A silence is luck only if every request in it was lost, both ARP and echo. The chance of that is at most the smaller
    of the two. Still both must reach the limit: losses come in bursts, so echo requests a quarter of a second apart are
    weaker evidence than their number suggests.

    The chance by ARP need not reach the limit if the operator confirms the pull and the return, and no answer was lost
    in phase in. Such a link shows no bursts of loss, and 7.5 s contain 30 echo requests; eight ARP requests, one a
    second, would only prolong the silence. Five ARP requests must still go unanswered, so that a second owner is heard.
    One answer of either kind ends the silence.
    """
    arp, echo = bool(before.arp.answered), bool(before.echo.answered)
    return (arp and not (by is Confirmed.OPERATOR and echo and not lossy(before)), echo)


def figures(before: PhaseResult, missed: tuple[int, int], searched: tuple[int, int]) -> tuple[float, float]:
    """Return the chances by ARP and by echo that the misses are luck; 1 for a kind that the device does not answer."""
    pairs = zip((before.arp, before.echo), missed, searched, strict=True)
    arp, echo = (chance(seen, misses, tried) if seen.answered else 1.0 for seen, misses, tried in pairs)
    return arp, echo


def figure(by: Confirmed, before: PhaseResult, missed: tuple[int, int], searched: tuple[int, int]) -> float:
    """Return the larger of the chances that count; 1 if the device answers neither kind."""
    pairs = zip(kinds_that_count(by, before), figures(before, missed, searched), strict=True)
    return max((chance for counts, chance in pairs if counts), default=1.0)


def enough_missed(
    by: Confirmed, before: PhaseResult, missed: tuple[int, int], searched: tuple[int, int], limit: float
) -> bool:
    """Return whether the chance of the misses is within the limit; True if the device answers neither kind."""
    answered = before.arp.answered or before.echo.answered
    return not answered or figure(by, before, missed, searched) <= limit


def seconds_of_misses(by: Confirmed, before: PhaseResult, searched: tuple[int, int], limit: float) -> float:
    """Return the seconds that the needed misses take at least. Before that time, counting them is useless."""
    both = kinds_that_count(by, before)
    kinds = zip(both, (before.arp, before.echo), searched, (ARP_EVERY, ECHO_EVERY), strict=True)
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
    searched: tuple[int, int],
    limit: float,
    *,
    growing: bool,
    most: int = 300,
) -> float:
    """Return the seconds until the chance of the misses reaches the limit, if the silence goes on.

    `growing`: each further probe also adds to the probes among which misses in a row are searched for. At most `most`
    further probes of a kind are considered.
    """
    left = 0.0
    both = kinds_that_count(by, before)
    kinds = zip(both, (before.arp, before.echo), missed, searched, (ARP_EVERY, ECHO_EVERY), strict=True)
    for counts, seen, misses, tried, every in kinds:
        if counts:
            chances = (chance(seen, misses + more, tried + more * growing) for more in range(most))
            left = max(left, next((n for n, figure in enumerate(chances) if figure <= limit), most) * every)
    return left


LUCK_LIMIT = 1e-4
UNHEARD_LIMIT = 1e-3
TOO_FEW = 1e-3  # if the replies after the return have a smaller chance, the device does not answer as in phase in


@lru_cache(maxsize=4096)
def luck(sent: int, answered: int, missed: int) -> float:
    """Return the chance that a device that answered `answered` of `sent` probes misses all of the next `missed`.

    The prior on the rate of answers is Beta(1/2, 1/2) (Jeffreys). The posterior predictive chance of `missed` failures
    in a row is the product over i of (n - k + 1/2 + i) / (n + 1 + i).
    """
    chance = 1.0
    for i in range(missed):
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return chance


@lru_cache(maxsize=4096)
def at_most(sent: int, answered: int, later_sent: int, later_answered: int) -> float:
    """Return the chance that a device that answered `answered` of `sent` probes later answers at most `later_answered`.

    `later_sent` is the number of later probes. The distribution is the posterior predictive one (beta-binomial) with
    the prior of `luck`.
    """
    hits, misses = answered + 0.5, sent - answered + 0.5
    chance = luck(sent, answered, later_sent)
    total = chance
    for k in range(later_answered):  # from P(k) to P(k + 1)
        chance *= (later_sent - k) * (hits + k) / ((k + 1) * (misses + later_sent - k - 1))
        total += chance
    return min(1.0, total)


def misses_needed(sent: int, answered: int, limit: float = LUCK_LIMIT, most: int = 1000) -> int:
    """Return how many misses in a row bring `luck` to the limit or below; `most` if `most` misses do not."""
    chance = 1.0
    for i in range(most):
        if chance <= limit:
            return i
        chance *= (sent - answered + 0.5 + i) / (sent + 1 + i)
    return most


def unheard(broadcasts: int) -> float:
    """Return the chance that an owner that answers half of all requests answers none of these broadcast requests."""
    return 0.5**broadcasts
