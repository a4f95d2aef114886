"""How often a silence is mere luck: nobody pulls a cable, and a lossy link is silent all the same.

The pace, the measures and the rules are the prober's own (`proof`), without the bench around them, so that rare events
can be counted. Phase in lasts as long as the prober lets it; then an operator says, falsely, that the cable is out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random
from statistics import fmean

from netcheck.proof.port.phase_in import ENOUGH_IN, HAND, READY_MISSES, READY_SILENCE
from netcheck.proof.port.state import WINDOW
from netcheck.proof.probing.address_state import EVER, MANY, AddressState, Probe, ProbeKind, Sighting
from netcheck.proof.probing.scheduler import ARP_EVERY, ECHO_EVERY
from netcheck.proof.result import Phase
from netcheck.proof.verdict.luck import (
    LEAST_UNSEEN,
    LUCK_LIMIT,
    BurstsSeen,
    bursts_in,
    luck,
    misses_needed,
)
from netcheck.proof.verdict.observation import LEAST_ARP, LEAST_SILENCE
from netcheck.rig.loss import Bursts

MAC = 0x00005E005314  # a documentation MAC: RFC 7042 section 2.1.2
WAIT = 1.0  # seconds that a probe stays open once the device is known to be quick
AT_LEAST_IN = 5.0  # seconds that five requests by ARP take
Lost = Callable[[float], bool]  # whether a probe sent at this time stays unanswered


@dataclass(frozen=True, slots=True)
class Silence:
    """One silence that began while nobody had pulled anything: whether it lasted as long as was asked for, the figure
    that would be said of it, and the seconds of phase in and of the silence."""

    lucky: bool
    stated: float
    watched: float
    needed: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """So many silences of so many were taken for a pulled cable; `stated` is the mean of the figures said for them all,
    `watched` and `needed` the mean seconds of phase in and of the silence that was asked for."""

    lucky: int
    of: int
    stated: float
    watched: float
    needed: float


def one_by_one(share: float, random: Random) -> Lost:
    """Frames are lost independently, that share of them each way."""
    return lambda now: random.random() < 1 - (1 - share) ** 2


def in_bursts(share: float, length: float, random: Random) -> Lost:
    """The link is bad for that share of the time, for `length` seconds on average."""
    return Bursts(share, length, random).lose


def calibrate(lost: Callable[[], Lost], runs: int, limit: float = LUCK_LIMIT, with_bursts: bool = True) -> Calibration:
    """Try so many links; `with_bursts` says whether the rule that minds bursts is in force."""
    return summed([silence(lost(), limit, with_bursts) for _ in range(runs)])


def summed(found: Sequence[Silence]) -> Calibration:
    """Sum silences up."""
    means = (fmean(values) for values in zip(*((one.stated, one.watched, one.needed) for one in found), strict=True))
    return Calibration(sum(one.lucky for one in found), len(found), *means)


def silence(lost: Lost, limit: float, with_bursts: bool = True) -> Silence:
    """What one link comes to."""
    line = AddressState(0, 0, "")
    line.keep(MANY)
    now, turn = 0.0, 0
    while not _enough(line, now, limit, with_bursts):
        now, turn = _ask(line, now, turn, lost)
    bursts = _bursts(line, now) if with_bursts else None
    least = max(LEAST_UNSEEN if with_bursts else LEAST_SILENCE, 3 * line.longest_gap(now - WINDOW, now, MAC))
    if bursts is not None and bursts.outlasted(0.0, limit) < EVER:
        least = max(least, bursts.outlasted(0.0, limit))
    needed, stated = _needed(line, now, limit, least)
    if bursts is not None:
        stated = max(stated, bursts.luck(needed))
    return Silence(_all_lost(lost, now, needed), stated, now, needed)


def _bursts(line: AddressState, now: float) -> BurstsSeen | None:
    since = max(0.0, now - WINDOW)
    return bursts_in(*line.runs(since, EVER, MAC), now - since)


def _enough(line: AddressState, now: float, limit: float, with_bursts: bool) -> bool:
    """Phase in has lasted long enough, and, where bursts are minded, the last probe was answered."""
    if now < AT_LEAST_IN or not line.answered:
        return now > 10 * ENOUGH_IN
    if with_bursts and MAC not in line.probes[-1].answers:
        return now > 10 * ENOUGH_IN
    bursts = _bursts(line, now) if with_bursts else None
    if now > (ENOUGH_IN if bursts is None else WINDOW):
        return True
    tallies = [line.tally(kind, 0, EVER, MAC) for kind in ProbeKind]
    most = max(misses_needed(t.sent, t.answered, limit, READY_MISSES + 1) for t in tallies if t.answered)
    return most <= READY_MISSES and (bursts is None or bursts.outlasted(HAND, limit) <= READY_SILENCE)


def _ask(line: AddressState, now: float, turn: int, lost: Lost) -> tuple[float, int]:
    """One probe of phase in, and its answer."""
    kind = ProbeKind.ARP if turn % 5 == 0 else ProbeKind.ECHO
    probe = Probe(kind, 0, 0, turn, now, now + WAIT, settled=True)
    line.probes.append(probe)
    if not lost(now):
        line.note(Sighting(now, 0, MAC, str(kind), 0, now), probe)
    return now + ARP_EVERY / 5, turn + 1


def _needed(line: AddressState, now: float, limit: float, least: float) -> tuple[float, float]:
    """Seconds of silence until everything is satisfied, and the figure that is said then."""
    seconds = max(least, (LEAST_ARP[Phase.OUT] - 1) * ARP_EVERY + WAIT)
    tallies = {kind: line.tally(kind, now - WINDOW, EVER, MAC) for kind in ProbeKind}
    for kind, every in ((ProbeKind.ARP, ARP_EVERY), (ProbeKind.ECHO, ECHO_EVERY)):
        if tallies[kind].answered:
            misses = misses_needed(tallies[kind].sent, tallies[kind].answered, limit)
            seconds = max(seconds, (misses - 1) * every + WAIT)
    missed = {
        ProbeKind.ARP: int((seconds - WAIT) / ARP_EVERY) + 1,
        ProbeKind.ECHO: int((seconds - WAIT) / ECHO_EVERY) + 1,
    }
    figures = [luck(t.sent, t.answered, missed[kind]) for kind, t in tallies.items() if t.answered]
    return seconds, max(figures, default=1.0)


def _all_lost(lost: Lost, began: float, seconds: float) -> bool:
    """Whether every probe of a silence stays unanswered."""
    steps = int((seconds - WAIT) / (ARP_EVERY / 5)) + 1
    return all(lost(began + step * ARP_EVERY / 5) for step in range(steps))
