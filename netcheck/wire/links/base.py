"""What all links on sockets of the operating system share: the clock, the carrier and the receive loop."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Collection, Sequence
from operator import attrgetter
from types import TracebackType
from typing import Any, Protocol, Self

from netcheck.wire.clock import Clock, SuspendDetector
from netcheck.wire.link import Adapter, Carrier, NetworkInterface, News

BATCH = 4096  # frames taken from one interface in one call, so that a flood cannot hold the caller
EVERY = 0.02  # seconds between two looks at the carrier and the clocks


class CarrierSource(Protocol):
    """Reports carrier changes, by the means that the system has."""

    descriptor: int  # ready for reading when something changed; -1 where there is no such thing

    @property
    def due(self) -> float:
        """When to look again."""

    def look(self, now: float) -> list[Carrier]:
        """Return the changes since the last look."""

    def carrier(self, adapter: int, now: float) -> bool:
        """Return the carrier of an interface."""

    def close(self) -> None:
        """Release what it holds."""


class SocketLink(ABC):
    """A link on sockets of the operating system; see `netcheck.wire.link.Link` for the methods.

    A link adds how to wait for its sockets, how to read them and how to send."""

    kind: str
    hears_all = True
    overhears = False

    def __init__(self, interfaces: Sequence[NetworkInterface], carriers: CarrierSource) -> None:
        self.adapters: tuple[Adapter, ...] = tuple(one.adapter for one in interfaces)
        self._clock = Clock()
        self._carriers = carriers
        self._suspends = SuspendDetector()

    @abstractmethod
    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        """Send one frame."""

    @abstractmethod
    def _wait(self, seconds: float) -> Collection[Any]:
        """Wait for a socket to become readable, or for the time to pass; return what is readable."""

    @abstractmethod
    def _drain(self, ready: Collection[Any], news: list[News]) -> None:
        """Add the frames that arrived, up to a batch for each interface, and the losses."""

    @abstractmethod
    def _close(self) -> None:
        """Close the sockets."""

    def now(self) -> float:
        """Return the seconds on the link's clock."""
        return self._clock.now()

    def receive(self, until: float) -> list[News]:
        """Wait in steps of at most 20 ms; look at the carrier and for a suspend in each of them."""
        while True:
            now = self._clock.now()
            ready = self._wait(max(0.0, min(until, self._carriers.due, now + EVERY) - now))
            now = self._clock.now()
            news: list[News] = [*self._suspends.look(now)]
            if self._carriers.due <= now or self._carriers.descriptor in ready:
                news.extend(self._carriers.look(now))
            self._clock.measure()
            self._drain(ready, news)
            if news:
                return sorted(news, key=attrgetter("at"))
            if self._clock.now() >= until:
                return []

    def carrier(self, adapter: int = 0) -> bool:
        """Return the carrier as the system reports it."""
        return self._carriers.carrier(adapter, self._clock.now())

    def close(self) -> None:
        """Close the sockets; safe to call twice."""
        self._close()
        self._carriers.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
