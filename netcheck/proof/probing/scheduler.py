"""The scheduler: turns rates, for example one request a second to an address, into frames at a safe pace.

No I/O and no clock: the time comes in, frames come out. Only this module enforces the limits: at most `total` frames a
second, at most `broadcast` broadcasts a second, at most `each` frames a second to one address, and one broadcast ARP
request a second to one address (RFC 1122 section 2.3.2.1). The ARP sender is the station's own or borrowed address,
never a planned one.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count, islice
from random import Random
from typing import NamedTuple

from netcheck.proof.probing.address_state import ARP, ECHO, EVER, AddressState, Probe, ProbeKind, Sighting
from netcheck.proof.probing.reply_matcher import ReplyMatcher
from netcheck.proof.verdict.silence_rule import ARP_EVERY
from netcheck.wire.frames import BROADCAST, ECHO_REQUEST, Echo, arp_request, echo_to_wire
from netcheck.wire.link import Adapter, Heard

WATCH_EVERY = 1.01  # seconds between requests to a watched address
MARGIN = 1.01  # factor by which gaps of the pace are longer, so that jitter does not exceed the pace
NAMED_BETWEEN = 4  # during a silence, ARP requests with a sender address between two without one


class Send(NamedTuple):
    """A frame to send on an adapter; `probe` is the probe that it carries, if any."""

    frame: bytes
    adapter: int = 0
    probe: Probe | None = None


@dataclass(frozen=True, slots=True)
class Pace:
    """The limits of the pace in frames a second: in all, of broadcasts, and to one address."""

    total: float = 500.0
    broadcast: float = 10.0  # ARP inspection of managed switches often allows 15 a second a port (common practice)
    each: float = 5.0


class ProbeScheduler:
    """All addresses of a run, the queues of their next probes, and their open probes.

    A queue element carries a ticket. It is ignored if its address has a newer ticket.
    """

    def __init__(self, adapters: Sequence[Adapter], hears_all: bool, pace: Pace, rng: Random) -> None:
        """`hears_all` says whether the link hears ARP. If it does not, echo requests are broadcast to find a MAC."""
        self.adapters, self.hears_all, self.pace = adapters, hears_all, pace
        self.matcher = ReplyMatcher(adapters, rng)
        self.senders, self.entries = self.matcher.senders, self.matcher.entries
        self.carrier = dict.fromkeys(range(len(adapters)), True)  # no probe is sent on an adapter without carrier
        self.paused = False  # no probe is sent while the station address is being checked
        self._sequence = count(1)
        self._tickets = count(1)
        self._due: list[tuple[float, bool, int, AddressState, ProbeKind]] = []
        self._blocked: list[tuple[int, float, int, AddressState]] = []  # ARP requests that wait for the broadcast pace
        self._expiring: list[tuple[float, int, AddressState, Probe]] = []
        self._direct: list[Send] = []  # frames that do not wait for the queues
        self._free_at = self._broadcast_free_at = 0.0
        self._each_free_at: dict[int, float] = {}  # by address, all adapters together
        self._gap, self._gap_each = MARGIN / pace.total, MARGIN / pace.each
        self._packet_id = count(rng.randrange(0x10000))

    # What to ask

    def entry(self, address: int, net: str, adapter: int = 0) -> AddressState:
        """Return the state of an address on an adapter; create it if it does not exist."""
        found = self.entries.get((adapter, address))
        if found is None:
            found = self.entries[adapter, address] = AddressState(address, adapter, net)
        return found

    def ask(
        self,
        entry: AddressState,
        now: float,
        *,
        arp: float | None = None,
        echo: float | None = None,
        urgent: bool = False,
    ) -> None:
        """Set the seconds between ARP requests and between echo requests to an address, None for none.

        The probes of an urgent address go before others.
        """
        hurried = urgent and not entry.urgent
        entry.urgent = urgent
        for kind, every in ((ARP, arp), (ECHO, echo)):
            entry.every[kind] = every
            if every is None:
                entry.tickets[kind] = 0
            elif hurried or not entry.tickets[kind]:
                self._queue(now, entry, kind)

    def rest(self) -> None:
        """Stop the probes to every address."""
        for entry in self.entries.values():
            self.ask(entry, 0.0)

    def _queue(self, at: float, entry: AddressState, kind: ProbeKind) -> None:
        entry.tickets[kind] = ticket = next(self._tickets)
        heapq.heappush(self._due, (at, not entry.urgent, ticket, entry, kind))

    def ask_anonymously(self, now: float, entry: AddressState) -> None:
        """Send one ARP probe with sender 0 at the next turn.

        This checks a station address before it is borrowed, and is the last try at an address that did not answer.
        """
        self._direct.append(self._probe(now, entry, ARP, 0))

    def allows(self, now: float, address: int) -> bool:
        """Return whether the pace allows a frame to an address now, also as a broadcast."""
        return max(self._free_at, self._broadcast_free_at, self._each_free_at.get(address, 0.0)) <= now

    def also(self, now: float, frame: bytes, address: int) -> None:
        """Send a frame that is not a probe; it counts against the pace of this address."""
        if frame[:6] == BROADCAST.to_bytes(6, "big"):
            self._broadcast_free_at = now + MARGIN / self.pace.broadcast
        self._count(now, address)
        self._direct.append(Send(frame))

    # What goes out

    def due(self, now: float) -> list[Send]:
        """Return the frames to send now. Report each to `sent` or `not_sent`."""
        sends, self._direct = self._direct, []
        if self.matcher.replies:
            sends += self._replies(now)
        if self.paused:
            return sends
        while self._due and self._due[0][0] <= now:
            _, _, ticket, entry, kind = heapq.heappop(self._due)
            if entry.tickets[kind] == ticket:
                self._consider(now, entry, kind, sends)
        while self._blocked and self._broadcast_free_at <= now and self._free_at <= now:
            _, _, ticket, entry = heapq.heappop(self._blocked)
            if entry.tickets[ARP] == ticket:
                self._unblock(now, entry, sends)
        return sends

    @property
    def wake(self) -> float:
        """The time at which `due` has a frame to send next. Probes are closed at the prober's own steps."""
        if self._direct or self.matcher.replies:
            return 0.0
        if self.paused:
            return EVER
        at = self._due[0][0] if self._due else EVER
        if self._blocked:
            at = min(at, max(self._broadcast_free_at, self._free_at))
        return at

    def _replies(self, now: float) -> list[Send]:
        """Return the replies for the borrowed address. Each counts against the pace of the host that asked."""
        replies, self.matcher.replies = self.matcher.replies, []
        for _, address in replies:
            self._count(now, address, address in self._each_free_at)
        return [Send(frame) for frame, _ in replies]

    def _consider(self, now: float, entry: AddressState, kind: ProbeKind, sends: list[Send]) -> None:
        every, sender = entry.every[kind], self.senders.get((entry.adapter, entry.net))
        assert every is not None  # else it had no ticket
        if sender is None or (kind is ARP and not self.hears_all):
            entry.tickets[kind] = 0
        elif not self.carrier[entry.adapter] or (kind is ECHO and entry.mac is None and self.hears_all):
            self._queue(now + every, entry, kind)
        elif (free_at := self._allowed_at(entry, kind)) > now:
            entry.owed = entry.owed or (kind is ARP and free_at > entry.broadcast_free_at and _after_echo(entry))
            self._queue(free_at, entry, kind)
        elif kind is ECHO and self._must_wait_for_arp(now, entry):
            self._queue(entry.broadcast_free_at + self._gap_each, entry, kind)
        elif kind is ECHO and entry.owed:  # else echo requests would use the whole of a slow pace
            entry.owed = False
            self._queue(now + MARGIN / self.pace.each, entry, kind)
        elif kind is ECHO:
            sends.append(self._ask(now, entry, kind, every, sender))
        else:
            rank = 0 if entry.urgent else 1 if entry.mac is not None else 2
            heapq.heappush(self._blocked, (rank, now, entry.tickets[kind], entry))

    def _must_wait_for_arp(self, now: float, entry: AddressState) -> bool:
        """Return whether an echo request must wait because it would delay the next ARP request.

        It waits only if the last probe was an echo request, so it does not wait twice in a row.
        """
        due = bool(entry.tickets[ARP]) and now < entry.broadcast_free_at < now + self._gap_each
        return due and _after_echo(entry)

    def _allowed_at(self, entry: AddressState, kind: ProbeKind) -> float:
        """Return the time at which the pace of the address allows a probe.

        ARP requests wait for the pace of all broadcasts later, in the queue `_blocked`.
        """
        free_at = self._each_free_at.get(entry.address, 0.0)
        if (kind is ARP or entry.mac is None) and free_at < entry.broadcast_free_at:
            free_at = entry.broadcast_free_at
        return free_at if kind is ARP or free_at > self._free_at else self._free_at

    def _unblock(self, now: float, entry: AddressState, sends: list[Send]) -> None:
        free_at, every = self._each_free_at.get(entry.address, 0.0), entry.every[ARP]
        assert every is not None
        entry.owed = free_at > now and _after_echo(entry)
        if free_at > now or not self.carrier[entry.adapter]:
            self._queue(max(free_at, now + MARGIN / self.pace.broadcast), entry, ARP)
        else:
            sends.append(self._ask(now, entry, ARP, every, self._arp_sender(entry)))

    def _arp_sender(self, entry: AddressState) -> int:
        """Return the sender address of the next ARP request.

        During an established silence some requests have sender 0, because a second owner may answer only requests
        without a sender (wrong mask, strict reverse path).
        """
        if entry.anonymous_left:
            newest = list(islice(reversed([p for p in entry.probes if p.kind is ARP]), NAMED_BETWEEN))
            if not any(probe.anonymous for probe in newest):
                entry.anonymous_left -= 1
                entry.anonymous_sent += 1
                return 0
        return self.senders[entry.adapter, entry.net]

    def _ask(self, now: float, entry: AddressState, kind: ProbeKind, every: float, sender: int) -> Send:
        self._queue(now + every, entry, kind)
        return self._probe(now, entry, kind, sender)

    def _probe(self, now: float, entry: AddressState, kind: ProbeKind, sender: int) -> Send:
        sequence = next(self._sequence) & 0xFFFF
        probe = Probe(kind, entry.address, entry.adapter, sequence, now, now + entry.wait, sender == 0, entry.stage)
        mac = self.adapters[entry.adapter].mac
        if kind is ARP:
            frame = arp_request(mac, sender, entry.address)
        else:
            to = BROADCAST if entry.mac is None else entry.mac
            ids = self.matcher
            echo = Echo(to, mac, sender, entry.address, 64, ECHO_REQUEST, ids.identifier, sequence, ids.token)
            frame = echo_to_wire(echo, next(self._packet_id) & 0xFFFF)
            ids.expect(probe)
        if kind is ARP or entry.mac is None:
            self._broadcast_free_at = now + MARGIN / self.pace.broadcast
            entry.broadcast_free_at = now + ARP_EVERY
        self._count(now, entry.address)
        entry.add(probe)
        heapq.heappush(self._expiring, (probe.expires, next(self._tickets), entry, probe))
        return Send(frame, entry.adapter, probe)

    def _count(self, now: float, address: int, known: bool = True) -> None:
        """Count a frame against the pace in all and, if *known*, against the pace of its address."""
        self._free_at = (self._free_at if self._free_at > now else now) + self._gap
        if known:
            free_at = self._each_free_at.get(address, 0.0)
            self._each_free_at[address] = (free_at if free_at > now else now) + self._gap_each

    def sent(self, send: Send, at: float) -> None:
        """Record the time at which the link sent a frame."""
        probe = send.probe
        if probe is None or at <= probe.sent:
            return
        probe.expires += at - probe.sent
        probe.sent = at
        each = at + MARGIN / self.pace.each
        self._each_free_at[probe.address] = max(self._each_free_at[probe.address], each)

    def not_sent(self, send: Send) -> None:
        """Take back a frame that the link did not accept: it does not count as a request."""
        if send.probe is not None:
            self.entries[send.probe.adapter, send.probe.address].take_back(send.probe)

    # What comes in

    def settle(self, now: float) -> bool:
        """Close the probes that have timed out; return whether a probe to an urgent address had no answer."""
        missed = False
        while self._expiring and self._expiring[0][0] <= now:
            _, _, entry, probe = heapq.heappop(self._expiring)
            if probe.unsent:
                continue
            entry.settle(probe)
            missed = missed or (entry.urgent and not probe.answers)
        return missed

    def hear(self, heard: Heard) -> Sighting | None:
        """Read one frame; return the MAC and the address that it was heard for, or None if the frame has neither."""
        return self.matcher.hear(heard)


def _after_echo(entry: AddressState) -> bool:
    """Return whether the last probe to the address was an echo request: then an ARP request goes next."""
    return bool(entry.probes) and entry.probes[-1].kind is ECHO
