"""The raw link of Linux: packet sockets, with a filter and time stamps in the kernel and the carrier from netlink.

It needs CAP_NET_RAW. It is promiscuous only if it is opened to overhear or to listen, and leaves nothing configured. If
an interface is switched off or removed during a run, the link reports a carrier change and raises no error.
"""

from __future__ import annotations

import errno
import select
import socket
import time
from collections.abc import Collection, Sequence

from netcheck.wire.frames import padded
from netcheck.wire.link import Heard, Lost, NetworkInterface, News
from netcheck.wire.links.base import BATCH, SocketLink
from netcheck.wire.linux import bpf
from netcheck.wire.linux.carrier import NetlinkCarrier
from netcheck.wire.linux.packet_socket import STAMP_ROOM, dropped_since, open_packet_socket, stamp_in
from netcheck.wire.station import found
from netcheck.wire.system_errors import link_error, needs_linux, on_linux

SETTLE = 0.02  # seconds until the kernel stamps frames on arrival: it starts stamping in the background

# The frame did not leave: the interface is off or removed, its queue stays full, or there is no memory for it.
_NOT_SENT = frozenset(
    {errno.ENETDOWN, errno.ENXIO, errno.ENODEV, errno.EAGAIN, errno.ENOBUFS, errno.ENOMEM, errno.EIO, errno.EINVAL}
)


def open_raw(interface: str, others: Sequence[str] = (), *, overhears: bool = False, listens: bool = False) -> RawLink:
    """Open the interface under test as adapter 0, and others as further adapters; raise LinkError if that fails.

    With `overhears` adapter 0 also hears echo replies to other MACs; this is useful on a direct cable only. With
    `listens` every adapter hears all traffic on its cable.
    """
    if not on_linux():
        raise needs_linux("raw")
    interfaces = [found(name) for name in (interface, *others)]
    link = RawLink(interfaces, overhears, listens)
    try:
        link.open()
    except OSError as error:
        link.close()
        raise link_error(error, link.opening) from error
    return link


class RawLink(SocketLink):
    """A link that uses packet sockets."""

    kind = "raw"

    def __init__(self, interfaces: Sequence[NetworkInterface], overhears: bool = False, listens: bool = False) -> None:
        super().__init__(interfaces, NetlinkCarrier(interfaces, self._reopen))
        self.overhears = overhears
        self.opening = ""  # the interface that is being opened, for the message if that fails
        self._listens = listens
        self._indexes = [one.index for one in interfaces]
        self._sockets: list[socket.socket] = []
        self._descriptors: list[int] = []
        self._empty_at: list[float] = []  # when each queue was last seen empty

    def open(self) -> None:
        """Open all sockets; raise OSError if one cannot be opened."""
        for adapter, index in enumerate(self._indexes):
            self.opening = self.adapters[adapter].name
            self._sockets.append(self._opened(adapter, index))
            self._descriptors.append(self._sockets[adapter].fileno())
            self._empty_at.append(self._clock.now())
        time.sleep(SETTLE)

    def _opened(self, adapter: int, index: int) -> socket.socket:
        overhears = self.overhears and adapter == 0
        program = bpf.listening_program() if self._listens else bpf.program(self.adapters[adapter].mac, overhears)
        return open_packet_socket(self.adapters[adapter].name, index, program, promiscuous=overhears or self._listens)

    def _reopen(self, adapter: int, index: int) -> bool:
        """Open the socket of an interface that was removed and is back; return False if that fails."""
        try:
            opened = self._opened(adapter, index)
        except OSError:
            return False
        self._sockets[adapter].close()
        self._sockets[adapter], self._descriptors[adapter] = opened, opened.fileno()
        return True

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        """Send; see `Link.send`.

        Return the time before the call: on a short cable the reply can arrive before the call returns.
        """
        frame = padded(frame)
        for _ in range(2):  # after its interface was off, a socket refuses one send, even if the interface is on again
            at = self._clock.now()
            try:
                self._sockets[adapter].send(frame)
                return at
            except OSError as error:
                if error.errno not in _NOT_SENT:
                    raise link_error(error, self.adapters[adapter].name) from error
                if error.errno != errno.ENETDOWN:
                    break
        return None

    def _wait(self, seconds: float) -> Collection[int]:
        return select.select([*self._descriptors, self._carriers.descriptor], [], [], seconds)[0]

    def _drain(self, ready: Collection[int], news: list[News]) -> None:
        for adapter, descriptor in enumerate(self._descriptors):
            if descriptor in ready:
                self._read(adapter, self._sockets[adapter], news)

    def _read(self, adapter: int, packets: socket.socket, news: list[News]) -> None:
        """Read the queued frames, at most a batch, and the drop count.

        A socket reports an error once when its interface goes down; the error is ignored, because the carrier shows the
        same.
        """
        receive, at, earliest = packets.recvmsg, self._clock.at, self._empty_at[adapter]
        try:
            for _ in range(BATCH):
                frame, ancillary, _, _ = receive(bpf.LONGEST, STAMP_ROOM, socket.MSG_DONTWAIT)
                latest = self._clock.now()
                stamp = stamp_in(ancillary)
                news.append(Heard(latest if stamp is None else at(stamp, earliest, latest), adapter, frame))
        except OSError:
            self._empty_at[adapter] = self._clock.now()
        if dropped := dropped_since(packets):
            news.append(Lost(self._clock.now(), adapter, dropped))

    def _close(self) -> None:
        """Close all sockets; the kernel ends the group memberships with them."""
        for one in self._sockets:
            one.close()
