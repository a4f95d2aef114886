"""The asker: turns wishes ("ask this address every second") into paced frames.

No I/O and no clock: the time comes in, frames to send come out. Good manners are kept here and nowhere else: at most
`total` frames a second, 20 of them broadcast, `each` to one address, one broadcast ARP a second to one address
(RFC 1122 section 2.3.2.1); the ARP sender is the station's own or borrowed address, never a planned one.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count
from random import Random
from typing import NamedTuple

from netcheck.proof.probing.address_state import ARP, ECHO, EVER, AddressState, Probe, ProbeKind, Sighting
from netcheck.proof.probing.reply_matcher import ReplyMatcher
from netcheck.wire.frames import BROADCAST, ECHO_REQUEST, Echo, arp_request, echo_to_wire
from netcheck.wire.link import Heard, Way

ARP_EVERY = 1.01  # a little over the second that RFC 1122 section 2.3.2.1 recommends between requests to one address
ECHO_EVERY = 0.25
WATCH_EVERY = 1.01
MARGIN = 1.01  # pace gaps are stretched by this, so that jitter does not break the pace


class Send(NamedTuple):
    """A frame to send on a way; `probe` is the probe it carries, told back with the time of sending."""

    frame: bytes
    way: int = 0
    probe: Probe | None = None


@dataclass(frozen=True, slots=True)
class Pace:
    """Frames a second: in all, broadcast, and to one address."""

    total: float = 500.0
    broadcast: float = 20.0
    each: float = 5.0


class ProbeScheduler:
    """All lines of a run, their queues and their open probes. Entries of the queues carry a ticket; one that is no
    longer its line's is passed over."""

    def __init__(self, ways: Sequence[Way], hears_all: bool, pace: Pace, rng: Random) -> None:
        """`hears_all` says whether the link hears ARP; without it, echoes are broadcast to find a MAC."""
        self.ways, self.hears_all, self.pace = ways, hears_all, pace
        self.ear = ReplyMatcher(ways, rng)
        self.senders, self.lines = self.ear.senders, self.ear.lines
        self.carrier = dict.fromkeys(range(len(ways)), True)  # nothing is asked on a way without
        self.paused = False  # while it is not sure that the address to ask from is free
        self._sequence = count(1)
        self._tickets = count(1)
        self._due: list[tuple[float, bool, int, AddressState, ProbeKind]] = []
        self._blocked: list[tuple[int, float, int, AddressState]] = []  # ARP requests that wait for the broadcast pace
        self._expiring: list[tuple[float, int, AddressState, Probe]] = []
        self._direct: list[Send] = []  # those that wait for nothing
        self._free_at = self._broadcast_free_at = 0.0
        self._each_free_at: dict[int, float] = {}  # by address, all ways together
        self._gap, self._gap_each = MARGIN / pace.total, MARGIN / pace.each
        self._packet_id = count(rng.randrange(0x10000))

    # What is wished for

    def line(self, address: int, net: str, way: int = 0) -> AddressState:
        """The line of an address, made when it is not there yet."""
        return self.lines.setdefault((way, address), AddressState(address, way, net))

    def want(
        self,
        line: AddressState,
        now: float,
        *,
        arp: float | None = None,
        echo: float | None = None,
        urgent: bool = False,
    ) -> None:
        """Ask an address every so many seconds by ARP, by echo, both or neither; `urgent` goes before others."""
        hurried = urgent and not line.urgent
        line.urgent = urgent
        for kind, every in ((ARP, arp), (ECHO, echo)):
            line.every[kind] = every
            if every is None:
                line.tickets[kind] = 0
            elif hurried or not line.tickets[kind]:
                self._queue(now, line, kind)

    def rest(self) -> None:
        """Ask nothing of anybody."""
        for line in self.lines.values():
            self.want(line, 0.0)

    def _queue(self, at: float, line: AddressState, kind: ProbeKind) -> None:
        line.tickets[kind] = ticket = next(self._tickets)
        heapq.heappush(self._due, (at, not line.urgent, ticket, line, kind))

    def ask_anonymously(self, now: float, line: AddressState) -> None:
        """Send one ARP probe with sender 0 at the next turn: only for a station address that is to be borrowed, and for
        the last round to an address that stayed silent."""
        self._direct.append(self._probe(now, line, ARP, 0))

    def allows(self, now: float, address: int) -> bool:
        """Say whether the pace lets a frame go to an address now, also as a broadcast."""
        return max(self._free_at, self._broadcast_free_at, self._each_free_at.get(address, 0.0)) <= now

    def also(self, now: float, frame: bytes, address: int) -> None:
        """Send a frame that is no probe of a line, counted like one to this address."""
        if frame[:6] == BROADCAST.to_bytes(6, "big"):
            self._broadcast_free_at = now + MARGIN / self.pace.broadcast
        self._count(now, address)
        self._direct.append(Send(frame))

    # What goes out

    def due(self, now: float) -> list[Send]:
        """Frames to send now. Each must be told back by `sent`."""
        sends, self._direct = self._direct, []
        if self.ear.replies:
            sends += self._replies(now)
        if self.paused:
            return sends
        while self._due and self._due[0][0] <= now:
            _, _, ticket, line, kind = heapq.heappop(self._due)
            if line.tickets[kind] == ticket:
                self._consider(now, line, kind, sends)
        while self._blocked and self._broadcast_free_at <= now and self._free_at <= now:
            _, _, ticket, line = heapq.heappop(self._blocked)
            if line.tickets[ARP] == ticket:
                self._unblock(now, line, sends)
        return sends

    @property
    def wake(self) -> float:
        """When `due` has something to do next; `settle` has nothing that could not wait for the next look."""
        if self._direct or self.ear.replies:
            return 0.0
        if self.paused:
            return EVER
        at = self._due[0][0] if self._due else EVER
        if self._blocked:
            at = min(at, max(self._broadcast_free_at, self._free_at))
        return at

    def _replies(self, now: float) -> list[Send]:
        """Answers for the borrowed address; one goes in the place of the asker's next probe."""
        replies, self.ear.replies = self.ear.replies, []
        for _, address in replies:
            self._count(now, address, address in self._each_free_at)
        return [Send(frame) for frame, _ in replies]

    def _consider(self, now: float, line: AddressState, kind: ProbeKind, sends: list[Send]) -> None:
        every, sender = line.every[kind], self.senders.get((line.way, line.net))
        assert every is not None  # else it had no ticket
        if sender is None or (kind is ARP and not self.hears_all):
            line.tickets[kind] = 0
        elif not self.carrier[line.way] or (kind is ECHO and line.mac is None and self.hears_all):
            self._queue(now + every, line, kind)
        elif (free_at := self._line_free_at(line, kind)) > now:
            self._queue(free_at, line, kind)
        elif kind is ECHO and line.owed:  # else echoes would take every turn of a pace slower than theirs
            line.owed = False
            self._queue(now + MARGIN / self.pace.each, line, kind)
        elif kind is ECHO:
            sends.append(self._ask(now, line, kind, every, sender))
        else:
            rank = 0 if line.urgent else 1 if line.mac is not None else 2
            heapq.heappush(self._blocked, (rank, now, line.tickets[kind], line))

    def _line_free_at(self, line: AddressState, kind: ProbeKind) -> float:
        """When the pace lets this line be asked; ARP requests then still wait for the broadcast pace in their queue."""
        free_at = self._each_free_at.get(line.address, 0.0)
        if (kind is ARP or line.mac is None) and free_at < line.broadcast_free_at:
            free_at = line.broadcast_free_at
        return free_at if kind is ARP or free_at > self._free_at else self._free_at

    def _unblock(self, now: float, line: AddressState, sends: list[Send]) -> None:
        free_at, every = self._each_free_at.get(line.address, 0.0), line.every[ARP]
        assert every is not None
        line.owed = free_at > now
        if line.owed or not self.carrier[line.way]:
            self._queue(max(free_at, now + MARGIN / self.pace.broadcast), line, ARP)
        else:
            sends.append(self._ask(now, line, ARP, every, self.senders[line.way, line.net]))

    def _ask(self, now: float, line: AddressState, kind: ProbeKind, every: float, sender: int) -> Send:
        self._queue(now + every, line, kind)
        return self._probe(now, line, kind, sender)

    def _probe(self, now: float, line: AddressState, kind: ProbeKind, sender: int) -> Send:
        sequence = next(self._sequence) & 0xFFFF
        probe = Probe(kind, line.address, line.way, sequence, now, now + line.wait, sender == 0)
        mac = self.ways[line.way].mac
        if kind is ARP:
            frame = arp_request(mac, sender, line.address)
        else:
            to = BROADCAST if line.mac is None else line.mac
            echo = Echo(to, mac, sender, line.address, 64, ECHO_REQUEST, self.ear.identifier, sequence, self.ear.token)
            frame = echo_to_wire(echo, next(self._packet_id) & 0xFFFF)
            self.ear.expect(probe)
        if kind is ARP or line.mac is None:
            self._broadcast_free_at = now + MARGIN / self.pace.broadcast
            line.broadcast_free_at = now + ARP_EVERY
        self._count(now, line.address)
        line.asked += 1
        line.probes.append(probe)
        heapq.heappush(self._expiring, (probe.expires, next(self._tickets), line, probe))
        return Send(frame, line.way, probe)

    def _count(self, now: float, address: int, known: bool = True) -> None:
        """Count a frame against the pace, and against that of its address where it is one of ours to ask."""
        self._free_at = (self._free_at if self._free_at > now else now) + self._gap
        if known:
            free_at = self._each_free_at.get(address, 0.0)
            self._each_free_at[address] = (free_at if free_at > now else now) + self._gap_each

    def sent(self, send: Send, at: float) -> None:
        """Take the time at which the link really sent a frame."""
        probe = send.probe
        if probe is None or at <= probe.sent:
            return
        probe.expires += at - probe.sent
        probe.sent = at
        each = at + MARGIN / self.pace.each
        self._each_free_at[probe.address] = max(self._each_free_at[probe.address], each)

    # What comes in

    def settle(self, now: float) -> bool:
        """Close the probes whose time is over; say whether one of an urgent line went without an answer."""
        missed = False
        while self._expiring and self._expiring[0][0] <= now:
            _, _, line, probe = heapq.heappop(self._expiring)
            line.settle(probe)
            missed = missed or (line.urgent and not probe.answers)
        return missed

    def hear(self, heard: Heard) -> Sighting | None:
        """Read one frame; return who was heard for which address, if it says that."""
        return self.ear.hear(heard)
