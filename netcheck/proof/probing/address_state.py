"""What is known of one address on one interface: the probes sent to it, their answers, and every MAC heard for it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from itertools import islice, pairwise
from typing import Final, NamedTuple

from netcheck.proof.result import Tally
from netcheck.proof.verdict.silence_rule import luck

EVER = float("inf")
LONGEST_WAIT = 3.0  # seconds an answer may take before any answer was measured; see AddressState.wait
SHORTEST_WAIT = 1.0
LATE = 10.0  # seconds after which an answer is no longer matched at all
FEW, MANY = 128, 2400  # probes kept of a watched address, and of the one under test: 480 s at the fastest pace
SAID_EVERY = 0.25  # seconds between kept frames of one MAC that answer no open probe
MOST_MACS = (
    256  # MACs kept per address and per probe: far above any site, far below what a flood could fill memory with
)
RECENT = 120  # probes looked at for the question whether an address has fallen silent
SLACK = 0.01  # seconds by which a receive time stamp may lie before the send time stamp
REPLACED = 5.0  # seconds of silence after which another MAC becomes the one that a watched address is asked at


class ProbeKind(StrEnum):
    """What a probe is: an ARP request or an ICMP echo request."""

    ARP = "arp"
    ECHO = "echo"


ARP: Final = ProbeKind.ARP  # a module constant: looking the member up in the class is too slow for the hot path
ECHO: Final = ProbeKind.ECHO


class Stage(IntEnum):
    """What the technician was asked to do when a probe was sent. Every probe is stamped with it."""

    IN = 0  # nothing: the cable is in
    PULLING = 1  # pull the cable; it may be in or out
    OUT = 2  # leave the cable out
    PLUGGING = 3  # plug the cable in again; it may be in or out
    BACK = 4  # nothing: the cable is in again


AWAY: Final = (Stage.OUT, Stage.PLUGGING)  # a miss says nothing about how reliably the device answers


@dataclass(slots=True, eq=False)
class Probe:
    """One probe. `answers` holds, by MAC, the time of the first answer in time; `settled`: no more can come;
    `unsent`: the link did not accept the frame, so the probe counts for nothing."""

    kind: ProbeKind
    address: int
    adapter: int
    sequence: int
    sent: float
    expires: float
    anonymous: bool = False  # ARP with sender 0
    stage: Stage = Stage.IN
    settled: bool = False
    unsent: bool = False
    answers: dict[int, float] = field(default_factory=dict)


class Sighting(NamedTuple):
    """A MAC was heard for an address. `how` is "arp" or "echo" for an answer, "said" for any other ARP frame.

    `asked` is when the probe it answers was sent, None for an unsolicited frame. The address is 0 where the sender of
    an ARP request has none.
    """

    at: float
    address: int
    mac: int
    how: str
    adapter: int
    asked: float | None = None
    late: bool = False

    @property
    def means(self) -> float:
        """The moment that the frame is evidence about: when the probe was sent, or when the frame was heard."""
        return self.at if self.asked is None else self.asked


class AddressState:
    """One address on one interface: how often it is asked, and what came back."""

    def __init__(self, address: int, adapter: int, net: str) -> None:
        """Start without probes."""
        self.address, self.adapter, self.net = address, adapter, net
        self.every: dict[ProbeKind, float | None] = {ARP: None, ECHO: None}
        self.tickets: dict[ProbeKind, int] = {ARP: 0, ECHO: 0}  # the valid element in the scheduler's queues
        self.urgent = False  # under test: asked before others, and always at the MAC it began with
        self.stage = Stage.IN
        self.anonymous_left = 0  # ARP requests that are still to be sent with sender 0
        self.anonymous_sent = 0  # while a silence was listened to
        self.mac: int | None = None  # where echoes go: the first MAC that answered
        self.broadcast_free_at = 0.0  # one broadcast request a second: RFC 1122 section 2.3.2.1
        self.owed = False  # its ARP request was delayed by an echo to the same address
        self.probes: deque[Probe] = deque(maxlen=FEW)
        self.sightings: deque[Sighting] = deque(maxlen=4 * FEW)
        self.answered: deque[float] = deque(maxlen=FEW)  # when the probes that `mac` answered in time were sent
        self.claimed = -EVER  # time of the last ARP probe of another host for this address (RFC 5227 section 2.1.1)
        self.claimed_by = 0
        self.longest_rtt: float | None = None
        self.most_wait = LONGEST_WAIT
        self.asked = 0  # probes sent in all
        self.asked_arp = 0  # of these, ARP requests
        self.missed_echoes = 0  # in a row, by any MAC
        self.echoed = False  # it has answered echo
        self.first_heard: dict[int, float] = {}  # by MAC and ARP, for the whole run: no restart clears it
        self.last_heard: dict[int, float] = {}
        self._said: dict[int, float] = {}  # when an unsolicited frame of a MAC was last kept

    def keep(self, many: int) -> None:
        """Keep this number of probes from now on."""
        self.probes = deque(self.probes, maxlen=many)
        self.sightings = deque(self.sightings, maxlen=4 * many)

    @property
    def wait(self) -> float:
        """Seconds a probe stays open: four times the longest round trip seen, within one and three seconds."""
        if self.longest_rtt is None:
            return self.most_wait
        return min(self.most_wait, max(SHORTEST_WAIT, 4 * self.longest_rtt))

    def follow(self, mac: int) -> None:
        """Send echoes to this MAC from now on, and count its answers as the address's."""
        if mac != self.mac:
            self.mac = mac
            self.answered.clear()

    # What goes out

    def add(self, probe: Probe) -> None:
        """Keep a probe that is about to be sent."""
        self.asked += 1
        self.asked_arp += probe.kind is ARP
        self.probes.append(probe)

    def take_back(self, probe: Probe) -> None:
        """Forget a probe that the link did not accept: it was never a request."""
        probe.unsent = probe.settled = True
        self.asked -= 1
        self.asked_arp -= probe.kind is ARP
        if self.probes and self.probes[-1] is probe:
            self.probes.pop()
        else:
            self.probes = deque((p for p in self.probes if p is not probe), maxlen=self.probes.maxlen)

    # What comes in

    def newest_arp(self, at: float) -> Probe | None:
        """Return the ARP probe that an answer at this time is matched with. ARP replies carry no number; the newest
        request is taken, so that no answer counts for an earlier phase than the one it may belong to."""
        for probe in reversed(self.probes):
            if probe.kind is ARP and probe.sent <= at + SLACK:
                return probe if at <= probe.expires + LATE else None
        return None

    def note(self, sighting: Sighting, probe: Probe | None) -> None:
        """Keep a sighting, unless it only repeats what the same MAC has just said."""
        if sighting.mac not in self.first_heard and sighting.how != "echo" and len(self.first_heard) < MOST_MACS:
            self.first_heard[sighting.mac] = sighting.at
        _renew(self.last_heard, sighting.mac, sighting.at)
        if probe is None or sighting.late:
            self._note_sparsely(sighting)
        elif sighting.mac not in probe.answers and len(probe.answers) < MOST_MACS:
            self.sightings.append(sighting)
            probe.answers[sighting.mac] = sighting.at
            self._learn(sighting, probe)

    def _note_sparsely(self, sighting: Sighting) -> None:
        """Keep one in SAID_EVERY seconds, so that a flood does not push out what was heard before it."""
        if sighting.at - self._said.get(sighting.mac, -EVER) >= SAID_EVERY:
            self.sightings.append(sighting)
            _renew(self._said, sighting.mac, sighting.at)

    def _learn(self, sighting: Sighting, probe: Probe) -> None:
        self.longest_rtt = max(self.longest_rtt or 0.0, sighting.at - probe.sent)
        if sighting.mac != self.mac and self._replaced(sighting):
            self.follow(sighting.mac)
        if sighting.mac == self.mac:
            self.answered.append(probe.sent)
            self.echoed = self.echoed or probe.kind is ECHO
        if probe.kind is ECHO or self.echoed:
            self.missed_echoes = 0

    def _replaced(self, sighting: Sighting) -> bool:
        long_silent = not self.answered or sighting.at - self.answered[-1] > REPLACED
        return self.mac is None or (long_silent and not self.urgent and sighting.how == "arp")

    def settle(self, probe: Probe) -> None:
        """Close a probe: no answer to it can come any more."""
        probe.settled = True
        if probe.kind is ECHO and not probe.answers:
            self.missed_echoes += 1

    # Results

    def resolved(self, kind: ProbeKind, since: float, until: float, mac: int) -> Iterator[Probe]:
        """Yield the probes of a kind sent in [since, until) of which it is known whether this MAC answered, newest
        first, without those with sender 0."""
        for probe in reversed(self.probes):
            if probe.sent < since:
                return
            known = probe.settled or mac in probe.answers
            if known and probe.kind is kind and probe.sent < until and not probe.anonymous:
                yield probe

    def tally(self, kind: ProbeKind, since: float, until: float, mac: int) -> Tally:
        """Count those probes, and how many of them this MAC answered in time."""
        return self.tallies(since, until, mac)[kind is ECHO]

    def tallies(self, since: float, until: float, mac: int, *, cable_in: bool = False) -> tuple[Tally, Tally]:
        """Count both kinds at once: (ARP, echo); `cable_in` leaves out the probes that were sent while it was out."""
        arps = echoes = arps_answered = echoes_answered = 0
        for probe in reversed(self.probes):  # the loop of `resolved` written out: nothing is called more often
            if probe.sent < since:
                break
            answered = mac in probe.answers
            if not (answered or probe.settled) or probe.sent >= until or probe.anonymous:
                continue
            if cable_in and probe.stage in AWAY:
                continue
            if probe.kind is ARP:
                arps += 1
                arps_answered += answered
            else:
                echoes += 1
                echoes_answered += answered
        return Tally(arps, arps_answered), Tally(echoes, echoes_answered)

    def newest_is_answered(self, since: float, mac: int) -> bool:
        """Return whether this MAC answered the newest completed probe since then, of the kinds that it answers."""
        kinds = {probe.kind for probe in self.probes if probe.sent >= since and mac in probe.answers}
        for probe in reversed(self.probes):
            if probe.sent < since:
                return False
            if probe.kind in kinds and not probe.anonymous and (probe.settled or mac in probe.answers):
                return mac in probe.answers
        return False

    def round_trips(self, since: float, until: float, mac: int) -> list[float]:
        """Return the seconds from echo request to answer, oldest first."""
        probes = self.resolved(ECHO, since, until, mac)
        return [probe.answers[mac] - probe.sent for probe in probes if mac in probe.answers][::-1]

    def heard(self, since: float, until: float = EVER) -> list[Sighting]:
        """Return the sightings that are evidence about [since, until), oldest first."""
        found = []
        for sighting in reversed(self.sightings):
            if sighting.at + SLACK < since:
                break
            if since <= sighting.means < until:
                found.append(sighting)
        return found[::-1]

    def macs(self, since: float, until: float = EVER) -> dict[int, Sighting]:
        """Return every MAC heard for the address in that time with its first sighting, in order of time."""
        found: dict[int, Sighting] = {}
        for sighting in self.heard(since, until):
            found.setdefault(sighting.mac, sighting)
        return found

    def answered_between(self, since: float, until: float = EVER) -> bool:
        """Return whether `mac` has answered, in time, a probe sent in this time, both ends included."""
        for sent in reversed(self.answered):
            if sent < since:
                return False
            if sent <= until:
                return True
        return False

    def longest_gap(self, since: float, until: float, mac: int, away: Iterable[Sequence[float]] = ()) -> float:
        """Return the longest time in seconds between two answers of this MAC in that time. Gaps in which a span of
        `away` begins do not count."""
        times = [s.at for s in self.heard(since, until) if s.mac == mac and s.asked is not None]
        pairs = [(earlier, later) for earlier, later in pairwise(times) if not _holds_one(earlier, later, away)]
        return max((later - earlier for earlier, later in pairs), default=0.0)

    def restamp(self, since: float, stage: Stage) -> None:
        """Stamp the probes sent since then with another stage: it began before it was noticed."""
        for probe in reversed(self.probes):
            if probe.sent < since:
                return
            probe.stage = stage

    def fallen(self, mac: int, since: float, limit: float, least: int) -> bool:
        """Return whether this MAC has fallen silent: since its last answer of either kind it has missed at least
        `least` probes, which has a chance below `limit` if it is still connected. This starts a phase; it proves
        nothing."""
        if self._misses_in_a_row(mac) < least:
            return False
        probes = [probe for probe in islice(reversed(self.probes), RECENT) if probe.sent >= since]
        if not any(mac in probe.answers for probe in probes):  # silent for longer: look at all of them
            probes = [probe for probe in reversed(self.probes) if probe.sent >= since]
        known = [p for p in probes if not p.anonymous and (p.settled or mac in p.answers)]
        last = next((index for index, probe in enumerate(known) if mac in probe.answers), len(known))
        missed, chance = 0, 1.0
        for kind in ProbeKind:
            before = [mac in probe.answers for probe in known[last:] if probe.kind is kind and probe.stage not in AWAY]
            if any(before):  # else it never answered this kind
                misses = sum(probe.kind is kind for probe in known[:last])
                missed += misses
                chance *= luck(len(before), sum(before), misses)
        return missed >= least and chance <= limit

    def _misses_in_a_row(self, mac: int) -> int:
        """Count the probes of either kind that this MAC has missed since its last answer."""
        misses = 0
        for probe in reversed(self.probes):
            if mac in probe.answers:
                break
            misses += probe.settled and not probe.anonymous
        return misses


def _holds_one(earlier: float, later: float, away: Iterable[Sequence[float]]) -> bool:
    return any(earlier - SLACK <= span[0] + 1.0 and span[0] < later for span in away)


def _renew(times: dict[int, float], mac: int, at: float) -> None:
    """Make a MAC's time the newest; of too many the oldest is dropped."""
    times.pop(mac, None)
    times[mac] = at
    if len(times) > MOST_MACS:
        del times[next(iter(times))]
