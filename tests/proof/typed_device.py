"""A device with a mask and a gateway, in virtual time.

It follows RFC 1122 section 3.3.1.1 by the standard library's ipaddress, and shares with the code under test only the
reading and building of frames.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from ipaddress import IPv4Address, IPv4Interface
from itertools import count
from random import Random

from netcheck.wire.frames import (
    ECHO_REPLY,
    ECHO_REQUEST,
    REQUEST,
    Echo,
    arp_from_wire,
    arp_reply,
    arp_request,
    echo_from_wire,
    echo_to_wire,
)
from netcheck.wire.link import Heard

STATION, DEVICE, ROUTER = 0x00005E005301, 0x00005E005314, 0x00005E0053FE  # RFC 7042 section 2.1.2
RETRIES, RETRY = 3, 1.0  # ARP requests for one address, and the seconds between them


@dataclass
class Device:
    """A device: `typed` is its address and mask, `gateway` is "" for none.

    Faults: `cached` (it already knows the gateway's MAC), `reflex` (it replies to the sender's MAC without ARP),
    `deaf_after` (the number of echoes that it answers), `allows` (it answers only sources for which this is true),
    `chats` (it sends an ARP request for each of these every second), `loss`, `delay`.
    """

    typed: str
    gateway: str = ""
    more: tuple[str, ...] = ()
    echo: bool = True
    cached: bool = False
    reflex: bool = False
    deaf_after: int = 10**9
    allows: Callable[[int], bool] = lambda source: True
    chats: tuple[str, ...] = ()
    loss: float = 0.0
    delay: float = 0.002
    routes: dict[str, str] = field(default_factory=dict)
    pending: dict[int, int] = field(default_factory=dict)

    @property
    def address(self) -> int:
        """Return its first address."""
        return int(IPv4Interface(self.typed).ip)

    def next_hop(self, source: int) -> int | None:
        """Return the address that it resolves to answer a source: the source, its gateway, or None."""
        address = IPv4Address(source)
        for one in (self.typed, *self.more):
            if address in IPv4Interface(one).network:
                return source
        for network, gateway in self.routes.items():
            if address in IPv4Interface(network).network:
                return int(IPv4Address(gateway))
        return int(IPv4Address(self.gateway)) if self.gateway else None


class Bench:
    """The cable and the clock; `overhears` also delivers frames to MACs other than the station's."""

    def __init__(self, device: Device, seed: int = 1, overhears: bool = True, others: Iterable[int] = ()) -> None:
        self.device, self.random, self.overhears, self.others = device, Random(seed), overhears, set(others)
        self.now = 50.0
        self.sent: list[tuple[float, bytes]] = []
        self._queue: list[tuple[float, int, Callable[[], None]]] = []
        self._ties = count()
        self._heard: list[Heard] = []
        for number, chat in enumerate(device.chats):
            self._at(self.now + 0.1 * number, lambda chat=chat: self._chat(int(IPv4Address(chat))))  # type: ignore[misc]

    def _at(self, when: float, what: Callable[[], None]) -> None:
        heapq.heappush(self._queue, (when, next(self._ties), what))

    def _chat(self, target: int) -> None:
        self._emit(arp_request(DEVICE, self.device.address, target))
        self._at(self.now + 1.0, lambda: self._chat(target))

    def _emit(self, frame: bytes) -> None:
        ours = frame[:6] in (STATION.to_bytes(6, "big"), b"\xff" * 6)
        if (ours or self.overhears) and self.random.random() >= self.device.loss:
            self._heard.append(Heard(self.now, 0, frame))

    def until(self, when: float) -> list[Heard]:
        """Advance the clock to *when*, and return the frames that were received."""
        while self._queue and self._queue[0][0] <= when:
            self.now, _, what = heapq.heappop(self._queue)
            what()
        self.now = when
        heard, self._heard = self._heard, []
        return heard

    def send(self, frame: bytes) -> None:
        """Take a frame from the station."""
        self.sent.append((self.now, frame))
        if self.random.random() >= self.device.loss:
            self._at(self.now + self.device.delay, lambda: self._take(frame))

    def _take(self, frame: bytes) -> None:
        device = self.device
        arp = arp_from_wire(frame)
        if arp is not None:
            mine = {device.address, *(int(IPv4Interface(one).ip) for one in device.more)}
            if arp.op == REQUEST and arp.target_ip in mine | self.others:
                mac = DEVICE if arp.target_ip in mine else ROUTER
                self._emit(arp_reply(mac, arp.target_ip, arp.sender_mac, arp.sender_ip))
            return
        echo = echo_from_wire(frame)
        if echo is not None and echo.type == ECHO_REQUEST and echo.target_ip == device.address:
            self._answer(echo)

    def _answer(self, echo: Echo) -> None:
        device = self.device
        device.deaf_after -= 1
        if not device.echo or device.deaf_after < 0 or not device.allows(echo.source_ip):
            return
        hop = device.next_hop(echo.source_ip)
        if device.reflex:
            self._emit(reply_to(echo, echo.source))
        elif hop is not None and device.cached and hop != echo.source_ip:
            self._emit(reply_to(echo, ROUTER))
        elif hop is not None and hop not in device.pending:
            device.pending[hop] = RETRIES
            self._ask(hop)

    def _ask(self, hop: int) -> None:
        left = self.device.pending.get(hop, 0)
        if not left:
            self.device.pending.pop(hop, None)
            return
        self.device.pending[hop] = left - 1
        self._emit(arp_request(DEVICE, self.device.address, hop))
        self._at(self.now + RETRY, lambda: self._ask(hop))


def reply_to(echo: Echo, mac: int) -> bytes:
    """Return the reply to an echo request, addressed to *mac*."""
    return echo_to_wire(
        Echo(mac, DEVICE, echo.target_ip, echo.source_ip, 64, ECHO_REPLY, echo.identifier, echo.sequence, echo.payload)
    )
