"""The contract of a link: it sends and receives frames, reports the carrier, and has the only clock.

Implementations are the modules in `links/` and the simulated bench. A link has one or more adapters; each adapter is an
interface of this computer. Adapter 0 is the interface under test; further adapters are interfaces from which a false
reply could come. `NetworkInterface` is an interface as the operating system describes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import NamedTuple, Protocol, Self


@dataclass(frozen=True, slots=True)
class Adapter:
    """One interface that a link uses: its name, its MAC (48 bits) and its IPv4 addresses.

    The addresses are those of the operating system, as (32-bit address, prefix length).
    """

    name: str
    mac: int
    addresses: tuple[tuple[int, int], ...] = ()


class Heard(NamedTuple):
    """A frame that arrived on an adapter.

    `at` is in seconds on the link's clock: the kernel's time stamp, or the time of reading if there is no stamp.
    """

    at: float
    adapter: int
    frame: bytes


class Carrier(NamedTuple):
    """The carrier of an adapter changed (cable or far end), noticed at `at`.

    `off` is True if the interface is switched off (its administrative state is down), `gone` if it was removed. In both
    cases `up` is False and says nothing about the cable. When the interface is back, a change with `up` True may
    follow.
    """

    at: float
    adapter: int
    up: bool
    gone: bool = False
    off: bool = False


class Lost(NamedTuple):
    """The kernel dropped this many `frames` that arrived on an adapter, because the receive queue was full.

    They arrived before `at`, and after the last `receive` that emptied the queue. Their content is not known.
    """

    at: float
    adapter: int
    frames: int


class Suspended(NamedTuple):
    """The computer was suspended for `seconds`, which the link's clock does not count; noticed at `at`.

    Carrier, time stamps and timeouts that span this moment prove nothing.
    """

    at: float
    seconds: float


News = Heard | Carrier | Lost | Suspended


class Link(Protocol):
    """Sends and receives frames without interpreting them. Every error is a LinkError that says what to do."""

    kind: str  # "raw", "portable", "unprivileged" or "rig"
    adapters: tuple[Adapter, ...]
    hears_all: bool  # False if the link cannot hear a second owner of an address: no verdict above `unsettled`
    overhears: bool  # True if echo replies to other MACs than the adapter's are heard too

    def now(self) -> float:
        """Return the seconds on the link's clock, the clock of every `at`. It never goes back."""

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        """Send one Ethernet frame, padded to 60 bytes, and return the time just before the system call.

        Return None if the system did not accept the frame (interface down or removed, queue full, no memory). Such a
        frame did not leave and must not be counted as a request. A frame that the system accepted may still be lost.
        """

    def receive(self, until: float) -> Sequence[News]:
        """Wait until something arrives, or until the clock reads `until`; return everything that arrived, oldest first.

        Return an empty sequence on timeout. If `until` is in the past, return at once.
        """

    def carrier(self, adapter: int = 0) -> bool:
        """Return whether the adapter has carrier now."""

    def close(self) -> None:
        """Close everything and leave nothing configured; safe to call twice."""

    def __enter__(self) -> Self:
        """Return the link itself."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkInterface:
    """An interface of this computer.

    `up` is the administrative state; `carrier` says that a cable with a live far end is connected. `addresses` are its
    IPv4 addresses as (32-bit address, prefix length). `ethernet` is False for the loopback and for tunnels. `parent` is
    the index of the interface below a VLAN interface; `master` is the index of the bridge, bond or team that the
    interface belongs to; 0 means none. `member_of` is the kind of the master, such as "bridge". `wireless` and
    `description` (the adapter's product name) are known on Windows.
    """

    index: int
    name: str
    mac: int
    up: bool
    carrier: bool
    ethernet: bool
    loopback: bool
    addresses: tuple[tuple[int, int], ...]
    arp: bool = True
    parent: int = 0
    master: int = 0
    member_of: str = ""
    wireless: bool = False
    description: str = ""

    @property
    def state(self) -> str:
        """The state in words: switched off, with cable, or without cable."""
        return "off" if not self.up else "cable" if self.carrier else "no cable"

    @property
    def adapter(self) -> Adapter:
        """The adapter that a link makes of this interface."""
        return Adapter(self.name, self.mac, self.addresses)
