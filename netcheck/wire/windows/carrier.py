"""The carrier of adapters on Windows, read from the system every tenth of a second."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Carrier

EVERY = 0.1  # seconds between two looks
SEARCH_EVERY = 0.5  # seconds between two searches for an adapter that was removed; each lists all adapters


class AdapterCarrier:
    """Reports each change of the carrier once. An adapter that was removed is found again by its name."""

    descriptor = -1

    def __init__(
        self,
        interfaces: Sequence[NetworkInterface],
        reopen: Callable[[int, int], bool],
        connected: Callable[[int], bool | None],
        index_of: Callable[[str], int | None],
    ) -> None:
        """`connected` returns the carrier of an index, None where nothing has it; `index_of` finds a name's index;
        `reopen(adapter, index)` opens the adapter again, and returns False if that fails."""
        self._names = [one.name for one in interfaces]
        self._indexes = [one.index for one in interfaces]
        self._reopen, self._connected, self._index_of = reopen, connected, index_of
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
        connected = self._connected(self._indexes[adapter])
        return Carrier(now, adapter, bool(connected), gone=connected is None)

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
