"""How often a silence is mere luck: nobody pulls a cable, and a lossy link is silent all the same.

The pace, the measures and the rules are the prober's own (`proof`), without the bench around them, so that rare events
can be counted. Phase in lasts as long as the prober lets it; then an operator says, falsely, that the cable is out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from netcheck.proof.asking import ARP_EVERY, ECHO_EVERY
from netcheck.proof.lines import EVER, MANY, Hearing, Kind, Line, Probe
from netcheck.proof.luck import LEAST_UNSEEN, LUCK_LIMIT, burst_luck, bursty, luck, misses_needed, outlasts
from netcheck.proof.observed import LEAST_ARP, LEAST_SILENCE
from netcheck.proof.phases import ENOUGH_IN, READY_MISSES
from netcheck.proof.result import Phase
from netcheck.rig.loss import Bursts

MAC = 0x00005E005314  # a documentation MAC: RFC 7042 section 2.1.2
WAIT = 1.0  # seconds that a probe stays open once the device is known to be quick
AT_LEAST_IN = 5.0  # seconds that five requests by ARP take
Lost = Callable[[float], bool]  # whether a probe sent at this time stays unanswered


@dataclass(frozen=True, slots=True)
class Calibration:
    """So many silences of so many were taken for a pulled cable; `stated` is the mean of the figures said for them all,
    `needed` the mean of the seconds of silence that were asked for."""

    lucky: int
    of: int
    stated: float
    needed: float


def one_by_one(share: float, random: Random) -> Lost:
    """Frames are lost independently, that share of them each way."""
    return lambda now: random.random() < 1 - (1 - share) ** 2


def in_bursts(share: float, length: float, random: Random) -> Lost:
    """The link is bad for that share of the time, for `length` seconds on average."""
    return Bursts(share, length, random).lose


def calibrate(lost: Callable[[], Lost], runs: int, limit: float = LUCK_LIMIT, with_bursts: bool = True) -> Calibration:
    """Try so many links; `with_bursts` says whether the rule that minds bursts is in force."""
    found = [_silence(lost(), limit, with_bursts) for _ in range(runs)]
    lucky = sum(silent for silent, _, _ in found)
    return Calibration(
        lucky, runs, sum(stated for _, stated, _ in found) / runs, sum(needed for _, _, needed in found) / runs
    )


def _silence(lost: Lost, limit: float, with_bursts: bool) -> tuple[bool, float, float]:
    """Whether one link was lucky, the figure that would be said of it, and the seconds of silence it needed."""
    line = Line(0, 0, "")
    line.keep(MANY)
    now, turn = 0.0, 0
    while not _enough(line, now, limit, with_bursts):
        now, turn = _ask(line, now, turn, lost)
    sent, runs = line.runs(0, EVER, MAC)
    least = max(LEAST_UNSEEN if with_bursts else LEAST_SILENCE, 3 * line.longest_gap(0, now, MAC))
    if with_bursts and bursty(sent, runs):
        least = max(least, outlasts(runs, now, limit))
    needed, stated = _needed(line, limit, least)
    if with_bursts and bursty(sent, runs):
        stated = max(stated, min(limit, burst_luck(runs, now, needed)))
    return _all_lost(lost, now, needed), stated, needed


def _enough(line: Line, now: float, limit: float, with_bursts: bool) -> bool:
    """Phase in has lasted long enough."""
    if now < AT_LEAST_IN or not line.answered:
        return now > 10 * ENOUGH_IN
    if now > ENOUGH_IN:
        return True
    tallies = [line.tally(kind, 0, EVER, MAC) for kind in Kind]
    most = max(misses_needed(t.sent, t.answered, limit, READY_MISSES + 1) for t in tallies if t.answered)
    return most <= READY_MISSES and not (with_bursts and bursty(*line.runs(0, EVER, MAC)))


def _ask(line: Line, now: float, turn: int, lost: Lost) -> tuple[float, int]:
    """One probe of phase in, and its answer."""
    kind = Kind.ARP if turn % 5 == 0 else Kind.ECHO
    probe = Probe(kind, 0, 0, turn, now, now + WAIT, settled=True)
    line.probes.append(probe)
    if not lost(now):
        line.note(Hearing(now, 0, MAC, str(kind), 0, now), probe)
    return now + ARP_EVERY / 5, turn + 1


def _needed(line: Line, limit: float, least: float) -> tuple[float, float]:
    """Seconds of silence until everything is satisfied, and the figure that is said then."""
    seconds = max(least, (LEAST_ARP[Phase.OUT] - 1) * ARP_EVERY + WAIT)
    tallies = {kind: line.tally(kind, 0, EVER, MAC) for kind in Kind}
    for kind, every in ((Kind.ARP, ARP_EVERY), (Kind.ECHO, ECHO_EVERY)):
        if tallies[kind].answered:
            misses = misses_needed(tallies[kind].sent, tallies[kind].answered, limit)
            seconds = max(seconds, (misses - 1) * every + WAIT)
    missed = {Kind.ARP: int((seconds - WAIT) / ARP_EVERY) + 1, Kind.ECHO: int((seconds - WAIT) / ECHO_EVERY) + 1}
    figures = [luck(t.sent, t.answered, missed[kind]) for kind, t in tallies.items() if t.answered]
    return seconds, max(figures, default=1.0)


def _all_lost(lost: Lost, began: float, seconds: float) -> bool:
    """Whether every probe of a silence stays unanswered."""
    steps = int((seconds - WAIT) / (ARP_EVERY / 5)) + 1
    return all(lost(began + step * ARP_EVERY / 5) for step in range(steps))
