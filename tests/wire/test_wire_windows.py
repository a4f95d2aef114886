"""The sizes of the structures of Windows. tests/windows holds all other tests of the Windows code."""

from __future__ import annotations

import ctypes

import pytest

from netcheck.wire.windows import structures


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
    """The sizes on 64-bit Windows, as a C compiler gives them with the Windows headers."""
    assert ctypes.sizeof(structure) == size
