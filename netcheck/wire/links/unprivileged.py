"""The link without rights: the operating system's own echo sockets, and its neighbour table for who answers.

Echo requests handed over as frames are sent by ICMP datagram sockets; answers come back as echo replies in Ethernet
frames made up here, with the asker's identifier put back in and the MAC that the kernel's neighbour table names for the
address, 0 where it names none. Linux only; needs the user's group in net.ipv4.ping_group_range.

What it cannot see or do, and why no verdict above `unsettled` can rest on it (`hears_all` is False):
- no ARP can be sent (such frames are dropped) or heard: a second owner of an address, a proxy, an announcement stay
  unseen, since the kernel keeps one MAC for an address and asks no further;
- the MAC comes from a cache: a device that was replaced may be taken for the old one, or lose its answers;
- frames go to whom the kernel chooses, whatever MAC they were addressed to, and only straight to the same subnet;
- only the system's own addresses can ask: a borrowed address cannot be used;
- LLDP, DHCP and what passes between others are not heard.
"""

from __future__ import annotations

import select
import socket
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter
from types import TracebackType
from typing import Self

from netcheck.addr import quad
from netcheck.errors import LinkError
from netcheck.text import safe
from netcheck.wire.clock import ROOM, Clock, stamp_in, stamps_on
from netcheck.wire.frames import ECHO_REPLY, ECHO_REQUEST, Echo, echo_from_wire, echo_to_wire
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Heard, News, Way
from netcheck.wire.linux import netlink
from netcheck.wire.linux.carrier import NetlinkCarrier
from netcheck.wire.station import found
from netcheck.wire.system_errors import link_error, needs_linux, on_linux

BATCH = 4096
REMEMBERED = 8192  # open requests whose identifier is kept
MOST_ADDRESSES = 32  # of one interface that get a socket

_PKTINFO, _RECVTTL, _TTL, _UNICAST_IF = 8, 12, 2, 50  # linux/in.h
_HEAD = struct.Struct("!BBHHH")  # RFC 792
_INFO = struct.Struct("=I4s4s")  # struct in_pktinfo: interface, own address, address it came to


@dataclass(frozen=True, slots=True)
class _Mouth:
    """One socket: the way it is bound to and the own address it asks from."""

    socket: socket.socket
    way: int
    address: int


def open_unprivileged(interface: str, others: Sequence[str] = ()) -> UnprivilegedLink:
    """Open the interface under test as way 0 and others as further ways; LinkError where one cannot be used."""
    if not on_linux():
        raise needs_linux("unprivileged")
    parts = [found(name) for name in (interface, *others)]
    if not parts[0].addresses:
        raise LinkError.of(
            "it has no IPv4 address, and this link can only ask from the system's own",
            where=safe(interface),
            do="Give it one in the subnet under test, or use `--link raw`, which borrows the plan's",
        )
    mouths: list[_Mouth] = []
    try:
        for way, part in enumerate(parts):
            for address, _ in part.addresses[:MOST_ADDRESSES]:
                mouths.append(_Mouth(_opened(part, address), way, address))
        return UnprivilegedLink(parts, mouths, NetlinkCarrier(parts))
    except OSError as error:
        for mouth in mouths:
            mouth.socket.close()
        raise link_error(error, interface, "unprivileged") from error


def _opened(part: NetworkInterface, address: int) -> socket.socket:
    """An echo socket that asks from one address, out of one interface, and never by way of a router."""
    echo = socket.socket(socket.AF_INET, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC, socket.IPPROTO_ICMP)
    try:
        stamps_on(echo)
        for option in (_PKTINFO, _RECVTTL):
            echo.setsockopt(socket.IPPROTO_IP, option, 1)
        echo.setsockopt(socket.SOL_SOCKET, socket.SO_DONTROUTE, 1)
        try:
            echo.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, part.name.encode())
        except PermissionError:  # before Linux 5.7; answers of other interfaces are sorted out on arrival
            echo.setsockopt(socket.IPPROTO_IP, _UNICAST_IF, struct.pack("!I", part.index))
        echo.bind((quad(address), 0))
        echo.setblocking(False)
    except OSError:
        echo.close()
        raise
    return echo


class UnprivilegedLink:
    """A link by echo sockets; see `netcheck.wire.link.Link` for the verbs, and above for what they cannot do here."""

    kind = "unprivileged"
    hears_all = False
    overhears = False

    def __init__(self, parts: Sequence[NetworkInterface], mouths: Sequence[_Mouth], watch: NetlinkCarrier) -> None:
        self.ways: tuple[Way, ...] = tuple(part.way for part in parts)
        self._indexes = [part.index for part in parts]
        self._mouths = {mouth.socket.fileno(): mouth for mouth in mouths}
        self._by_address = {(mouth.way, mouth.address): mouth for mouth in mouths}
        self._identifiers: dict[tuple[int, int, int, int], int] = {}  # (way, own address, target, sequence)
        self._watch = watch
        self._table = netlink.opened()
        self._clock = Clock()
        self._empty_at = self._clock.now()

    def now(self) -> float:
        """Seconds of CLOCK_MONOTONIC."""
        return self._clock.now()

    def send(self, frame: bytes, way: int = 0) -> float | None:
        """Send an echo request from an address of this way; see `Link.send`. Any other frame does not leave."""
        echo = echo_from_wire(frame)
        if echo is None or echo.type != ECHO_REQUEST or (way, echo.source_ip) not in self._by_address:
            return None
        self._identifiers[way, echo.source_ip, echo.target_ip, echo.sequence] = echo.identifier
        while len(self._identifiers) > REMEMBERED:
            del self._identifiers[next(iter(self._identifiers))]
        message = _HEAD.pack(ECHO_REQUEST, 0, 0, 0, echo.sequence) + echo.payload  # the kernel fills in the rest
        at = self._clock.now()
        try:
            self._by_address[way, echo.source_ip].socket.sendto(message, (quad(echo.target_ip), 0))
        except OSError:
            return None  # no way there, no carrier, no memory, a firewall: it did not leave
        return at

    def receive(self, until: float) -> list[News]:
        """Wait in steps of at most 20 ms, at each of which the carrier is read."""
        while True:
            wait = max(0.0, min(until, self._watch.due) - self._clock.now())
            readable, _, _ = select.select([*self._mouths, self._watch.descriptor], [], [], wait)
            news: list[News] = []
            if self._watch.descriptor in readable or self._watch.due <= self._clock.now():
                news.extend(self._watch.look(self._clock.now()))
            self._clock.measure()
            for descriptor in readable:
                if descriptor in self._mouths:
                    self._drain(self._mouths[descriptor], news)
            self._empty_at = self._clock.now()
            if news:
                return sorted(news, key=attrgetter("at"))
            if self._empty_at >= until:
                return []

    def _drain(self, mouth: _Mouth, news: list[News]) -> None:
        macs = self._neighbours(mouth.way)
        for _ in range(BATCH):
            try:
                message, extras, _, (sender, *_) = mouth.socket.recvmsg(2048, ROOM + 64)
            except BlockingIOError:
                return
            except OSError:
                continue  # the system reports an earlier send as failed; the silence says the same
            latest = self._clock.now()
            stamp = stamp_in(extras)
            at = latest if stamp is None else self._clock.at(stamp, self._empty_at, latest)
            address = int.from_bytes(socket.inet_aton(sender), "big")
            frame = self._frame(mouth, message, extras, address, macs.get(address, 0))
            if frame is not None:
                news.append(Heard(at, mouth.way, frame))

    def _neighbours(self, way: int) -> dict[int, int]:
        try:
            return netlink.neighbours(self._indexes[way], self._table)
        except OSError:
            return {}

    def _frame(
        self, mouth: _Mouth, message: bytes, extras: list[tuple[int, int, bytes]], address: int, mac: int
    ) -> bytes | None:
        """The Ethernet frame that may have carried an answer; None for one that is no answer to an open request."""
        told = {kind: data for level, kind, data in extras if level == socket.IPPROTO_IP}
        came_by = _INFO.unpack(told[_PKTINFO])[0] if len(told.get(_PKTINFO, b"")) == _INFO.size else 0
        if len(message) < _HEAD.size or came_by != self._indexes[mouth.way]:
            return None
        kind, _, _, _, sequence = _HEAD.unpack_from(message)
        identifier = self._identifiers.get((mouth.way, mouth.address, address, sequence))
        if kind != ECHO_REPLY or identifier is None:
            return None
        ttl = told.get(_TTL, b"\0\0\0\0")
        echo = Echo(
            self.ways[mouth.way].mac, mac, address, mouth.address, struct.unpack("=i", ttl)[0] & 0xFF,
            ECHO_REPLY, identifier, sequence, message[_HEAD.size :],
        )  # fmt: skip
        return echo_to_wire(echo)

    def carrier(self, way: int = 0) -> bool:
        """The carrier as the kernel tells it; this needs no right."""
        return self._watch.carrier(way, self._clock.now())

    def close(self) -> None:
        """Close all sockets."""
        for mouth in self._mouths.values():
            mouth.socket.close()
        self._table.close()
        self._watch.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
