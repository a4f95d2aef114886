"""The raw link of Linux: packet sockets with a filter and time stamps in the kernel, and the carrier by netlink.

Needs CAP_NET_RAW. Promiscuous only where it is told to overhear; nothing is left behind. An interface that is switched
off or removed in mid-run is reported as gone, never raised. Figures beside the constants were measured on Linux 6.18.
"""

from __future__ import annotations

import ctypes
import errno
import select
import socket
import struct
import time
from collections.abc import Sequence
from operator import attrgetter
from types import TracebackType
from typing import Self

from netcheck.wire.clock import ROOM, Clock, stamp_in, stamps_on
from netcheck.wire.frames import padded
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Heard, News, Way
from netcheck.wire.linux import bpf
from netcheck.wire.linux.carrier import NetlinkCarrier
from netcheck.wire.station import found
from netcheck.wire.system_errors import link_error, needs_linux, on_linux

BUFFER = 4 << 20  # bytes; of 1,022 answers at once the default buffer keeps 256, 1 MiB all
BATCH = 4096  # frames taken from one way in one call, so that a flood cannot hold the caller
SETTLE = 0.02  # seconds until the kernel stamps at arrival: it switches stamping on in the background
SEND_PATIENCE = 100_000  # microseconds a send may wait for room in the queue

_ALL = 0x0003  # ETH_P_ALL; numbers of asm/socket.h and linux/if_packet.h that the socket module lacks
_SO_ATTACH_FILTER, _SO_RCVBUFFORCE = 26, 33
_SOL_PACKET, _ADD_MEMBERSHIP, _IGNORE_OUTGOING = 263, 1, 23
_MR_MULTICAST, _MR_PROMISCUOUS = 0, 1
_LLDP_GROUPS = (0x0180C200000E, 0x0180C2000003, 0x0180C2000000)  # IEEE 802.1AB

# A frame that cannot leave: the carrier is down, the interface is off or gone, or its queue stays full.
_DROPPED = frozenset({errno.ENETDOWN, errno.ENXIO, errno.ENODEV, errno.EAGAIN, errno.ENOBUFS, errno.EIO})


def open_raw(interface: str, others: Sequence[str] = (), *, overhears: bool = False, listens: bool = False) -> RawLink:
    """Open the interface under test as way 0 and others as further ways; LinkError where one cannot be used.
    `overhears` lets way 0 hear echo answers to other MACs too: only sensible on a direct cable. `listens` lets every
    way hear all that passes."""
    if not on_linux():
        raise needs_linux("raw")
    parts = [found(name) for name in (interface, *others)]
    sockets: list[socket.socket] = []
    try:
        for part in parts:
            sockets.append(_opened(part, overhears and not sockets, listens))
        return RawLink(parts, sockets, NetlinkCarrier(parts), overhears)
    except OSError as error:
        for one in sockets:
            one.close()
        raise link_error(error, parts[min(len(sockets), len(parts) - 1)].name) from error


def _opened(interface: NetworkInterface, overhears: bool, listens: bool) -> socket.socket:
    """A packet socket. Protocol 0 until it is bound: nothing is queued before the filter is in place."""
    packets = socket.socket(socket.AF_PACKET, socket.SOCK_RAW | socket.SOCK_CLOEXEC, 0)
    try:
        _attach(packets, bpf.listening_program() if listens else bpf.program(interface.mac, overhears))
        stamps_on(packets)
        packets.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("@ll", 0, SEND_PATIENCE))
        enlarge(packets)
        _try(packets, _SOL_PACKET, _IGNORE_OUTGOING, struct.pack("=i", 1))  # Linux 4.20; the filter drops them too
        join_lldp(packets, interface.index)
        if overhears or listens:
            _join(packets, interface.index, _MR_PROMISCUOUS, 0)
        packets.bind((interface.name, _ALL))
        if socket.if_nametoindex(interface.name) != interface.index:
            raise OSError(errno.ENODEV, "the interface was replaced while it was opened")
    except OSError:
        packets.close()
        raise
    return packets


def _attach(packets: socket.socket, program: bytes) -> None:
    kept = ctypes.create_string_buffer(program)
    where = struct.pack("@HP", len(program) // 8, ctypes.addressof(kept))  # struct sock_fprog
    packets.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, where)


def enlarge(packets: socket.socket) -> None:
    """Ask for the large buffer by right (CAP_NET_ADMIN), else as much as the system's limit gives."""
    if not _try(packets, socket.SOL_SOCKET, _SO_RCVBUFFORCE, struct.pack("=i", BUFFER)):
        _try(packets, socket.SOL_SOCKET, socket.SO_RCVBUF, struct.pack("=i", BUFFER))


def join_lldp(packets: socket.socket, index: int) -> None:
    """Have the interface pass LLDP's group addresses on, as long as the socket is open."""
    for group in _LLDP_GROUPS:
        _join(packets, index, _MR_MULTICAST, group)


def _join(packets: socket.socket, index: int, kind: int, group: int) -> None:
    member = struct.pack("=iHH8s", index, kind, 6, group.to_bytes(6, "big"))
    _try(packets, _SOL_PACKET, _ADD_MEMBERSHIP, member)


def _try(packets: socket.socket, level: int, option: int, value: bytes) -> bool:
    try:
        packets.setsockopt(level, option, value)
    except OSError:
        return False
    return True


class RawLink:
    """A link by packet sockets; see `netcheck.wire.link.Link` for the verbs."""

    kind = "raw"
    hears_all = True

    def __init__(
        self,
        parts: Sequence[NetworkInterface],
        sockets: list[socket.socket],
        watch: NetlinkCarrier,
        overhears: bool = False,
    ) -> None:
        self.ways: tuple[Way, ...] = tuple(part.way for part in parts)
        self.overhears = overhears
        self._sockets = sockets
        self._watch = watch
        self._clock = Clock()
        self._empty_at = [self._clock.now()] * len(sockets)  # when each queue was last seen empty
        self._descriptors = [one.fileno() for one in sockets]
        time.sleep(SETTLE)

    def now(self) -> float:
        """Seconds of CLOCK_MONOTONIC."""
        return self._clock.now()

    def send(self, frame: bytes, way: int = 0) -> float | None:
        """Send; see `Link.send`. The time is that before the call: on a short cable the reply can arrive before the
        call returns."""
        frame = padded(frame)
        at = self._clock.now()
        try:
            self._sockets[way].send(frame)
        except OSError as error:
            if error.errno == errno.ENETDOWN:
                return self._again(frame, way)
            self._check(error, way)
            return None
        return at

    def _again(self, frame: bytes, way: int) -> float | None:
        """A socket refuses one send after its interface was off, though it may be on again: try once more."""
        at = self._clock.now()
        try:
            self._sockets[way].send(frame)
        except OSError as error:
            self._check(error, way)
            return None
        return at

    def _check(self, error: OSError, way: int) -> None:
        if error.errno not in _DROPPED:
            raise link_error(error, self.ways[way].name) from error

    def receive(self, until: float) -> list[News]:
        """Wait in steps of at most 20 ms, at each of which the carrier is read."""
        while True:
            wait = max(0.0, min(until, self._watch.due) - self._clock.now())
            readable, _, _ = select.select([*self._descriptors, self._watch.descriptor], [], [], wait)
            news: list[News] = []
            if self._watch.descriptor in readable or self._watch.due <= self._clock.now():
                news.extend(self._watch.look(self._clock.now()))
            self._clock.measure()
            for way, descriptor in enumerate(self._descriptors):
                if descriptor in readable:
                    self._drain(way, news)
            if news:
                return sorted(news, key=attrgetter("at"))
            if self._clock.now() >= until:
                return []

    def _drain(self, way: int, news: list[News]) -> None:
        """Take what is queued, up to a batch. A socket reports once that its interface went; the watch tells that."""
        receive, at, earliest = self._sockets[way].recvmsg, self._clock.at, self._empty_at[way]
        try:
            for _ in range(BATCH):
                frame, extras, _, _ = receive(bpf.LONGEST, ROOM, socket.MSG_DONTWAIT)
                latest = self._clock.now()
                stamp = stamp_in(extras)
                news.append(Heard(latest if stamp is None else at(stamp, earliest, latest), way, frame))
        except OSError:
            self._empty_at[way] = self._clock.now()

    def carrier(self, way: int = 0) -> bool:
        """What the last look, at most 20 ms ago while receiving, found; looks itself where that is longer ago."""
        return self._watch.carrier(way, self._clock.now())

    def close(self) -> None:
        """Close all sockets; the kernel forgets the group memberships with them."""
        for one in self._sockets:
            one.close()
        self._watch.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
