"""The link without rights on Windows: the system's echo and ARP requests, with the MACs from its neighbour table.

The caller passes requests as frames. `IcmpSendEcho2Ex` sends an echo request. `ResolveIpNetEntry2` sends an ARP
request, after it has deleted the cache entry; if the system has no such call, the frame does not leave. Each request
waits for its reply in its own thread. For each reply the link builds an Ethernet frame, with the identifier of the
request and the MAC of the neighbour table, or 0.

Its best verdict is `unsettled` (`hears_all` is False), because of these limits:
- It hears only the first reply to its own requests. It notices a second owner, a proxy or an announcement only if the
  neighbour table changes from one MAC to another.
- The MAC of an echo reply comes from a cache: the link may mistake a replaced device for the old one.
- A firewall on this computer can drop echo replies; the device then looks silent.
- Only the system's own addresses can be the source: an address cannot be borrowed.
- It does not hear LLDP, DHCP or the traffic between others.
"""

from __future__ import annotations

import sys

assert sys.platform == "win32", "for Windows only"

import queue  # noqa: E402  # the type checker reads the rest for Windows only
import threading  # noqa: E402
from collections.abc import Collection, Sequence  # noqa: E402

from netcheck.errors import LinkError  # noqa: E402
from netcheck.text import safe  # noqa: E402
from netcheck.wire.frames import (  # noqa: E402
    ECHO_REPLY,
    ECHO_REQUEST,
    REQUEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_reply,
    echo_from_wire,
    echo_to_wire,
)
from netcheck.wire.link import (  # noqa: E402
    Heard,
    NetworkInterface,
    News,
)
from netcheck.wire.links.base import SocketLink  # noqa: E402
from netcheck.wire.station import found  # noqa: E402
from netcheck.wire.windows import iphlpapi  # noqa: E402
from netcheck.wire.windows.adapters import carrier_of  # noqa: E402

REPLY_WITHIN = 2.0  # seconds that a thread waits for a reply; slow controllers take up to a second, by common practice
THREADS = 64  # requests that wait at the same time; further requests are not sent


def open_unprivileged(interface: str, others: Sequence[str] = ()) -> UnprivilegedWindowsLink:
    """Open the interface under test as adapter 0, and others as further adapters; raise LinkError if that fails."""
    parts = [found(name) for name in (interface, *others)]
    if not parts[0].addresses:
        raise LinkError.of(
            "it has no IPv4 address, and this link can only send from the system's own addresses",
            where=safe(interface),
            do="Give it an address in the subnet under test, or use `--link portable`, which borrows the plan's",
        )
    return UnprivilegedWindowsLink(parts)


class UnprivilegedWindowsLink(SocketLink):
    """A link that uses the system's own requests; the module's docstring lists its limits."""

    kind = "unprivileged"
    hears_all = False

    def __init__(self, parts: Sequence[NetworkInterface]) -> None:
        super().__init__(parts, carrier_of(parts, lambda adapter, index: self._moved(adapter, index)))
        self._indexes = [part.index for part in parts]
        self._addresses = [{address for address, _ in part.addresses} for part in parts]
        self._asked: queue.SimpleQueue[tuple[int, Echo | Arp] | None] = queue.SimpleQueue()
        self._heard: queue.SimpleQueue[Heard] = queue.SimpleQueue()
        self._waiting = 0  # requests that were handed to a thread and have no result yet
        self._lock = threading.Lock()
        self._threads: list[threading.Thread] = []
        self._arp = iphlpapi.offers_arp()

    def _moved(self, adapter: int, index: int) -> bool:
        """Continue with an adapter that was plugged in again and has a new index."""
        self._indexes[adapter] = index
        return True

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        """Send an echo or ARP request from an address of this adapter; see `Link.send`. None for other frames."""
        request = self._request(frame, adapter)
        if request is None or not self._reserve_thread():
            return None
        at = self._clock.now()
        self._asked.put((adapter, request))
        return at

    def _request(self, frame: bytes, adapter: int) -> Echo | Arp | None:
        echo = echo_from_wire(frame)
        if echo is not None:
            return echo if echo.type == ECHO_REQUEST and echo.source_ip in self._addresses[adapter] else None
        arp = arp_from_wire(frame) if self._arp else None
        return arp if arp is not None and arp.op == REQUEST and arp.sender_ip in self._addresses[adapter] else None

    def _reserve_thread(self) -> bool:
        """Count a request, and start a thread if all are busy; return False if `THREADS` requests wait already."""
        with self._lock:
            if self._waiting >= THREADS:
                return False
            self._waiting += 1
            if self._waiting > len(self._threads):
                thread = threading.Thread(target=self._work, daemon=True)
                self._threads.append(thread)
                thread.start()
            return True

    def _work(self) -> None:
        """Carry out requests, one after the other, until the link is closed."""
        sender = iphlpapi.EchoSender()
        while (task := self._asked.get()) is not None:
            try:
                reply = self._reply(sender, *task)
            except OSError:  # the system refused the request: it counts as one without a reply
                reply = None
            with self._lock:
                self._waiting -= 1
            if reply is not None:
                self._heard.put(Heard(self._clock.now(), task[0], reply))
        sender.close()

    def _reply(self, sender: iphlpapi.EchoSender, adapter: int, request: Echo | Arp) -> bytes | None:
        """Send one request, wait, and return the reply as a frame."""
        if isinstance(request, Echo):
            answer = sender.ask(request.source_ip, request.target_ip, request.payload, REPLY_WITHIN)
            if answer is None:
                return None
            mac = iphlpapi.neighbours(self._indexes[adapter]).get(request.target_ip, 0)
            ttl, payload = answer
            return echo_to_wire(
                Echo(
                    destination=self.adapters[adapter].mac,
                    source=mac,
                    source_ip=request.target_ip,
                    target_ip=request.source_ip,
                    ttl=ttl,
                    type=ECHO_REPLY,
                    identifier=request.identifier,
                    sequence=request.sequence,
                    payload=payload,
                )
            )
        try:
            found_mac = iphlpapi.resolved_mac(self._indexes[adapter], request.sender_ip, request.target_ip)
        except iphlpapi.NotOffered:
            self._arp = False
            return None
        return (
            None
            if found_mac is None
            else arp_reply(found_mac, request.target_ip, self.adapters[adapter].mac, request.sender_ip)
        )

    def _wait(self, seconds: float) -> Collection[Heard]:
        try:
            return [self._heard.get(timeout=seconds)] if seconds > 0 else [self._heard.get_nowait()]
        except queue.Empty:
            return []

    def _drain(self, ready: Collection[Heard], news: list[News]) -> None:
        news.extend(ready)
        while not self._heard.empty():
            news.append(self._heard.get_nowait())

    def _close(self) -> None:
        """Tell the threads to end after their present request; the program does not wait for them."""
        for _ in self._threads:
            self._asked.put(None)
        self._threads.clear()
