"""The link without rights: the operating system's echo sockets, with the MACs from its neighbour table.

The caller passes echo requests as frames, and ICMP datagram sockets send them. For each reply the link builds an
Ethernet frame, with the identifier of the request and the MAC that the kernel's neighbour table has for the address, or
0. The link exists on Linux only, and needs the user's group in net.ipv4.ping_group_range.

Its best verdict is `unsettled` (`hears_all` is False), because of these limits:
- It cannot send ARP (such frames do not leave) or hear ARP. It does not notice a second owner of an address, a proxy or
  an announcement, because the kernel keeps one MAC for an address.
- The MAC comes from a cache: the link may mistake a replaced device for the old one, or lose its replies.
- The kernel chooses the destination MAC, and sends only to the same subnet.
- Only the system's own addresses can be the source: an address cannot be borrowed.
- It does not hear LLDP, DHCP or the traffic between others.
- It does not use a removed interface again when it is back, because the system removed the addresses with it.
"""

from __future__ import annotations

import select
import socket
import struct
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from netcheck.addr import quad
from netcheck.errors import LinkError
from netcheck.text import safe
from netcheck.wire.frames import ECHO_REPLY, ECHO_REQUEST, Echo, echo_from_wire, echo_to_wire
from netcheck.wire.link import Heard, Lost, NetworkInterface, News
from netcheck.wire.links.base import BATCH, SocketLink
from netcheck.wire.linux import netlink
from netcheck.wire.linux.carrier import NetlinkCarrier
from netcheck.wire.linux.packet_socket import STAMP_ROOM, dropped_in_all, enable_stamps, stamp_in
from netcheck.wire.station import found
from netcheck.wire.system_errors import link_error, needs_linux, on_linux

REMEMBERED = 8192  # requests without a reply whose identifier is kept
MOST_ADDRESSES = 32  # addresses of one interface for which a socket is opened

_PKTINFO, _RECVTTL, _TTL, _UNICAST_IF = 8, 12, 2, 50  # linux/in.h
_HEAD = struct.Struct("!BBHHH")  # RFC 792
_INFO = struct.Struct("=I4s4s")  # struct in_pktinfo: interface, local address, destination address


@dataclass(slots=True)
class _EchoSocket:
    """A socket, the adapter that it is bound to, its source address, and the number of frames dropped so far."""

    socket: socket.socket
    adapter: int
    address: int
    dropped: int = 0


def open_unprivileged(interface: str, others: Sequence[str] = ()) -> UnprivilegedLink:
    """Open the interface under test as adapter 0, and others as further adapters; raise LinkError if that fails."""
    if not on_linux():
        raise needs_linux("unprivileged")
    interfaces = [found(name) for name in (interface, *others)]
    if not interfaces[0].addresses:
        raise LinkError.of(
            "it has no IPv4 address, and this link can only send from the system's own addresses",
            where=safe(interface),
            do="Give it an address in the subnet under test, or use `--link raw`, which borrows the plan's",
        )
    link = UnprivilegedLink(interfaces)
    try:
        link.open()
    except OSError as error:
        link.close()
        raise link_error(error, interface, "unprivileged") from error
    return link


def _opened(part: NetworkInterface, address: int) -> socket.socket:
    """Return an echo socket that sends from one address, through one interface, and never through a router."""
    echo = socket.socket(socket.AF_INET, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC, socket.IPPROTO_ICMP)
    try:
        enable_stamps(echo)
        for option in (_PKTINFO, _RECVTTL):
            echo.setsockopt(socket.IPPROTO_IP, option, 1)
        echo.setsockopt(socket.SOL_SOCKET, socket.SO_DONTROUTE, 1)
        try:
            echo.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, part.name.encode())
        except PermissionError:  # before Linux 5.7; replies from other interfaces are discarded on arrival
            echo.setsockopt(socket.IPPROTO_IP, _UNICAST_IF, struct.pack("!I", part.index))
        echo.bind((quad(address), 0))
        echo.setblocking(False)
    except OSError:
        echo.close()
        raise
    return echo


class UnprivilegedLink(SocketLink):
    """A link that uses echo sockets; the module's docstring lists its limits."""

    kind = "unprivileged"
    hears_all = False

    def __init__(self, interfaces: Sequence[NetworkInterface]) -> None:
        super().__init__(interfaces, NetlinkCarrier(interfaces))
        self._interfaces = tuple(interfaces)
        self._sockets: dict[int, _EchoSocket] = {}  # by descriptor
        self._by_address: dict[tuple[int, int], _EchoSocket] = {}  # by adapter and own address
        self._identifiers: dict[tuple[int, int, int, int], int] = {}  # (adapter, own address, target, sequence)
        self._table = netlink.opened()
        self._empty_at = self._clock.now()

    def open(self) -> None:
        """Open a socket for each address; raise OSError if one cannot be opened."""
        for adapter, part in enumerate(self._interfaces):
            for address, _ in part.addresses[:MOST_ADDRESSES]:
                one = _EchoSocket(_opened(part, address), adapter, address)
                self._sockets[one.socket.fileno()] = self._by_address[adapter, address] = one

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        """Send an echo request from an address of this adapter; see `Link.send`. Return None for any other frame."""
        echo = echo_from_wire(frame)
        if echo is None or echo.type != ECHO_REQUEST or (adapter, echo.source_ip) not in self._by_address:
            return None
        self._identifiers[adapter, echo.source_ip, echo.target_ip, echo.sequence] = echo.identifier
        while len(self._identifiers) > REMEMBERED:
            del self._identifiers[next(iter(self._identifiers))]
        message = _HEAD.pack(ECHO_REQUEST, 0, 0, 0, echo.sequence) + echo.payload  # the kernel fills in the rest
        at = self._clock.now()
        try:
            self._by_address[adapter, echo.source_ip].socket.sendto(message, (quad(echo.target_ip), 0))
        except OSError:
            return None  # no route, no carrier, no memory, a firewall
        return at

    def _wait(self, seconds: float) -> Collection[int]:
        return select.select([*self._sockets, self._carriers.descriptor], [], [], seconds)[0]

    def _drain(self, ready: Collection[int], news: list[News]) -> None:
        for descriptor in ready:
            if descriptor in self._sockets:
                self._read(self._sockets[descriptor], news)
        self._empty_at = self._clock.now()

    def _read(self, one: _EchoSocket, news: list[News]) -> None:
        """Add the replies on one socket to *news*, at most a batch, and the number of replies that were dropped."""
        macs = self._neighbours(one.adapter)
        for _ in range(BATCH):
            try:
                message, ancillary, _, (sender, *_) = one.socket.recvmsg(2048, STAMP_ROOM + 64)
            except BlockingIOError:
                break
            except OSError:
                continue  # the system reports that an earlier request failed; its missing reply shows the same
            latest = self._clock.now()
            stamp = stamp_in(ancillary)
            at = latest if stamp is None else self._clock.at(stamp, self._empty_at, latest)
            address = int.from_bytes(socket.inet_aton(sender), "big")
            frame = self._frame(one, message, ancillary, address, macs.get(address, 0))
            if frame is not None:
                news.append(Heard(at, one.adapter, frame))
        before, one.dropped = one.dropped, dropped_in_all(one.socket)
        if one.dropped > before:
            news.append(Lost(self._clock.now(), one.adapter, one.dropped - before))

    def _neighbours(self, adapter: int) -> dict[int, int]:
        try:
            return netlink.neighbours(self._interfaces[adapter].index, self._table)
        except OSError:
            return {}

    def _frame(
        self, one: _EchoSocket, message: bytes, ancillary: list[tuple[int, int, bytes]], address: int, mac: int
    ) -> bytes | None:
        """Build an Ethernet frame that could have carried a reply; None if the reply belongs to no request."""
        said = {kind: data for level, kind, data in ancillary if level == socket.IPPROTO_IP}
        came_by = _INFO.unpack(said[_PKTINFO])[0] if len(said.get(_PKTINFO, b"")) == _INFO.size else 0
        if len(message) < _HEAD.size or came_by != self._interfaces[one.adapter].index:
            return None
        kind, _, _, _, sequence = _HEAD.unpack_from(message)
        identifier = self._identifiers.get((one.adapter, one.address, address, sequence))
        if kind != ECHO_REPLY or identifier is None:
            return None
        ttl = said.get(_TTL, b"\0\0\0\0")
        echo = Echo(
            self.adapters[one.adapter].mac, mac, address, one.address, struct.unpack("=i", ttl)[0] & 0xFF,
            ECHO_REPLY, identifier, sequence, message[_HEAD.size :],
        )  # fmt: skip
        return echo_to_wire(echo)

    def _close(self) -> None:
        for one in self._sockets.values():
            one.socket.close()
        self._table.close()
