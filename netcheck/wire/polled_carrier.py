"""The carrier of adapters on systems that report it only on request: Windows and macOS."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import Enum, auto

from netcheck.wire.link import Carrier, NetworkInterface

EVERY = 0.1  # seconds between two looks
SEARCH_EVERY = 0.5  # seconds between two searches for an adapter that was removed; each lists all adapters


class Plug(Enum):
    """What the system says of an adapter."""

    CABLE = auto()  # a cable with a live far end
    NO_CABLE = auto()
    OFF = auto()  # switched off
    GONE = auto()  # not there


class PolledCarrier:
    """Reports each change of the carrier once. An adapter that was removed is found again by its name."""

    descriptor = -1

    def __init__(
        self,
        interfaces: Sequence[NetworkInterface],
        reopen: Callable[[int, int], bool],
        plug: Callable[[int], Plug],
        index_of: Callable[[str], int | None],
    ) -> None:
        """`plug` returns the state of the adapter with an index; `index_of` finds a name's index;
        `reopen(adapter, index)` opens the adapter again, and returns False if that fails."""
        self._names = [one.name for one in interfaces]
        self._indexes = [one.index for one in interfaces]
        self._reopen, self._plug, self._index_of = reopen, plug, index_of
        self._states = [Carrier(0.0, adapter, one.carrier) for adapter, one in enumerate(interfaces)]
        self._search_at = float("-inf")
        self.due = float("-inf")

    def look(self, now: float) -> list[Carrier]:
        """Return the changes since the last look."""
        self.due = now + EVERY
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
        plug = self._plug(self._indexes[adapter])
        return Carrier(now, adapter, plug is Plug.CABLE, gone=plug is Plug.GONE, off=plug is Plug.OFF)

    def _found_again(self, adapter: int) -> bool:
        index = self._index_of(self._names[adapter])
        if index is None or not self._reopen(adapter, index):
            return False
        self._indexes[adapter] = index
        return True

    def carrier(self, adapter: int, now: float) -> bool:
        """Return what the last look found."""
        return self._states[adapter].up

    def close(self) -> None:
        """Nothing is held."""
