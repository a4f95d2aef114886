"""The base of all links on sockets of the operating system: the clock, the carrier and the receive loop.

`PolledCarrier` reports the carrier on Windows and macOS, which tell it only on request.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Sequence
from enum import Enum, auto
from operator import attrgetter
from types import TracebackType
from typing import Any, Protocol, Self

from netcheck.wire.clock import Clock, SuspendDetector
from netcheck.wire.link import Adapter, Carrier, NetworkInterface, News

BATCH = 4096  # frames read from one interface in one call: a flood must not keep the caller waiting
EVERY = 0.02  # seconds between two readings of the carrier and the clocks
POLLED_EVERY = 0.1  # the same on systems that report the carrier only on request
SEARCH_EVERY = 0.5  # seconds between two searches for an adapter that was removed; each lists all adapters


class CarrierSource(Protocol):
    """Reports carrier changes in the way that the system offers."""

    descriptor: int  # becomes readable when a carrier changes; -1 if the system has no such descriptor

    @property
    def due(self) -> float:
        """The time of the next call of `changes`, in seconds on the link's clock."""

    def changes(self, now: float) -> list[Carrier]:
        """Return the changes since the last call."""

    def carrier(self, adapter: int, now: float) -> bool:
        """Return the carrier of an interface."""

    def close(self) -> None:
        """Close the descriptor, if there is one."""


class SocketLink(ABC):
    """A link on sockets of the operating system; see `netcheck.wire.link.Link` for the methods.

    A subclass says how to wait for its sockets, how to read them and how to send.
    """

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
        """Add the frames that arrived to *news*, at most a batch for each interface, and the number of lost frames."""

    @abstractmethod
    def _close(self) -> None:
        """Close the sockets."""

    def now(self) -> float:
        """Return the seconds on the link's clock."""
        return self._clock.now()

    def receive(self, until: float) -> list[News]:
        """Wait in steps of at most 20 ms; in each step read the carrier and check for a suspend."""
        while True:
            now = self._clock.now()
            ready = self._wait(max(0.0, min(until, self._carriers.due, now + EVERY) - now))
            now = self._clock.now()
            news: list[News] = [*self._suspends.suspends(now)]
            if self._carriers.due <= now or self._carriers.descriptor in ready:
                news.extend(self._carriers.changes(now))
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


class AdapterState(Enum):
    """The state of an adapter, as the system reports it."""

    CABLE = auto()  # a cable with a live far end
    NO_CABLE = auto()
    OFF = auto()  # switched off
    GONE = auto()  # removed


class PolledCarrier:
    """Reports each change of the carrier once. An adapter that was removed is found again by its name."""

    descriptor = -1

    def __init__(
        self,
        interfaces: Sequence[NetworkInterface],
        reopen: Callable[[int, int], bool],
        state_of: Callable[[int], AdapterState],
        index_of: Callable[[str], int | None],
    ) -> None:
        """Set the three calls that depend on the system.

        `state_of` returns the state of the adapter with an index, `index_of` the index of the adapter with a name.
        `reopen(adapter, index)` opens the adapter again, and returns False if that fails.
        """
        self._names = [one.name for one in interfaces]
        self._indexes = [one.index for one in interfaces]
        self._reopen, self._state_of, self._index_of = reopen, state_of, index_of
        self._states = [Carrier(0.0, adapter, one.carrier) for adapter, one in enumerate(interfaces)]
        self._search_at = float("-inf")
        self.due = float("-inf")

    def changes(self, now: float) -> list[Carrier]:
        """Return the changes since the last call."""
        self.due = now + POLLED_EVERY
        searching = now >= self._search_at and any(state.gone for state in self._states)
        if searching:
            self._search_at = now + SEARCH_EVERY
        before = self._states
        self._states = [self._state(now, was, searching) for was in before]
        return [state for state, was in zip(self._states, before, strict=True) if state[1:] != was[1:]]

    def _state(self, now: float, was: Carrier, searching: bool) -> Carrier:
        adapter = was.adapter
        if was.gone and not (searching and self._found_again(adapter)):
            return was
        state = self._state_of(self._indexes[adapter])
        return Carrier(
            now, adapter, state is AdapterState.CABLE, gone=state is AdapterState.GONE, off=state is AdapterState.OFF
        )

    def _found_again(self, adapter: int) -> bool:
        index = self._index_of(self._names[adapter])
        if index is None or not self._reopen(adapter, index):
            return False
        self._indexes[adapter] = index
        return True

    def carrier(self, adapter: int, now: float) -> bool:
        """Return the carrier that the last call of `changes` found."""
        return self._states[adapter].up

    def close(self) -> None:
        """Do nothing: there is no descriptor to close."""
