"""What is known of one address on one way: its probes, their answers, and who was heard for it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise, takewhile

from netcheck.proof.luck import luck
from netcheck.proof.result import Tally

LONGEST_WAIT = 3.0  # seconds an answer may take before anything is known of the device; then it adapts, see Line.wait
SHORTEST_WAIT = 1.0
LATE = 10.0  # seconds after which an answer is no longer matched at all
KEPT = 1200  # probes kept a line: more than 60 s at the fastest pace


class Kind(StrEnum):
    """What a probe is: an ARP request or an ICMP echo request."""

    ARP = "arp"
    ECHO = "echo"


@dataclass(slots=True, eq=False)
class Probe:
    """One probe. `answers` holds, by MAC, the time of the first answer in time; `late` the same for late ones."""

    kind: Kind
    address: int
    way: int
    sequence: int
    sent: float
    expires: float
    broadcast: bool
    anonymous: bool = False  # ARP with sender 0
    settled: bool = False
    answers: dict[int, float] = field(default_factory=dict)
    late: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Hearing:
    """A MAC was heard for an address. `how` is arp or echo for an answer, "said" for any other ARP frame.

    `asked` is when the probe it answers was sent, None for frames nobody asked for; `source` the Ethernet source.
    """

    at: float
    address: int
    mac: int
    how: str
    way: int
    asked: float | None = None
    late: bool = False
    source: int = 0

    @property
    def means(self) -> float:
        """The moment it says something about: when the probe it answers was sent, else when it was heard."""
        return self.at if self.asked is None else self.asked


class Line:
    """One address on one way: what is asked, how often, and what came back."""

    def __init__(self, address: int, way: int, net: str) -> None:
        """Start with nothing asked."""
        self.address, self.way, self.net = address, way, net
        self.arp_every: float | None = None
        self.echo_every: float | None = None
        self.urgent = False
        self.mac: int | None = None  # where echoes go: the first MAC that answered
        self.free_at = 0.0  # the pace to one address
        self.queued: set[Kind] = set()
        self.probes: deque[Probe] = deque(maxlen=KEPT)
        self.hearings: deque[Hearing] = deque(maxlen=4 * KEPT)
        self.longest_rtt: float | None = None
        self.most_wait = LONGEST_WAIT
        self.last_answer: float | None = None
        self.asked = 0  # probes sent in all

    @property
    def wait(self) -> float:
        """Seconds a probe stays open: four times the longest answer seen, within one and three seconds."""
        if self.longest_rtt is None:
            return self.most_wait
        return min(self.most_wait, max(SHORTEST_WAIT, 4 * self.longest_rtt))

    def resolved(self, kind: Kind, since: float, until: float, mac: int) -> Iterator[Probe]:
        """Probes of a kind sent in [since, until) of which it is known whether this MAC answered, newest first;
        those with sender 0 are left out."""
        for probe in reversed(self.probes):
            if probe.sent < since:
                return
            known = probe.settled or mac in probe.answers
            if known and probe.kind is kind and probe.sent < until and not probe.anonymous:
                yield probe

    def tally(self, kind: Kind, since: float, until: float, mac: int) -> Tally:
        """How many of those probes there are, and how many this MAC answered in time."""
        probes = list(self.resolved(kind, since, until, mac))
        return Tally(len(probes), sum(mac in probe.answers for probe in probes))

    def misses(self, kind: Kind, mac: int) -> list[Probe]:
        """The newest probes of a kind that this MAC left unanswered in a row, newest first."""
        newest = self.resolved(kind, float("-inf"), float("inf"), mac)
        return list(takewhile(lambda probe: mac not in probe.answers, newest))

    def round_trips(self, since: float, until: float, mac: int) -> list[float]:
        """Seconds from echo request to answer, oldest first."""
        probes = self.resolved(Kind.ECHO, since, until, mac)
        return [probe.answers[mac] - probe.sent for probe in probes if mac in probe.answers][::-1]

    def heard(self, since: float, until: float) -> Iterator[Hearing]:
        """Hearings that say something about [since, until)."""
        return (hearing for hearing in self.hearings if since <= hearing.means < until)

    def macs(self, since: float, until: float) -> dict[int, Hearing]:
        """Every MAC heard for the address in that time, with its first hearing, in the order of hearing."""
        found: dict[int, Hearing] = {}
        for hearing in self.heard(since, until):
            found.setdefault(hearing.mac, hearing)
        return found

    def longest_gap(self, since: float, until: float, mac: int) -> float:
        """The longest time between two answers of this MAC in that time."""
        times = sorted(h.at for h in self.heard(since, until) if h.mac == mac and h.asked is not None)
        return max((later - earlier for earlier, later in pairwise(times)), default=0.0)

    def fallen(self, mac: int, since: float, limit: float, least: int) -> bool:
        """Say whether this MAC has fallen silent: so many misses in a row, in every kind that it answered since
        then, that luck would explain them with a chance below `limit`. A hint that starts a phase, not the evidence."""
        chance, in_a_row, answering = 1.0, 0, False
        for kind in Kind:
            missed = len(self.misses(kind, mac))
            before = list(self.resolved(kind, since, float("inf"), mac))[missed:]
            answered = sum(mac in probe.answers for probe in before)
            if answered and not missed:
                return False
            if answered:
                answering, in_a_row = True, in_a_row + missed
                chance *= luck(len(before), answered, missed)
        return answering and in_a_row >= least and chance <= limit
