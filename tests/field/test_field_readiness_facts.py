"""Tests of planned addresses that this computer has itself: found on every interface, and refused before the first
frame.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from netcheck.errors import LinkError
from netcheck.field.readiness_facts import demand_no_planned_address, planned_addresses_held
from tests.field.test_field_readiness import LO, PLAN, interface, ip
from tests.lab.netns import Lab

PLANNED = {ip("192.0.2.20"): "alpha/cpu", ip("192.0.2.21"): "beta/cpu"}


def test_every_interface_is_checked() -> None:
    """Interfaces that are off, without a cable, or the loopback are checked too."""
    off = interface("wlan0", 3, "198.51.100.1/24", "192.0.2.20/24", up=False, carrier=False)
    loopback = interface("lo", 1, "127.0.0.1/8", "192.0.2.21/32", ethernet=False, loopback=True)
    held = planned_addresses_held([interface("eth0", 2, "192.0.2.1/24"), off, loopback], PLANNED)
    assert [str(one) for one in held] == [
        "192.0.2.20 is planned for alpha/cpu, and this computer has it on wlan0",
        "192.0.2.21 is planned for beta/cpu, and this computer has it on lo",
    ]


def test_nothing_is_refused_without_a_planned_address() -> None:
    """Other addresses of the same subnet are no fault."""
    demand_no_planned_address([LO, interface("eth0", 2, "192.0.2.1/24")], PLANNED)


def test_each_address_is_a_problem_of_its_own() -> None:
    """Each address is a problem of its own, and the exit code is that of an interface that cannot be used."""
    with pytest.raises(LinkError) as caught:
        demand_no_planned_address([interface("eth1", 3, "192.0.2.20/24", "192.0.2.21/24")], PLANNED)
    assert len(caught.value.problems) == 2
    assert caught.value.exit_code == 3


@pytest.mark.lab
@pytest.mark.parametrize("other", ["eth1", "lo"])
@pytest.mark.parametrize(
    "words",
    [
        pytest.param(["prove", "plan", "-i", "eth0", "--hands-free", "--permit", "order 1"], id="prove"),
        pytest.param(["walk", "plan", "-i", "eth0", "--permit", "order 1", "--for", "1"], id="walk"),
        pytest.param(["identify", "-i", "eth0", "--plan", "plan", "--ask", "--for", "5s"], id="identify"),
        pytest.param(["survey", "sweep", "192.0.2.0/28", "-i", "eth0", "--plan", "plan", "--permit", "1"], id="sweep"),
    ],
)
def test_it_is_refused_before_any_frame_is_sent(field_lab: Lab, tmp_path: Path, words: list[str], other: str) -> None:
    """The message names the address, the device and the interface; the kernel counts no frame on the cable."""
    station, far = field_lab.namespace("laptop"), field_lab.namespace("far")
    field_lab.veth((station, "eth0"), (far, "eth0"))
    field_lab.veth((station, "eth1"), (far, "eth1"))
    field_lab.address(station, other, "192.0.2.20/32")
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan" / "plan.toml").write_text(PLAN, encoding="utf-8")
    count = ["cat", "/sys/class/net/eth0/statistics/tx_packets"]
    before = field_lab.run(station, count).stdout
    place = ["env", "-C", str(tmp_path), f"PYTHONPATH={Path.cwd()}"]
    done = field_lab.run(station, [*place, sys.executable, "-m", "netcheck", *words])
    assert done.returncode == 3, done.stderr
    assert f"192.0.2.20 is planned for alpha/cpu, and this computer has it on {other}" in done.stderr
    assert field_lab.run(station, count).stdout == before
    assert list(tmp_path.glob("*.jsonl")) == []
