"""The asker: turns wishes ("ask this address every second") into paced frames and matches what is heard with them.

No I/O and no clock: frames and times come in, frames to send come out. Good manners are kept here and nowhere else:
at most `total` frames a second, 20 of them broadcast, `each` to one address, one broadcast ARP a second to one address
(RFC 1122 section 2.3.2.1); the ARP sender is the station's own or borrowed address, never a planned one.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count
from random import Random

from netcheck.proof.lines import LATE, Hearing, Kind, Line, Probe
from netcheck.wire.frames import (
    BROADCAST,
    ECHO_REPLY,
    ECHO_REQUEST,
    REPLY,
    REQUEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_reply,
    arp_request,
    echo_from_wire,
    echo_to_wire,
)
from netcheck.wire.link import Heard, Way

ARP_EVERY = 1.01  # a little over the second that RFC 1122 section 2.3.2.1 recommends between requests to one address
ECHO_EVERY = 0.25
WATCH_EVERY = 1.01
MARGIN = 1.01  # pace gaps are stretched by this, so that jitter does not break the pace


@dataclass(frozen=True, slots=True)
class Send:
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


class Asker:
    """All lines of a run, their queues and their open probes."""

    def __init__(self, ways: Sequence[Way], hears_all: bool, pace: Pace, rng: Random) -> None:
        """`rng` gives the identifier and the 16 random bytes that every echo of this run carries."""
        self.ways, self.hears_all, self.pace = ways, hears_all, pace
        self.own_macs = {way.mac for way in ways}
        self.identifier = rng.randrange(1, 0x10000)
        self.token = rng.randbytes(16)
        self.senders: dict[tuple[int, str], int] = {}  # (way, subnet) -> the address to ask from
        self.borrowed: set[int] = set()
        self.claiming: set[int] = set()  # to be borrowed, once nobody is found to own them
        self.lines: dict[tuple[int, int], Line] = {}  # (way, address)
        self.forged = 0  # echo answers that match no probe of this run
        self.conflict: int | None = None  # the MAC of somebody who owns a borrowed address
        self._sequence = count(1)
        self._ties = count()
        self._due: list[tuple[float, bool, int, Line, Kind]] = []
        self._blocked: list[list[tuple[float, int, Line, Kind]]] = [[], []]  # broadcast ones: urgent, others
        self._open: dict[int, Probe] = {}  # echo probes by sequence number
        self._expiring: list[tuple[float, int, Probe]] = []
        self._forgetting: list[tuple[float, int, Probe]] = []
        self._replies: list[Send] = []
        self._free_at = self._broadcast_free_at = float("-inf")
        self._reply_free_at = float("-inf")
        self._packet_id = count(rng.randrange(0x10000))

    # What is wished for

    def line(self, address: int, net: str, way: int = 0) -> Line:
        """The line of an address, made when it is not there yet."""
        return self.lines.setdefault((way, address), Line(address, way, net))

    def want(
        self, line: Line, now: float, *, arp: float | None = None, echo: float | None = None, urgent: bool = False
    ) -> None:
        """Ask an address every so many seconds by ARP, by echo, both or neither; `urgent` goes before others."""
        line.arp_every, line.echo_every, line.urgent = arp, echo, urgent
        for kind, every in ((Kind.ARP, arp), (Kind.ECHO, echo)):
            if every is not None and kind not in line.queued:
                self._queue(now, line, kind)

    def rest(self) -> None:
        """Ask nothing of anybody."""
        for line in self.lines.values():
            line.arp_every = line.echo_every = None

    def _queue(self, at: float, line: Line, kind: Kind) -> None:
        line.queued.add(kind)
        heapq.heappush(self._due, (at, not line.urgent, next(self._ties), line, kind))

    # What goes out

    def due(self, now: float) -> list[Send]:
        """Frames to send now. Each must be told back by `sent`."""
        self._settle(now)
        sends, self._replies = self._replies, []
        while self._due and self._due[0][0] <= now:
            _, _, tie, line, kind = heapq.heappop(self._due)
            self._consider(now, tie, line, kind, sends)
        for heap in self._blocked:
            while heap and self._broadcast_free_at <= now and self._free_at <= now:
                at, _, line, kind = heapq.heappop(heap)
                if self._every(line, kind) is None:
                    line.queued.discard(kind)
                elif line.free_at > now:
                    self._queue(line.free_at, line, kind)
                else:
                    self._ask(max(at, now), line, kind, sends)
        return sends

    @property
    def wake(self) -> float:
        """When `due` has something to do next."""
        times = [heap[0][0] for heap in (self._due, self._expiring) if heap]
        if any(self._blocked):
            times.append(max(self._broadcast_free_at, self._free_at))
        return float("-inf") if self._replies else min(times, default=float("inf"))

    def _every(self, line: Line, kind: Kind) -> float | None:
        return line.arp_every if kind is Kind.ARP else line.echo_every

    def _consider(self, now: float, tie: int, line: Line, kind: Kind, sends: list[Send]) -> None:
        every = self._every(line, kind)
        if every is None or (line.way, line.net) not in self.senders:
            line.queued.discard(kind)
        elif kind is Kind.ECHO and line.mac is None and self.hears_all:
            self._queue(now + 0.05 if line.urgent else now + every, line, kind)
        elif line.free_at > now:
            self._queue(line.free_at, line, kind)
        elif kind is Kind.ARP:
            heapq.heappush(self._blocked[0 if line.urgent else 1], (now, tie, line, kind))
        elif self._free_at > now:
            self._queue(self._free_at, line, kind)
        else:
            self._ask(now, line, kind, sends)

    def _ask(self, now: float, line: Line, kind: Kind, sends: list[Send]) -> None:
        sender = self.senders[line.way, line.net]
        sends.append(self._probe(now, line, kind, sender))
        every = self._every(line, kind)
        assert every is not None  # its callers have looked
        self._queue(now + every, line, kind)

    def ask_anonymously(self, now: float, line: Line) -> None:
        """Send one ARP probe with sender 0 at the next turn: only for a station address that is to be borrowed, and for
        the last round to an address that stayed silent."""
        self._replies.append(self._probe(now, line, Kind.ARP, 0))

    def _probe(self, now: float, line: Line, kind: Kind, sender: int) -> Send:
        sequence = next(self._sequence) & 0xFFFF
        probe = Probe(kind, line.address, line.way, sequence, now, now + line.wait, kind is Kind.ARP)
        probe.anonymous = kind is Kind.ARP and sender == 0
        mac = self.ways[line.way].mac
        if kind is Kind.ARP:
            frame = arp_request(mac, sender, line.address)
            self._broadcast_free_at = now + MARGIN / self.pace.broadcast
        else:
            to = BROADCAST if line.mac is None else line.mac
            echo = Echo(to, mac, sender, line.address, 64, ECHO_REQUEST, self.identifier, sequence, self.token)
            frame = echo_to_wire(echo, next(self._packet_id) & 0xFFFF)
            self._open[sequence] = probe
        self._free_at = max(self._free_at, now) + MARGIN / self.pace.total
        line.free_at = now + MARGIN / self.pace.each
        line.asked += 1
        line.probes.append(probe)
        heapq.heappush(self._expiring, (probe.expires, next(self._ties), probe))
        return Send(frame, line.way, probe)

    def sent(self, send: Send, at: float) -> None:
        """Take the time at which the link really sent a frame."""
        if send.probe is not None:
            send.probe.sent = at

    def _settle(self, now: float) -> None:
        while self._expiring and self._expiring[0][0] <= now:
            _, tie, probe = heapq.heappop(self._expiring)
            probe.settled = True
            heapq.heappush(self._forgetting, (probe.expires + LATE, tie, probe))
        while self._forgetting and self._forgetting[0][0] <= now:
            _, _, probe = heapq.heappop(self._forgetting)
            if self._open.get(probe.sequence) is probe:
                del self._open[probe.sequence]

    # What comes in

    def hear(self, heard: Heard) -> Hearing | None:
        """Read one frame; return who was heard for which address, if it says that."""
        if (arp := arp_from_wire(heard.frame)) is not None:
            return self._hear_arp(heard, arp)
        if (echo := echo_from_wire(heard.frame)) is not None and echo.type == ECHO_REPLY:
            return self._hear_echo(heard, echo)
        return None

    def _hear_arp(self, heard: Heard, arp: Arp) -> Hearing | None:
        if arp.sender_mac in self.own_macs or arp.sender_mac >> 40 & 1 or not arp.sender_mac:
            return None  # our own, or a group address, which RFC 1812 section 3.3.2 forbids to believe
        if heard.way == 0 and self._contests(arp):
            self.conflict = arp.sender_mac
        if heard.way == 0 and arp.op == REQUEST and arp.target_ip in self.borrowed:
            self._answer(heard.at, arp)
        if arp.sender_ip == 0:
            return None
        line = self.lines.get((heard.way, arp.sender_ip))
        probe = self._newest_arp(line, heard.at) if line is not None and self._for_us(heard.way, arp) else None
        hearing = self._hearing(heard, arp.sender_ip, arp.sender_mac, "arp" if probe else "said", probe, arp.source)
        return self._note(line, probe, hearing)

    def _contests(self, arp: Arp) -> bool:
        """Somebody has, or is just claiming, an address that is borrowed here (RFC 5227 sections 2.1.1 and 2.4)."""
        claimed = arp.op == REQUEST and arp.sender_ip == 0 and arp.target_ip in self.claiming
        return claimed or arp.sender_ip in self.borrowed | self.claiming

    def _for_us(self, way: int, arp: Arp) -> bool:
        return arp.op == REPLY and arp.destination == self.ways[way].mac

    def _answer(self, now: float, arp: Arp) -> None:
        """Answer ARP for the borrowed address, within the broadcast pace, so that a flood of questions is no lever."""
        if self._reply_free_at <= now:
            self._reply_free_at = now + 1 / self.pace.broadcast
            mac = self.ways[0].mac
            self._replies.append(Send(arp_reply(mac, arp.target_ip, arp.sender_mac, arp.sender_ip)))

    def _newest_arp(self, line: Line, at: float) -> Probe | None:
        """ARP answers carry no number; the newest question is taken, so that no answer is put down to an earlier phase
        than the one it may belong to."""
        for probe in reversed(line.probes):
            if probe.kind is Kind.ARP and probe.sent <= at:
                return probe if at <= probe.expires + LATE else None
        return None

    def _hear_echo(self, heard: Heard, echo: Echo) -> Hearing | None:
        probe = self._open.get(echo.sequence)
        line = self.lines.get((heard.way, echo.source_ip))
        if (
            probe is None
            or line is None
            or (probe.way, probe.address) != (heard.way, echo.source_ip)
            or echo.identifier != self.identifier
            or echo.payload != self.token
            or echo.destination != self.ways[heard.way].mac
            or echo.target_ip != self.senders.get((heard.way, line.net))
        ):
            self.forged += line is not None or echo.identifier == self.identifier
            return None
        return self._note(line, probe, self._hearing(heard, echo.source_ip, echo.source, "echo", probe, echo.source))

    def _hearing(
        self, heard: Heard, address: int, mac: int, how: str, probe: Probe | None, source: int
    ) -> Hearing:  # fmt: skip
        late = probe is not None and heard.at > probe.expires
        return Hearing(heard.at, address, mac, how, heard.way, probe.sent if probe else None, late, source)

    def _note(self, line: Line | None, probe: Probe | None, hearing: Hearing) -> Hearing:
        if line is None:
            return hearing
        line.hearings.append(hearing)
        if probe is None:
            return hearing
        (probe.late if hearing.late else probe.answers).setdefault(hearing.mac, hearing.at)
        if not hearing.late:
            line.last_answer = hearing.at
            line.longest_rtt = max(line.longest_rtt or 0.0, hearing.at - probe.sent)
            if line.mac is None and hearing.how == "arp":
                line.mac = hearing.mac
        return hearing
