"""Interfaces of two revisions are recognised as the same under another name."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.plan.model import Plan
from netcheck.plan.read import read_plan
from netcheck.plan.renamed import renamed_interfaces
from tests.plans import device

HEAD = 'format = 1\n[site]\nname = "x"\n[[subnet]]\nname = "s"\nprefix = "10.62.20.0/24"\n'
MAC, OTHER = "00-00-5E-00-53-01", "00-00-5E-00-53-02"


def plan(folder: Path, *devices: str) -> Plan:
    """Return a plan of these devices."""
    (folder / "plan.toml").write_text(HEAD + "".join(devices), "utf-8")
    return read_plan(folder)


def one(name: str, **values: str) -> str:
    """Return a device with one interface in the subnet."""
    return device(name, "lan", subnet="s", **values)


@pytest.mark.parametrize(
    ("before", "after", "same"),
    [
        ({"mac": MAC, "address": "10.62.20.5"}, {"mac": "00:00:5e:00:53:01", "address": "10.62.20.6"}, True),
        ({"host_name": "plc"}, {"host_name": "PLC", "mac": MAC, "address": "10.62.20.6"}, True),
        ({"address": "10.62.20.5"}, {"address": "10.62.20.5", "mac": MAC}, True),
        ({"mac": MAC, "address": "10.62.20.5"}, {"mac": OTHER, "address": "10.62.20.5"}, False),
        ({"mac": MAC, "host_name": "plc"}, {"mac": OTHER, "host_name": "plc"}, False),
        ({"address": "10.62.20.5"}, {"address": "10.62.20.6"}, False),
        ({}, {}, False),
    ],
    ids=["MAC", "host name", "address", "other MAC", "other MAC, one name", "other address", "nothing known"],
)
def test_one_mark_identifies_a_renamed_interface(
    tmp_path: Path, before: dict[str, str], after: dict[str, str], same: bool
) -> None:
    """The mark is the MAC, the host name, or address and subnet; different MACs are two devices."""
    found = renamed_interfaces(plan(tmp_path, one("a", **before)), plan(tmp_path, one("b", **after)))
    assert found == ({"a/lan": "b/lan"} if same else {})


def test_a_shared_mark_identifies_nothing(tmp_path: Path) -> None:
    """Of two devices with one address, neither is known to be the renamed one; a device that remains is not renamed."""
    copied = {"address": "10.62.20.5"}
    old = plan(tmp_path, one("a", **copied), one("b", **copied), one("kept", mac=MAC))
    now = plan(tmp_path, one("c", **copied), one("kept"), one("d", mac=MAC))
    assert renamed_interfaces(old, now) == {}
