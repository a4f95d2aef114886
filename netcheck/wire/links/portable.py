"""The portable link: raw bytes through scapy's own sockets, for systems other than Linux and as a cross-check.

It selects the same frames as the raw link: by a filter of libpcap if that is available, and always by the bytes. The
time of a frame is the system's time stamp if there is one, otherwise the time of reading. On Windows it is always the
time of reading, because capture drivers there use their own clock, which drifts from the system's clock. The carrier
comes from netlink on Linux, and from the adapter's state on other systems. Outside Linux the link may miss LLDP frames,
because it does not make the interface promiscuous.
"""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Collection, Sequence
from typing import Any

from netcheck.errors import LinkError, NetcheckError
from netcheck.text import safe
from netcheck.wire.frames import padded
from netcheck.wire.link import Heard, Lost, NetworkInterface, News
from netcheck.wire.links.base import BATCH, CarrierSource, SocketLink
from netcheck.wire.linux import bpf
from netcheck.wire.linux.carrier import NetlinkCarrier
from netcheck.wire.linux.packet_socket import dropped_since, enlarge_buffer, join_lldp_groups
from netcheck.wire.station import found
from netcheck.wire.system_errors import link_error, on_linux

FILTER = "arp or ether proto 0x88cc or (icmp and ether dst {mac}) or udp dst port 67 or ether proto 0x8100"
STAMPS_FIT: bool = sys.platform != "win32"
HELD_BACK = 0.5  # seconds for which libpcap may hold a frame back while the queue looks empty


def open_portable(interface: str, others: Sequence[str] = ()) -> PortableLink:
    """Open the interface under test as adapter 0, and others as further adapters; raise LinkError if that fails."""
    import scapy.layers.l2  # noqa: F401  # tells scapy's sockets what Ethernet is
    from scapy.config import conf
    from scapy.error import Scapy_Exception

    # otherwise its warnings about a removed adapter appear on top of the screen
    logging.getLogger("scapy.runtime").setLevel(logging.CRITICAL)
    interfaces = [found(name) for name in (interface, *others)]
    try:
        conf.ifaces.reload()
    except (OSError, RuntimeError, ValueError, Scapy_Exception) as error:
        raise _not_opened(error, interface) from error
    _demand_driver([one.name for one in interfaces])
    link = PortableLink(interfaces)
    try:
        link.open()
    except (OSError, RuntimeError, ValueError, Scapy_Exception) as error:
        link.close()
        raise _not_opened(error, link.opening) from error
    return link


def _demand_driver(names: Sequence[str]) -> None:
    """Raise LinkError if Windows has no capture driver, or if the driver does not show an interface."""
    if sys.platform == "win32":
        from netcheck.wire.windows.packet_driver import why_not

        for name in names:
            if problem := why_not(name):
                raise LinkError(problem)


def _not_opened(error: Exception, name: str) -> NetcheckError:
    """Return the LinkError for an error of scapy or of the system on opening a socket."""
    said = safe(str(error))
    if sys.platform == "win32":
        from netcheck.wire.windows.packet_driver import why_not_opened

        return LinkError(why_not_opened(name, said))
    elif isinstance(error, OSError) and error.errno:  # noqa: RET505  # the type checker judges branches by system
        return link_error(error, name, "portable")
    else:
        what = f"the packet library says: {said}"
        do = "Run it with `sudo`" if sys.platform == "darwin" else "Install libpcap, and run as root"
        return LinkError.of(what, where=safe(name), do=do)


class PortableLink(SocketLink):
    """A link that uses scapy's sockets."""

    kind = "portable"

    def __init__(self, interfaces: Sequence[NetworkInterface]) -> None:
        super().__init__(interfaces, self._carrier_source(interfaces))
        self.opening = ""  # the interface that is being opened, for the message if that fails
        self._interfaces = list(interfaces)
        self._sockets: list[Any] = []
        self._dropped: list[int] = []  # by libpcap or BPF, counted since the socket was opened
        self._empty_at: list[float] = []

    def _carrier_source(self, interfaces: Sequence[NetworkInterface]) -> CarrierSource:
        """Return the object that reports the carrier on this system."""
        if sys.platform == "win32":
            from netcheck.wire.windows.adapters import carrier_of

            return carrier_of(interfaces, self._reopen)
        elif sys.platform == "linux":  # noqa: RET505  # the type checker judges the branches by system
            return NetlinkCarrier(interfaces, self._reopen)
        else:
            from netcheck.wire.macos import carrier_of

            return carrier_of(interfaces, self._reopen)

    def open(self) -> None:
        """Open all sockets; raise the error of the system or of scapy if one cannot be opened."""
        for one in self._interfaces:
            self.opening = one.name
            self._sockets.append(_opened(one, one.index))
            self._dropped.append(0)
            self._empty_at.append(self._clock.now())

    def _reopen(self, adapter: int, index: int) -> bool:
        """Open the socket of an interface that was removed and is back; return False if that fails."""
        from scapy.config import conf
        from scapy.error import Scapy_Exception

        try:
            conf.ifaces.reload()
            opened = _opened(self._interfaces[adapter], index)
        except (OSError, RuntimeError, ValueError, Scapy_Exception):
            return False
        self._sockets[adapter].close()
        self._sockets[adapter], self._dropped[adapter] = opened, 0
        return True

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        """Send; see `Link.send`."""
        frame = padded(frame)
        at = self._clock.now()
        try:
            sent = self._sockets[adapter].send(frame)
        except OSError:
            return None
        return None if sent is not None and sent < 0 else at  # libpcap returns -1 instead of an error

    def _wait(self, seconds: float) -> Collection[Any]:
        ready: Collection[Any] = self._sockets[0].select(self._sockets, seconds)
        return ready

    def _drain(self, ready: Collection[Any], news: list[News]) -> None:
        """Read every socket, because `select` does not report all frames of some of them."""
        for adapter in range(len(self._sockets)):
            self._read(adapter, news)
        if ready and not news:
            time.sleep(0.001)  # a socket that is always ready must not use the whole processor

    def _read(self, adapter: int, news: list[News]) -> None:
        """Read the queued frames, at most a batch, and the drop count.

        scapy's own socket for Linux returns None for a frame that this computer sent; the other sockets return that
        frame, and None at the end of the queue.
        """
        socket, ours = self._sockets[adapter], self.adapters[adapter].mac.to_bytes(6, "big")
        native = _native(socket)
        try:
            for _ in range(BATCH):
                _, frame, stamp = socket.recv_raw()
                if frame is not None and (native or frame[6:12] != ours):
                    whole = _untagged(frame)
                    if bpf.wanted(whole, self.adapters[adapter].mac):
                        news.append(Heard(self._time(stamp, adapter, native), adapter, whole))
                elif frame is None and not native:
                    self._empty_at[adapter] = self._clock.now()
                    break
        except OSError:  # the queue is empty, or the interface is gone, which the carrier shows
            self._empty_at[adapter] = self._clock.now()
        if dropped := self._dropped_now(adapter):
            news.append(Lost(self._clock.now(), adapter, dropped))

    def _dropped_now(self, adapter: int) -> int:
        """Return how many frames the system dropped since the last call; 0 if it does not report them."""
        socket = self._sockets[adapter]
        if _native(socket):
            return dropped_since(socket.ins)
        before, self._dropped[adapter] = self._dropped[adapter], _dropped_since_opening(socket)
        return max(0, self._dropped[adapter] - before)

    def _time(self, stamp: float | None, adapter: int, native: bool) -> float:
        latest = self._clock.now()
        if stamp is None or not STAMPS_FIT:
            return latest
        earliest = self._empty_at[adapter] - (0 if native else HELD_BACK)
        return self._clock.at(round(stamp * 1e9), earliest, latest)

    def _close(self) -> None:
        for one in self._sockets:
            one.close()


def _opened(part: NetworkInterface, index: int) -> Any:
    """Return a scapy socket that never blocks, not promiscuous, with the kernel's filter if libpcap can build it."""
    from scapy.config import conf
    from scapy.error import Scapy_Exception

    kind = conf.L2socket
    try:
        chosen = FILTER.format(mac=part.mac.to_bytes(6, "big").hex(":"))
        opened = kind(iface=part.name, promisc=False, filter=chosen)
    except (Scapy_Exception, ImportError):
        opened = kind(iface=part.name, promisc=False)
    if hasattr(opened, "pcap_fd"):
        opened.pcap_fd.setnonblock(True)
    elif hasattr(opened, "set_nonblock"):
        opened.set_nonblock(True)
    else:
        opened.ins.setblocking(False)
        enlarge_buffer(opened.ins)
        join_lldp_groups(opened.ins, index)
    return opened


def _native(socket: Any) -> bool:
    """Return whether this is scapy's own packet socket of Linux."""
    return on_linux() and not hasattr(socket, "pcap_fd")


def _dropped_since_opening(socket: Any) -> int:
    """Return how many frames libpcap, or the BPF device of macOS, dropped since the socket was opened.

    Return 0 if they do not report it.
    """
    if not hasattr(socket, "pcap_fd"):
        return int(socket.get_stats()[1] or 0) if hasattr(socket, "get_stats") else 0
    from ctypes import byref

    from scapy.libs.winpcapy import pcap_stat, pcap_stats

    counted = pcap_stat()
    if pcap_stats(socket.pcap_fd.pcap, byref(counted)) != 0:
        return 0
    return int(counted.ps_drop)


def _untagged(frame: bytes) -> bytes:
    """Remove a tag that holds only a priority (VLAN 0), as the kernel does."""
    if frame[12:14] == b"\x81\x00" and len(frame) > 16 and not int.from_bytes(frame[14:16], "big") & 0x0FFF:
        return frame[:12] + frame[16:]
    return frame
