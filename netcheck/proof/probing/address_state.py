"""What is known of one address on one way: its probes, their answers, and who was heard for it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import islice, pairwise
from typing import Final, NamedTuple

from netcheck.proof.result import Tally
from netcheck.proof.verdict.luck import luck

EVER = float("inf")
LONGEST_WAIT = 3.0  # seconds an answer may take before any answer was measured; see AddressState.wait
SHORTEST_WAIT = 1.0
LATE = 10.0  # seconds after which an answer is no longer matched at all
FEW, MANY = 128, 2400  # probes kept of a watched line, and of the one under test: 480 s at the fastest pace
SAID_EVERY = 0.25  # seconds between frames of one MAC that count though nobody asked, or that come late
MOST_MACS = 256  # told apart per line and probe: far above any bench, far below what a flood could fill memory with
RECENT = 120  # probes looked at for the question whether an address has fallen silent
SLACK = 0.01  # seconds that a stamp of receiving may lie before the one of sending
REPLACED = 5.0  # seconds of silence after which another MAC becomes the one that a watched address is asked at


class ProbeKind(StrEnum):
    """What a probe is: an ARP request or an ICMP echo request."""

    ARP = "arp"
    ECHO = "echo"


ARP: Final = ProbeKind.ARP  # named once, since to ask the class for them costs more than a call in the hot path
ECHO: Final = ProbeKind.ECHO


@dataclass(slots=True, eq=False)
class Probe:
    """One probe. `answers` holds, by MAC, the time of the first answer in time; `settled`: no more can come."""

    kind: ProbeKind
    address: int
    way: int
    sequence: int
    sent: float
    expires: float
    anonymous: bool = False  # ARP with sender 0
    settled: bool = False
    answers: dict[int, float] = field(default_factory=dict)


class Sighting(NamedTuple):
    """A MAC was heard for an address. `how` is arp or echo for an answer, "said" for any other ARP frame.

    `asked` is when the probe it answers was sent, None for frames nobody asked for. The address is 0 where somebody
    asks without having one.
    """

    at: float
    address: int
    mac: int
    how: str
    way: int
    asked: float | None = None
    late: bool = False

    @property
    def means(self) -> float:
        """The moment it says something about: when the probe it answers was sent, else when it was heard."""
        return self.at if self.asked is None else self.asked


class AddressState:
    """One address on one way: what is asked, how often, and what came back."""

    def __init__(self, address: int, way: int, net: str) -> None:
        """Start with nothing asked."""
        self.address, self.way, self.net = address, way, net
        self.every: dict[ProbeKind, float | None] = {ARP: None, ECHO: None}
        self.tickets: dict[ProbeKind, int] = {ARP: 0, ECHO: 0}  # the valid entry in the asker's queues
        self.urgent = False  # under test: before others, and asked at the MAC it began with
        self.mac: int | None = None  # where echoes go: the first MAC that answered
        self.broadcast_free_at = 0.0  # one broadcast request a second: RFC 1122 section 2.3.2.1
        self.owed = False  # an ARP request of it found its turn taken by an echo
        self.probes: deque[Probe] = deque(maxlen=FEW)
        self.hearings: deque[Sighting] = deque(maxlen=4 * FEW)
        self.answered: deque[float] = deque(maxlen=FEW)  # when the probes that `mac` answered in time were sent
        self.claimed = -EVER  # when somebody last asked whether this address is free (RFC 5227 section 2.1.1)
        self.longest_rtt: float | None = None
        self.most_wait = LONGEST_WAIT
        self.asked = 0  # probes sent in all
        self.missed_echoes = 0  # in a row, by anybody
        self.echoed = False  # it has answered echo
        self.last_heard: dict[int, float] = {}  # by MAC
        self._said: dict[int, float] = {}  # when such a frame of a MAC was last kept

    def keep(self, many: int) -> None:
        """Keep so many probes from now on."""
        self.probes = deque(self.probes, maxlen=many)
        self.hearings = deque(self.hearings, maxlen=4 * many)

    @property
    def wait(self) -> float:
        """Seconds a probe stays open: four times the longest answer seen, within one and three seconds."""
        if self.longest_rtt is None:
            return self.most_wait
        return min(self.most_wait, max(SHORTEST_WAIT, 4 * self.longest_rtt))

    def follow(self, mac: int) -> None:
        """Ask this MAC from now on, and take its answers for the address's."""
        if mac != self.mac:
            self.mac = mac
            self.answered.clear()

    # What comes in

    def newest_arp(self, at: float) -> Probe | None:
        """The ARP probe that an answer at this time is put down to. ARP answers carry no number; the newest question is
        taken, so that no answer counts for an earlier phase than the one it may belong to."""
        for probe in reversed(self.probes):
            if probe.kind is ARP and probe.sent <= at + SLACK:
                return probe if at <= probe.expires + LATE else None
        return None

    def note(self, hearing: Sighting, probe: Probe | None) -> None:
        """Keep a hearing, unless it only repeats what the same MAC has just said."""
        _renew(self.last_heard, hearing.mac, hearing.at)
        if probe is None or hearing.late:
            self._note_sparsely(hearing)
        elif hearing.mac not in probe.answers and len(probe.answers) < MOST_MACS:
            self.hearings.append(hearing)
            probe.answers[hearing.mac] = hearing.at
            self._learn(hearing, probe)

    def _note_sparsely(self, hearing: Sighting) -> None:
        """So that no flood drives out what was heard before it."""
        if hearing.at - self._said.get(hearing.mac, -EVER) >= SAID_EVERY:
            self.hearings.append(hearing)
            _renew(self._said, hearing.mac, hearing.at)

    def _learn(self, hearing: Sighting, probe: Probe) -> None:
        self.longest_rtt = max(self.longest_rtt or 0.0, hearing.at - probe.sent)
        if hearing.mac != self.mac and self._replaced(hearing):
            self.follow(hearing.mac)
        if hearing.mac == self.mac:
            self.answered.append(probe.sent)
            self.echoed = self.echoed or probe.kind is ECHO
        if probe.kind is ECHO or self.echoed:
            self.missed_echoes = 0

    def _replaced(self, hearing: Sighting) -> bool:
        long_silent = not self.answered or hearing.at - self.answered[-1] > REPLACED
        return self.mac is None or (long_silent and not self.urgent and hearing.how == "arp")

    def settle(self, probe: Probe) -> None:
        """Take it that no answer to this probe comes any more."""
        probe.settled = True
        if probe.kind is ECHO and not probe.answers:
            self.missed_echoes += 1

    # What it comes to

    def resolved(self, kind: ProbeKind, since: float, until: float, mac: int) -> Iterator[Probe]:
        """Probes of a kind sent in [since, until) of which it is known whether this MAC answered, newest first;
        those with sender 0 are left out."""
        for probe in reversed(self.probes):
            if probe.sent < since:
                return
            known = probe.settled or mac in probe.answers
            if known and probe.kind is kind and probe.sent < until and not probe.anonymous:
                yield probe

    def tally(self, kind: ProbeKind, since: float, until: float, mac: int) -> Tally:
        """How many of those probes there are, and how many this MAC answered in time."""
        return self.tallies(since, until, mac)[kind is ECHO]

    def tallies(self, since: float, until: float, mac: int) -> tuple[Tally, Tally]:
        """The same of both kinds: by ARP, by echo."""
        arps = echoes = arps_answered = echoes_answered = 0
        for probe in reversed(self.probes):  # as `resolved`, spelt out: nothing else is called as often
            if probe.sent < since:
                break
            answered = mac in probe.answers
            if not (answered or probe.settled) or probe.sent >= until or probe.anonymous:
                continue
            if probe.kind is ARP:
                arps += 1
                arps_answered += answered
            else:
                echoes += 1
                echoes_answered += answered
        return Tally(arps, arps_answered), Tally(echoes, echoes_answered)

    def runs(self, since: float, until: float, mac: int) -> tuple[int, list[tuple[int, float]]]:
        """Probes of the kinds that this MAC answers, and its runs of misses between answers, as (misses, seconds)."""
        probes = [p for p in self.probes if since <= p.sent < until and not p.anonymous]
        kinds = {probe.kind for probe in probes if mac in probe.answers}
        runs: list[tuple[int, float]] = []
        sent = misses = 0
        last = since
        for probe in probes:
            if mac in probe.answers:
                if misses:
                    runs.append((misses, probe.sent - last))
                last, misses = probe.sent, 0
                sent += 1
            elif probe.settled and probe.kind in kinds:
                misses += 1
                sent += 1
        return sent, runs

    def round_trips(self, since: float, until: float, mac: int) -> list[float]:
        """Seconds from echo request to answer, oldest first."""
        probes = self.resolved(ECHO, since, until, mac)
        return [probe.answers[mac] - probe.sent for probe in probes if mac in probe.answers][::-1]

    def heard(self, since: float, until: float = EVER) -> list[Sighting]:
        """Hearings that say something about [since, until), oldest first."""
        found = []
        for hearing in reversed(self.hearings):
            if hearing.at + SLACK < since:
                break
            if since <= hearing.means < until:
                found.append(hearing)
        return found[::-1]

    def macs(self, since: float, until: float = EVER) -> dict[int, Sighting]:
        """Every MAC heard for the address in that time, with its first hearing, in the order of hearing."""
        found: dict[int, Sighting] = {}
        for hearing in self.heard(since, until):
            found.setdefault(hearing.mac, hearing)
        return found

    def answered_between(self, since: float, until: float = EVER) -> bool:
        """Say whether `mac` has answered, in time, a probe sent in this time, both ends included."""
        for sent in reversed(self.answered):
            if sent < since:
                return False
            if sent <= until:
                return True
        return False

    def longest_gap(self, since: float, until: float, mac: int) -> float:
        """The longest time between two answers of this MAC in that time."""
        times = [h.at for h in self.heard(since, until) if h.mac == mac and h.asked is not None]
        return max((later - earlier for earlier, later in pairwise(times)), default=0.0)

    def fallen(self, mac: int, since: float, limit: float, least: int) -> bool:
        """Say whether this MAC has fallen silent: since its last answer of either kind it has missed so many probes
        that luck would explain them with a chance below `limit`. A hint that starts a phase, not the evidence."""
        if self._misses_in_a_row(mac) < least:
            return False
        probes = [probe for probe in islice(reversed(self.probes), RECENT) if probe.sent >= since]
        if not any(mac in probe.answers for probe in probes):  # silent for longer: look at all of them
            probes = [probe for probe in reversed(self.probes) if probe.sent >= since]
        known = [p for p in probes if not p.anonymous and (p.settled or mac in p.answers)]
        last = next((index for index, probe in enumerate(known) if mac in probe.answers), len(known))
        missed, chance = 0, 1.0
        for kind in ProbeKind:
            before = [mac in probe.answers for probe in known[last:] if probe.kind is kind]
            if any(before):  # else it never answered this kind
                misses = sum(probe.kind is kind for probe in known[:last])
                missed += misses
                chance *= luck(len(before), sum(before), misses)
        return missed >= least and chance <= limit

    def _misses_in_a_row(self, mac: int) -> int:
        """How many probes of either kind this MAC has missed since its last answer."""
        misses = 0
        for probe in reversed(self.probes):
            if mac in probe.answers:
                break
            misses += probe.settled
        return misses


def _renew(times: dict[int, float], mac: int, at: float) -> None:
    """Put a MAC's time down as the newest; of too many the oldest is dropped."""
    times.pop(mac, None)
    times[mac] = at
    if len(times) > MOST_MACS:
        del times[next(iter(times))]
