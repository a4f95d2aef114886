"""Measures how often a lossy link is silent for as long as the silence rule demands, although nobody pulls a cable.

The pace, the counts and the silence rule are the prober's own. There is no bench, so that enough links can be tried to
count rare events. Phase in lasts as long as in the prober; then the operator says falsely that the cable is out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random
from statistics import fmean

from netcheck.proof.port.answers import WINDOW
from netcheck.proof.port.phase_in import BURST, ENOUGH_IN, READY_MISSES
from netcheck.proof.probing.address_state import EVER, MANY, AddressState, Probe, ProbeKind, Sighting
from netcheck.proof.result import PhaseResult
from netcheck.proof.verdict.silence_rule import (
    ARP_EVERY,
    ECHO_EVERY,
    LEAST_ARP_OUT,
    LUCK_LIMIT,
    Confirmed,
    figure,
    misses_needed,
    seconds_needed,
    seconds_of_misses,
)
from netcheck.rig.network import Bursts

MAC = 0x00005E005314  # a documentation MAC: RFC 7042 section 2.1.2
WAIT = 1.0  # seconds that a probe stays open once the device is known to answer fast
AT_LEAST_IN = 5.0  # seconds that five ARP requests take
Lost = Callable[[float], bool]  # returns whether a probe sent at this time stays unanswered


@dataclass(frozen=True, slots=True)
class SilenceTried:
    """One link.

    `lucky`: it was silent for `needed` seconds. `stated` is the chance that a proof would state, and `watched` the
    seconds of phase in.
    """

    lucky: bool
    stated: float
    watched: float
    needed: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """The result of many links: `lucky` of them would pass for a pulled cable, of `of` in all.

    `stated`, `watched` and `needed` are the means of the stated chances, of the seconds of phase in, and of the seconds
    of silence.
    """

    lucky: int
    of: int
    stated: float
    watched: float
    needed: float


def one_by_one(share: float, random: Random) -> Lost:
    """Return a link that loses this share of the frames each way, independently."""
    return lambda now: random.random() < 1 - (1 - share) ** 2


def in_bursts(share: float, length: float, random: Random) -> Lost:
    """Return a link that is bad for this share of the time, for `length` seconds on average."""
    return Bursts(share, length, random).lose


def calibrate(
    lost: Callable[[], Lost], runs: int, limit: float = LUCK_LIMIT, by: Confirmed = Confirmed.NOTHING
) -> Calibration:
    """Try this many links; `by` is the confirmation that the cable is out."""
    return summed([silence(lost(), limit, by) for _ in range(runs)])


def summed(found: Sequence[SilenceTried]) -> Calibration:
    """Return the count and the means of these links."""
    means = (fmean(values) for values in zip(*((one.stated, one.watched, one.needed) for one in found), strict=True))
    return Calibration(sum(one.lucky for one in found), len(found), *means)


def silence(lost: Lost, limit: float, by: Confirmed = Confirmed.NOTHING) -> SilenceTried:
    """Run one link: phase in like the prober, then the time of a silence with the cable in."""
    entry = AddressState(0, 0, "")
    entry.keep(MANY)
    now, turn = 0.0, 0
    while not _enough(entry, now, limit):
        now, turn = _ask(entry, now, turn, lost)
    before = PhaseResult(*entry.tallies(now - WINDOW, EVER, MAC))
    least = seconds_needed(by, before, entry.longest_gap(now - WINDOW, now, MAC))
    needed, stated = _needed(by, before, limit, least)
    return SilenceTried(_all_lost(lost, now, needed), stated, now, needed)


def _enough(entry: AddressState, now: float, limit: float) -> bool:
    """Return whether phase in has lasted long enough, and the last probe was answered."""
    if now < AT_LEAST_IN or not entry.answered or MAC not in entry.probes[-1].answers:
        return now > 10 * ENOUGH_IN
    bursts = entry.longest_gap(now - WINDOW, now, MAC) > BURST
    if now > (min(2 * ENOUGH_IN, WINDOW) if bursts else ENOUGH_IN):
        return True
    tallies = [entry.tally(kind, 0, EVER, MAC) for kind in ProbeKind]
    most = max(misses_needed(t.sent, t.answered, limit, READY_MISSES + 1) for t in tallies if t.answered)
    return most <= READY_MISSES and not bursts


def _ask(line: AddressState, now: float, turn: int, lost: Lost) -> tuple[float, int]:
    """Send one probe of phase in and record its answer; return the time and the number of the next probe."""
    kind = ProbeKind.ARP if turn % 5 == 0 else ProbeKind.ECHO
    probe = Probe(kind, 0, 0, turn, now, now + WAIT, settled=True)
    line.probes.append(probe)
    if not lost(now):
        line.note(Sighting(now, 0, MAC, str(kind), 0, now), probe)
    return now + ARP_EVERY / 5, turn + 1


def _needed(by: Confirmed, before: PhaseResult, limit: float, least: float) -> tuple[float, float]:
    """Return the seconds of silence that the silence rule needs, and the chance that a proof states then."""
    misses = seconds_of_misses(by, before, (1, 1), limit) + WAIT
    seconds = max(least, (LEAST_ARP_OUT - 1) * ARP_EVERY + WAIT, misses)
    arp, echo = (int((seconds - WAIT) / every) + 1 for every in (ARP_EVERY, ECHO_EVERY))
    return seconds, figure(by, before, (arp, echo), (1, 1))


def _all_lost(lost: Lost, began: float, seconds: float) -> bool:
    """Return whether every probe of a silence stays unanswered."""
    steps = int((seconds - WAIT) / (ARP_EVERY / 5)) + 1
    return all(lost(began + step * ARP_EVERY / 5) for step in range(steps))
