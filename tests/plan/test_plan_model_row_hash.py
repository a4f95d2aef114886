"""Row hashes show whether a recorded proof still applies to the plan."""

from __future__ import annotations

from typing import Any

import pytest

from netcheck.addr import Address, Mac
from netcheck.plan.model import Cell, Interface, Plan, Position, row_hashes

PLACE = Position("plan.toml", "device pasteuriser-plc, interface cpu")


def cell(text: str, value: Any) -> Cell[Any]:
    """Return a cell with a value."""
    return Cell(text, value, PLACE)


CPU = Interface(
    device="pasteuriser-plc",
    name="cpu",
    subnet="process",
    position=PLACE,
    kind="controller",
    address=cell("192.0.2.61", Address.from_text("192.0.2.61")),
    mac=cell("00-00-5E-00-53-21", Mac.from_text("00-00-5E-00-53-21")),
    ports=("1", "2"),
)


def row(interface: Interface) -> str:
    """Return the hash of one interface's row."""
    plan = Plan(name="Tarn Hollow creamery", slug="tarn-hollow", folder=".", sha256="11" * 32, interfaces=(interface,))
    return row_hashes(plan)["pasteuriser-plc/cpu"]


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"address": cell("192.0.2.62", Address.from_text("192.0.2.62"))}, id="address"),
        pytest.param({"address": cell("192.0.2.061", None)}, id="unreadable"),
        pytest.param({"address": None}, id="no-address"),
        pytest.param({"mac": None}, id="no-mac"),
        pytest.param({"ports": ("1",)}, id="ports"),
        pytest.param({"kind": "drive"}, id="kind"),
        pytest.param({"host_name": cell("plc", "plc")}, id="host-name"),
        pytest.param({"switch_port": cell("sw-3/7", "sw-3/7")}, id="switch-port"),
        pytest.param({"behind": "line-panel/lan:2"}, id="behind"),
    ],
)
def test_another_value_is_another_row(changes: dict[str, Any]) -> None:
    """A changed value of the row changes its hash."""
    assert row(CPU._replace(**changes)) != row(CPU)


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"position": Position("interfaces.csv", "row 9")}, id="moved"),
        pytest.param({"mac": cell("0000.5e00.5321", Mac.from_text("0000.5e00.5321"))}, id="written-otherwise"),
        pytest.param({"granted": "site IT, 2026-10-30"}, id="granted"),
    ],
)
def test_the_same_values_are_the_same_row(changes: dict[str, Any]) -> None:
    """A moved row, another notation of a value and a grant of the site leave the hash as it is."""
    assert row(CPU._replace(**changes)) == row(CPU)
