"""What is pure of the Windows part: the carrier of adapters that come and go. The rest is tested in tests/windows."""

from __future__ import annotations

import ctypes

import pytest

from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Carrier
from netcheck.wire.windows import structures
from netcheck.wire.windows.carrier import AdapterCarrier


def adapter(index: int, name: str) -> NetworkInterface:
    """An interface with a cable."""
    return NetworkInterface(
        index=index, name=name, mac=1, up=True, carrier=True, ethernet=True, loopback=False, addresses=()
    )


class Computer:
    """A computer whose adapters have a carrier by index, and an index by name."""

    def __init__(self) -> None:
        self.carriers: dict[int, bool] = {7: True}
        self.indexes: dict[str, int] = {"Ethernet 3": 7}
        self.opened: list[tuple[int, int]] = []
        self.opens = True

    def reopen(self, adapter: int, index: int) -> bool:
        """Open an adapter again, if it can be opened."""
        self.opened.append((adapter, index))
        return self.opens

    def watched(self) -> AdapterCarrier:
        """The carrier of the one adapter."""
        return AdapterCarrier([adapter(7, "Ethernet 3")], self.reopen, self.carriers.get, self.indexes.get)


def test_each_change_is_reported_once_and_within_a_second() -> None:
    """The cable is pulled and put back; a look is due ten times a second."""
    computer = Computer()
    watched = computer.watched()
    assert watched.look(0.0) == []
    assert watched.due == pytest.approx(0.1)
    computer.carriers[7] = False
    assert watched.look(0.1) == [Carrier(0.1, 0, False)]
    assert not watched.carrier(0, 0.15)
    assert watched.look(0.2) == []
    computer.carriers[7] = True
    assert watched.look(0.3) == [Carrier(0.3, 0, True)]


def test_an_adapter_that_is_plugged_in_again_is_opened_under_its_new_index() -> None:
    """A USB adapter is gone, is listed again with another index, and is opened once."""
    computer = Computer()
    watched = computer.watched()
    computer.carriers.clear()
    assert watched.look(1.0) == [Carrier(1.0, 0, False, gone=True)]
    computer.carriers[9] = True
    assert watched.look(1.6) == []  # its name has the old index still
    computer.indexes["Ethernet 3"] = 9
    assert watched.look(1.7) == []  # searched twice a second at most
    assert watched.look(2.2) == [Carrier(2.2, 0, True)]
    assert computer.opened == [(0, 7), (0, 9)]


def test_an_adapter_that_cannot_be_opened_yet_stays_gone() -> None:
    """The capture driver needs a moment for a new adapter."""
    computer = Computer()
    watched = computer.watched()
    computer.carriers.clear()
    watched.look(1.0)
    computer.carriers[7], computer.opens = True, False
    assert watched.look(2.0) == []
    computer.opens = True
    assert watched.look(3.0) == [Carrier(3.0, 0, True)]


@pytest.mark.parametrize(
    ("structure", "size"),
    [
        pytest.param(structures.AdapterRow, 1352, id="MIB_IF_ROW2"),
        pytest.param(structures.NeighbourRow, 88, id="MIB_IPNET_ROW2"),
        pytest.param(structures.RouteRow, 104, id="MIB_IPFORWARD_ROW2"),
        pytest.param(structures.EchoReply, 40, id="ICMP_ECHO_REPLY"),
    ],
)
def test_structures_have_the_size_of_windows(structure: type[ctypes.Structure], size: int) -> None:
    """Sizes on 64-bit Windows, as a C compiler with the Windows headers has them."""
    assert ctypes.sizeof(structure) == size
