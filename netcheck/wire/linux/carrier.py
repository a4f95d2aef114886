"""The carrier of interfaces on Linux: link events of the kernel, and a request for the state every 20 ms.

Events arrive within 2 ms, but the kernel delays a second change within about a second by up to half a second (measured,
Linux 6.18). A request takes about 11 microseconds and returns the present state.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Sequence

from netcheck.wire.link import Carrier, NetworkInterface
from netcheck.wire.linux import netlink

EVERY = 0.02  # seconds between two requests
MOST = 1000  # messages read in one call: a storm of events must not keep the caller waiting

Reopen = Callable[[int, int], bool]  # adapter and new index; returns whether the link uses the interface again


def _stays_closed(adapter: int, index: int) -> bool:
    return False


class NetlinkCarrier:
    """Knows the carrier of each adapter and reports each change once. It never raises because of an interface.

    An interface that is switched off is `off`; an interface that was removed is `gone`. If an interface with the same
    name and MAC appears later (a USB adapter that was plugged in again), `reopen` is called with its new index. When
    `reopen` returns True, the adapter is in use again.
    """

    def __init__(self, interfaces: Sequence[NetworkInterface], reopen: Reopen = _stays_closed) -> None:
        self._interfaces = tuple(interfaces)
        self._adapters = {one.index: adapter for adapter, one in enumerate(interfaces)}
        self._states = [
            Carrier(0.0, adapter, one.up and one.carrier, off=not one.up) for adapter, one in enumerate(interfaces)
        ]
        self._reopen = reopen
        self._changes: list[Carrier] = []
        self._requested_at = float("-inf")
        self._netlink = netlink.opened(netlink.LINK_EVENTS)
        self._netlink.setblocking(False)
        self.descriptor = self._netlink.fileno()

    @property
    def due(self) -> float:
        """The time of the next request, in seconds on the link's clock."""
        return float("-inf") if self._changes else self._requested_at + EVERY

    def changes(self, now: float) -> list[Carrier]:
        """Read the kernel's events, request the present state, and return the changes."""
        self._requested_at = now
        try:
            for index in self._adapters:
                netlink.ask_link(self._netlink, index)
            for state in self._states:
                if state.gone:
                    netlink.ask_link_named(self._netlink, self._interfaces[state.adapter].name)
        except OSError:
            pass  # the kernel is short of memory for a moment: the next call reports the change
        self._read(now)
        changes, self._changes = self._changes, []
        return changes

    def carrier(self, adapter: int, now: float) -> bool:
        """Return the carrier of an adapter. If a new request finds changes, the next call of `changes` returns them."""
        if now >= self._requested_at + EVERY:
            self._changes.extend(self.changes(now))
        return self._states[adapter].up

    def close(self) -> None:
        """Close the socket."""
        self._netlink.close()

    def _read(self, now: float) -> None:
        """Read the queued messages. After an overflow (ENOBUFS) the next request of the state replaces lost ones."""
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
        """Update the state of the adapter that a message describes."""
        if message.type == netlink.ERROR:
            if netlink.error_from(message).errno == errno.ENODEV:
                self._note_removed(message.sequence, now)  # the index that was requested, 0 for a name
            return
        state = netlink.link_from(message.body)
        if state is None:
            return
        if message.type == netlink.DELLINK:
            self._note_removed(state.index, now)
        elif message.type == netlink.NEWLINK:
            if state.index not in self._adapters:
                self._use_again(state)
            if state.index in self._adapters:
                adapter, up = self._adapters[state.index], state.up and state.carrier
                self._note(Carrier(now, adapter, up, off=not state.up))

    def _note_removed(self, index: int, now: float) -> None:
        adapter = self._adapters.pop(index, None)
        if adapter is not None:
            self._note(Carrier(now, adapter, up=False, gone=True))

    def _use_again(self, state: netlink.LinkState) -> None:
        """Use an interface that has the name and MAC of a removed one."""
        for adapter, known in enumerate(self._interfaces):
            if self._states[adapter].gone and (known.name, known.mac) == (state.name, state.mac):
                if self._reopen(adapter, state.index):
                    self._adapters[state.index] = adapter
                return

    def _note(self, state: Carrier) -> None:
        if state[1:] != self._states[state.adapter][1:]:
            self._states[state.adapter] = state
            self._changes.append(state)
