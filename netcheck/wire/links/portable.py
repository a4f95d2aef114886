"""The portable link: scapy's own sockets with raw bytes in and out, for systems other than Linux and as a cross-check.

It chooses the same frames as the raw link, by a filter of libpcap where that is there, and always by the bytes. Where
the system passes a stamp on, that is the time; else the time of reading. The carrier is read from the kernel on
Linux, from libpcap's flags elsewhere, and taken for up where libpcap does not know it. LLDP may be missed outside
Linux, since the interface is not made promiscuous for it.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from operator import attrgetter
from types import TracebackType
from typing import Any, Self

from netcheck.errors import LinkError, NetcheckError
from netcheck.text import safe
from netcheck.wire.clock import Clock
from netcheck.wire.frames import padded
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Heard, News, Way
from netcheck.wire.links.raw import BATCH, enlarge, join_lldp
from netcheck.wire.linux import bpf
from netcheck.wire.linux.carrier import CarrierSource, NetlinkCarrier
from netcheck.wire.other_systems import PolledCarrier, connected_by_libpcap
from netcheck.wire.station import found
from netcheck.wire.system_errors import link_error, on_linux

FILTER = "arp or ether proto 0x88cc or (icmp and ether dst {mac}) or udp dst port 67 or ether proto 0x8100"
EVERY = 0.02  # seconds from step to step; a step looks into every socket, since some hide frames from select
HELD_BACK = 0.5  # seconds for which libpcap may keep a frame to itself while the queue looks empty


def open_portable(interface: str, others: Sequence[str] = ()) -> PortableLink:
    """Open the interface under test as way 0 and others as further ways; LinkError where one cannot be used."""
    import scapy.layers.l2  # noqa: F401  # tells scapy's sockets what Ethernet is
    from scapy.config import conf
    from scapy.error import Scapy_Exception

    parts = [found(name) for name in (interface, *others)]
    conf.ifaces.reload()
    sockets: list[Any] = []
    try:
        for part in parts:
            sockets.append(_opened(conf.L2socket, part))
        watch = NetlinkCarrier(parts) if on_linux() else PolledCarrier(parts, connected_by_libpcap)
        return PortableLink(parts, sockets, watch)
    except (OSError, RuntimeError, ValueError, Scapy_Exception) as error:
        for one in sockets:
            one.close()
        raise _not_opened(error, parts[min(len(sockets), len(parts) - 1)].name) from error


def _not_opened(error: Exception, name: str) -> NetcheckError:
    if isinstance(error, OSError) and error.errno:
        return link_error(error, name, "portable")
    return LinkError.of(
        f"the packet library says: {safe(str(error))}",
        where=safe(name),
        do="Install libpcap (on Windows: a WinPcap-compatible driver), and run as administrator",
    )


def _opened(kind: Any, part: NetworkInterface) -> Any:
    """One scapy socket that never blocks, not promiscuous, with the kernel's filter where libpcap can build it."""
    from scapy.error import Scapy_Exception

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
        enlarge(opened.ins)
        join_lldp(opened.ins, part.index)
    return opened


class PortableLink:
    """A link by scapy's sockets; see `netcheck.wire.link.Link` for the verbs."""

    kind = "portable"
    hears_all = True
    overhears = False

    def __init__(self, parts: Sequence[NetworkInterface], sockets: list[Any], watch: CarrierSource) -> None:
        self.ways: tuple[Way, ...] = tuple(part.way for part in parts)
        self._sockets = sockets
        self._watch = watch
        self._clock = Clock()
        self._empty_at = [self._clock.now()] * len(sockets)
        # scapy's own socket for Linux gives None for a frame of ours; the others give it back, and None at the end
        self._linux = [on_linux() and not hasattr(one, "pcap_fd") for one in sockets]

    def now(self) -> float:
        """Seconds of the monotonic clock."""
        return self._clock.now()

    def send(self, frame: bytes, way: int = 0) -> float | None:
        """Send; see `Link.send`."""
        frame = padded(frame)
        at = self._clock.now()
        try:
            self._sockets[way].send(frame)
        except OSError:
            return None
        return at

    def receive(self, until: float) -> list[News]:
        """Wait in steps of at most 20 ms, at each of which the carrier is read where it is due."""
        while True:
            now = self._clock.now()
            wait = max(0.0, min(until, self._watch.due, now + EVERY) - now)
            ready = self._sockets[0].select(self._sockets, wait)
            news: list[News] = []
            if self._watch.due <= self._clock.now():
                news.extend(self._watch.look(self._clock.now()))
            self._clock.measure()
            for way in range(len(self.ways)):
                self._drain(way, news)
            if news:
                return sorted(news, key=attrgetter("at"))
            if self._clock.now() >= until:
                return []
            if ready:
                time.sleep(0.001)  # a socket that is ready without cease must not take the whole processor

    def _drain(self, way: int, news: list[News]) -> None:
        take, linux = self._sockets[way].recv_raw, self._linux[way]
        own = b"" if linux else self.ways[way].mac.to_bytes(6, "big")
        try:
            for _ in range(BATCH):
                _, frame, stamp = take()
                if (
                    frame is not None
                    and frame[6:12] != own
                    and bpf.wanted(whole := _untagged(frame), self.ways[way].mac)
                ):
                    news.append(Heard(self._time(stamp, way), way, whole))
                elif frame is None and not linux:
                    break
            else:
                return
        except OSError:  # nothing more there, or the interface went, which the watch tells
            pass
        self._empty_at[way] = self._clock.now()

    def _time(self, stamp: float | None, way: int) -> float:
        latest = self._clock.now()
        earliest = self._empty_at[way] - (0 if self._linux[way] else HELD_BACK)
        return latest if stamp is None else self._clock.at(round(stamp * 1e9), earliest, latest)

    def carrier(self, way: int = 0) -> bool:
        """The carrier as the system tells it."""
        return self._watch.carrier(way, self._clock.now())

    def close(self) -> None:
        """Close all sockets."""
        for one in self._sockets:
            one.close()
        self._watch.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _untagged(frame: bytes) -> bytes:
    """Take a tag that holds a priority only (VLAN 0) off, as the kernel does."""
    if frame[12:14] == b"\x81\x00" and len(frame) > 16 and not int.from_bytes(frame[14:16], "big") & 0x0FFF:
        return frame[:12] + frame[16:]
    return frame
