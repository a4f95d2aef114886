"""The carrier of adapters that are removed and plugged in again, on systems that report it only on request."""

from __future__ import annotations

import pytest

from netcheck.wire.link import Carrier, NetworkInterface
from netcheck.wire.links.base import AdapterState, PolledCarrier


def adapter(index: int, name: str) -> NetworkInterface:
    """Return an interface with a cable."""
    return NetworkInterface(
        index=index, name=name, mac=1, up=True, carrier=True, ethernet=True, loopback=False, addresses=()
    )


class Computer:
    """A computer whose adapters have a state by index, and an index by name."""

    def __init__(self) -> None:
        self.states: dict[int, AdapterState] = {7: AdapterState.CABLE}
        self.indexes: dict[str, int] = {"Ethernet 3": 7}
        self.opened: list[tuple[int, int]] = []
        self.opens = True

    def reopen(self, adapter: int, index: int) -> bool:
        """Open an adapter again, if it can be opened."""
        self.opened.append((adapter, index))
        return self.opens

    def state_of(self, index: int) -> AdapterState:
        """Return the state of an adapter."""
        return self.states.get(index, AdapterState.GONE)

    def watched(self) -> PolledCarrier:
        """Return the polled carrier of the only adapter."""
        return PolledCarrier(
            [adapter(7, "Ethernet 3")],
            self.reopen,
            lambda index: self.states.get(index, AdapterState.GONE),
            self.indexes.get,
        )


def test_each_change_is_reported_once_and_within_a_second() -> None:
    """The cable is pulled and put back; the carrier is read ten times a second."""
    computer = Computer()
    watched = computer.watched()
    assert watched.changes(0.0) == []
    assert watched.due == pytest.approx(0.1)
    computer.states[7] = AdapterState.NO_CABLE
    assert watched.changes(0.1) == [Carrier(0.1, 0, False)]
    assert not watched.carrier(0, 0.15)
    assert watched.changes(0.2) == []
    computer.states[7] = AdapterState.CABLE
    assert watched.changes(0.3) == [Carrier(0.3, 0, True)]


def test_an_adapter_that_is_switched_off_is_reported_as_off() -> None:
    """While it is off, its carrier says nothing about the cable."""
    computer = Computer()
    watched = computer.watched()
    computer.states[7] = AdapterState.OFF
    assert watched.changes(1.0) == [Carrier(1.0, 0, False, off=True)]
    computer.states[7] = AdapterState.CABLE
    assert watched.changes(1.1) == [Carrier(1.1, 0, True)]


def test_an_adapter_that_is_plugged_in_again_is_opened_under_its_new_index() -> None:
    """A USB adapter is gone, is listed again with another index, and is opened once."""
    computer = Computer()
    watched = computer.watched()
    computer.states.clear()
    assert watched.changes(1.0) == [Carrier(1.0, 0, False, gone=True)]
    computer.states[9] = AdapterState.CABLE
    assert watched.changes(1.6) == []  # its name has the old index still
    computer.indexes["Ethernet 3"] = 9
    assert watched.changes(1.7) == []  # searched twice a second at most
    assert watched.changes(2.2) == [Carrier(2.2, 0, True)]
    assert computer.opened == [(0, 7), (0, 9)]


def test_an_adapter_that_cannot_be_opened_yet_stays_gone() -> None:
    """The capture driver needs a moment for a new adapter."""
    computer = Computer()
    watched = computer.watched()
    computer.states.clear()
    watched.changes(1.0)
    computer.states[7], computer.opens = AdapterState.CABLE, False
    assert watched.changes(2.0) == []
    computer.opens = True
    assert watched.changes(3.0) == [Carrier(3.0, 0, True)]
