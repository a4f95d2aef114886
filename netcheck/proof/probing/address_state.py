"""The state of one address on one interface: the probes sent to it, their answers, and every MAC heard for it."""

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
LONGEST_WAIT = 3.0  # seconds that a probe stays open before a round trip was measured; see AddressState.wait
SHORTEST_WAIT = 1.0
LATE = 10.0  # seconds after a probe was closed in which an answer is still matched with it, as late
FEW, MANY = 128, 2400  # probes kept of a watched address, and of the one under test: 480 s at the fastest pace
SAID_EVERY = 0.25  # seconds between kept frames of one MAC that answer no open probe
MOST_MACS = 256  # MACs kept for each address and each probe: more than any site has, and a flood cannot fill the memory
RECENT = 120  # newest probes that `fallen` examines first
SLACK = 0.01  # seconds by which a receive time stamp may be earlier than the send time stamp
REPLACED = 5.0  # seconds of silence after which echo requests to a watched address go to another MAC that answers


class ProbeKind(StrEnum):
    """What a probe is: an ARP request or an ICMP echo request."""

    ARP = "arp"
    ECHO = "echo"


ARP: Final = ProbeKind.ARP  # a module constant, because the lookup in the class is too slow for the hot path
ECHO: Final = ProbeKind.ECHO


class Stage(IntEnum):
    """What the technician is asked to do while a probe is sent. Every probe is stamped with it."""

    IN = 0  # nothing: the cable is in
    PULLING = 1  # pull the cable; it may be in or out
    OUT = 2  # leave the cable out
    PLUGGING = 3  # plug the cable in again; it may be in or out
    BACK = 4  # nothing: the cable is in again


AWAY: Final = (Stage.OUT, Stage.PLUGGING)  # misses in these stages do not count for how reliably the device answers


@dataclass(slots=True, eq=False)
class Probe:
    """One probe. `answers` maps each MAC that answered in time to the time of its first answer.

    `settled`: the wait for answers is over. `unsent`: the link did not accept the frame, so the probe does not count.
    Times are seconds on the link's clock.
    """

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
    """One frame in which a MAC was heard for an address.

    `how` is "arp" or "echo" for an answer, and "said" for any other ARP frame. `asked` is the send time of the probe
    that the frame answers, None for an unsolicited frame. `address` is 0 for an ARP request without a sender address.
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
        """The time that the frame is evidence about: the send time of its probe, else the time it was heard."""
        return self.at if self.asked is None else self.asked


class AddressState:
    """One address on one interface: the rates of its probes, the probes, and the answers."""

    def __init__(self, address: int, adapter: int, net: str) -> None:
        """Start without probes."""
        self.address, self.adapter, self.net = address, adapter, net
        self.every: dict[ProbeKind, float | None] = {ARP: None, ECHO: None}  # seconds between probes, None for none
        self.tickets: dict[ProbeKind, int] = {ARP: 0, ECHO: 0}  # the valid element in the scheduler's queues
        self.urgent = False  # under test: its probes go before others, and its echo requests stay with one MAC
        self.stage = Stage.IN
        self.anonymous_left = 0  # ARP requests with sender 0 that remain to be sent
        self.anonymous_sent = 0  # ARP requests with sender 0 sent during silences
        self.mac: int | None = None  # the MAC that echo requests go to: the first that answered
        self.broadcast_free_at = 0.0  # one broadcast request a second: RFC 1122 section 2.3.2.1
        self.owed = False  # an echo request to the same address delayed its ARP request
        self.probes: deque[Probe] = deque(maxlen=FEW)
        self.sightings: deque[Sighting] = deque(maxlen=4 * FEW)
        self.answered: deque[float] = deque(maxlen=FEW)  # send times of the probes that `mac` answered in time
        self.claimed = -EVER  # time of the last ARP probe of another host for this address (RFC 5227 section 2.1.1)
        self.claimed_by = 0
        self.longest_rtt: float | None = None
        self.most_wait = LONGEST_WAIT
        self.asked = 0  # probes sent in all
        self.asked_arp = 0  # of these, ARP requests
        self.missed_echoes = 0  # echo requests in a row that no MAC answered
        self.echoed = False  # it has answered an echo request
        self.first_heard: dict[int, float] = {}  # MAC -> time of its first ARP frame in the run; never cleared
        self.last_heard: dict[int, float] = {}  # MAC -> time of its newest frame
        self._said: dict[int, float] = {}  # MAC -> time of its newest unsolicited frame that was kept

    def keep(self, many: int) -> None:
        """Keep the newest *many* probes from now on."""
        self.probes = deque(self.probes, maxlen=many)
        self.sightings = deque(self.sightings, maxlen=4 * many)

    @property
    def wait(self) -> float:
        """Seconds that a probe stays open: four times the longest round trip so far, between one and three seconds."""
        if self.longest_rtt is None:
            return self.most_wait
        return min(self.most_wait, max(SHORTEST_WAIT, 4 * self.longest_rtt))

    def follow(self, mac: int) -> None:
        """Send echo requests to this MAC from now on, and count its answers as those of the address."""
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
        """Remove a probe that the link did not accept: it does not count as a request."""
        probe.unsent = probe.settled = True
        self.asked -= 1
        self.asked_arp -= probe.kind is ARP
        if self.probes and self.probes[-1] is probe:
            self.probes.pop()
        else:
            self.probes = deque((p for p in self.probes if p is not probe), maxlen=self.probes.maxlen)

    # What comes in

    def newest_arp(self, at: float) -> Probe | None:
        """Return the ARP probe that an answer received at *at* is matched with, or None.

        ARP replies carry no number. The newest request is chosen, so an answer never counts for an earlier phase than
        the one it belongs to.
        """
        for probe in reversed(self.probes):
            if probe.kind is ARP and probe.sent <= at + SLACK:
                return probe if at <= probe.expires + LATE else None
        return None

    def note(self, sighting: Sighting, probe: Probe | None) -> None:
        """Keep a sighting, unless it repeats an answer of the same MAC to the same probe."""
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
        """Keep one sighting of a MAC in SAID_EVERY seconds, so that a flood does not push out earlier sightings."""
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
        """Close a probe: answers that come after this are late."""
        probe.settled = True
        if probe.kind is ECHO and not probe.answers:
            self.missed_echoes += 1

    # Results

    def resolved(self, kind: ProbeKind, since: float, until: float, mac: int) -> Iterator[Probe]:
        """Yield the probes of a kind sent in [since, until) that are closed or that this MAC answered, newest first.

        Probes with sender 0 are left out.
        """
        for probe in reversed(self.probes):
            if probe.sent < since:
                return
            known = probe.settled or mac in probe.answers
            if known and probe.kind is kind and probe.sent < until and not probe.anonymous:
                yield probe

    def tally(self, kind: ProbeKind, since: float, until: float, mac: int) -> Tally:
        """Count the probes that `resolved` yields, and those that this MAC answered in time."""
        return self.tallies(since, until, mac)[kind is ECHO]

    def tallies(self, since: float, until: float, mac: int, *, cable_in: bool = False) -> tuple[Tally, Tally]:
        """Return the tallies of both kinds: (ARP, echo); `cable_in` leaves out the probes sent with the cable out."""
        arps = echoes = arps_answered = echoes_answered = 0
        for probe in reversed(self.probes):  # the loop of `resolved` again, for speed: no method is called more often
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
        """Return whether this MAC answered the newest completed probe since *since*, of the kinds that it answers."""
        kinds = {probe.kind for probe in self.probes if probe.sent >= since and mac in probe.answers}
        for probe in reversed(self.probes):
            if probe.sent < since:
                return False
            if probe.kind in kinds and not probe.anonymous and (probe.settled or mac in probe.answers):
                return mac in probe.answers
        return False

    def round_trips(self, since: float, until: float, mac: int) -> list[float]:
        """Return the seconds from echo request to reply, oldest first."""
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
        """Return each MAC heard for the address in [since, until) with its first sighting, in order of time."""
        found: dict[int, Sighting] = {}
        for sighting in self.heard(since, until):
            found.setdefault(sighting.mac, sighting)
        return found

    def answered_between(self, since: float, until: float = EVER) -> bool:
        """Return whether `mac` answered in time a probe sent in [since, until]."""
        for sent in reversed(self.answered):
            if sent < since:
                return False
            if sent <= until:
                return True
        return False

    def longest_gap(self, since: float, until: float, mac: int, away: Iterable[Sequence[float]] = ()) -> float:
        """Return the longest time in seconds between two answers of this MAC in [since, until).

        Gaps in which a span of `away` begins do not count.
        """
        times = [s.at for s in self.heard(since, until) if s.mac == mac and s.asked is not None]
        pairs = [(earlier, later) for earlier, later in pairwise(times) if not _contains_pull(earlier, later, away)]
        return max((later - earlier for earlier, later in pairs), default=0.0)

    def restamp(self, since: float, stage: Stage) -> None:
        """Stamp the probes sent since *since* with another stage, which began before it was noticed."""
        for probe in reversed(self.probes):
            if probe.sent < since:
                return
            probe.stage = stage

    def fallen(self, mac: int, since: float, limit: float, least: int) -> bool:
        """Return whether this MAC has fallen silent. This begins a phase; it proves nothing.

        Since its last answer it missed at least `least` probes of either kind. The chance of that is at most `limit` if
        it is still connected.
        """
        if self._misses_in_a_row(mac) < least:
            return False
        probes = [probe for probe in islice(reversed(self.probes), RECENT) if probe.sent >= since]
        if not any(mac in probe.answers for probe in probes):  # the silence is longer: examine all probes
            probes = [probe for probe in reversed(self.probes) if probe.sent >= since]
        known = [p for p in probes if not p.anonymous and (p.settled or mac in p.answers)]
        last = next((index for index, probe in enumerate(known) if mac in probe.answers), len(known))
        missed, chance = 0, 1.0
        for kind in ProbeKind:
            before = [mac in probe.answers for probe in known[last:] if probe.kind is kind and probe.stage not in AWAY]
            if any(before):  # else it does not answer this kind
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


def _contains_pull(earlier: float, later: float, away: Iterable[Sequence[float]]) -> bool:
    return any(earlier - SLACK <= span[0] + 1.0 and span[0] < later for span in away)


def _renew(times: dict[int, float], mac: int, at: float) -> None:
    """Set the time of a MAC and make it the newest; drop the oldest if there are too many."""
    times.pop(mac, None)
    times[mac] = at
    if len(times) > MOST_MACS:
        del times[next(iter(times))]
