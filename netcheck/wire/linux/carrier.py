"""Watching the carrier of interfaces on Linux: link events of the kernel, and beside them a look every 20 ms.

Events arrive within 2 ms, but the kernel holds a second change within about a second back by up to half a second; a
look costs some 11 microseconds and shows the cable itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Carrier
from netcheck.wire.linux import netlink

EVERY = 0.02  # seconds from look to look
MOST = 1000  # messages taken in one look, so that a storm of events cannot hold the caller


class CarrierSource(Protocol):
    """What tells carrier changes, by whatever way the system has."""

    @property
    def due(self) -> float:
        """When to look again."""

    def look(self, now: float) -> list[Carrier]:
        """Return what has changed."""

    def carrier(self, way: int, now: float) -> bool:
        """The carrier of a way."""

    def close(self) -> None:
        """Give back what it holds."""


class NetlinkCarrier:
    """Knows the carrier of each way, and reports each change once. Never raises because of an interface."""

    def __init__(self, parts: Sequence[NetworkInterface]) -> None:
        self._ways = {part.index: way for way, part in enumerate(parts)}
        self._states = [Carrier(0.0, way, part.up and part.carrier, not part.up) for way, part in enumerate(parts)]
        self._removed: set[int] = set()  # for good: a later interface may get the same index
        self._changes: list[Carrier] = []
        self._looked_at = float("-inf")
        self._netlink = netlink.opened(netlink.LINK_EVENTS)
        self._netlink.setblocking(False)
        self.descriptor = self._netlink.fileno()

    @property
    def due(self) -> float:
        """When to look again."""
        return float("-inf") if self._changes else self._looked_at + EVERY

    def look(self, now: float) -> list[Carrier]:
        """Take the kernel's events, ask for the state of now, and return what has changed."""
        self._looked_at = now
        for index in self._ways.keys() - self._removed:
            self._ask(index)
        self._read(now)
        changes, self._changes = self._changes, []
        return changes

    def carrier(self, way: int, now: float) -> bool:
        """The carrier of a way; what a fresh look changes is kept for `look` to return."""
        if now >= self._looked_at + EVERY:
            self._changes.extend(self.look(now))
        return self._states[way].up

    def close(self) -> None:
        """Close the socket."""
        self._netlink.close()

    def _ask(self, index: int) -> None:
        try:
            netlink.ask_link(self._netlink, index)
        except OSError:
            return  # the kernel is short of memory for a moment: the next look tells

    def _read(self, now: float) -> None:
        """Read what is queued. Where the queue overflowed (ENOBUFS), the state asked for next makes up for it."""
        for _ in range(MOST):
            try:
                data = self._netlink.recv(1 << 16)
            except BlockingIOError:
                return
            except OSError:
                continue
            for message in netlink.messages(data):
                self._take(message, now)

    def _take(self, message: netlink.Message, now: float) -> None:
        if message.type == netlink.ERROR:
            self._note(message.sequence, now, up=False, removed=True)
            return
        state = netlink.link_from(message.body)
        if state is None or message.type not in (netlink.NEWLINK, netlink.DELLINK):
            return
        removed = message.type == netlink.DELLINK
        self._note(state.index, now, up=state.up and state.carrier, off=not state.up, removed=removed)

    def _note(self, index: int, now: float, *, up: bool, off: bool = False, removed: bool = False) -> None:
        if index not in self._ways or index in self._removed:
            return
        if removed:
            self._removed.add(index)
        way = self._ways[index]
        state = Carrier(now, way, up and not removed, off or removed)
        if (state.up, state.gone) != (self._states[way].up, self._states[way].gone):
            self._states[way] = state
            self._changes.append(state)
