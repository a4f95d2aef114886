"""The plans that ship with netcheck can be read and have the content that they claim."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.addr import Mac, Prefix
from netcheck.plan.model import Plan
from netcheck.plan.read import read_plan
from netcheck.survey.read import read_surveys

PLANS = Path(__file__).parents[2] / "plans"
# RFC 7042 section 2.1.2: 00-00-5E-00-53-00 to -FF are for documentation. RFC 1918 section 3: 10/8 is private.
DOCUMENTATION = range(Mac.from_text("00-00-5E-00-53-00").value, Mac.from_text("00-00-5E-00-53-FF").value + 1)
PRIVATE = Prefix.from_text("10.0.0.0/8")


@pytest.fixture(params=["tarn-hollow", "tarn-hollow-mended"])
def plan(request: pytest.FixtureRequest) -> Plan:
    """Return each of the two plans."""
    return read_plan(PLANS / request.param)


def test_it_has_the_size_of_a_small_plant(plan: Plan) -> None:
    """It has about 25 interfaces in three subnets, two-port controllers, and a station in every subnet."""
    assert len(plan.subnets) == 3
    assert 20 <= len(plan.interfaces) <= 30
    assert sum(interface.ports == ("1", "2") for interface in plan.interfaces) >= 5
    prefixes = [subnet.prefix.value for subnet in plan.subnets]
    stations = [station.address.value for station in plan.stations]
    assert all(any(p.holds(s.address) for s in stations if s) for p in prefixes if p)
    assert plan.routers
    assert plan.conversations


def test_its_addresses_and_macs_belong_to_nobody(plan: Plan) -> None:
    """Only private addresses and documentation MACs occur, in the plan and in its surveys."""
    addresses = [one.address.value for one in plan.interfaces if one.address and one.address.value]
    macs = [one.mac.value for one in plan.interfaces if one.mac and one.mac.value]
    for survey in read_surveys(plan):
        addresses += [host.address for host in survey.hosts]
        macs += [host.mac for host in survey.hosts if host.mac]
        assert survey.skipped.count == survey.unread.count == survey.addressless.count == 0
    assert all(map(PRIVATE.holds, addresses))
    assert all(mac.value in DOCUMENTATION for mac in macs)


def test_both_are_the_same_plant() -> None:
    """The corrected plan has the same interfaces, ports and conversations."""
    draft, mended = (read_plan(PLANS / name) for name in ("tarn-hollow", "tarn-hollow-mended"))
    assert [(one.subject, one.ports) for one in draft.interfaces] == [
        (one.subject, one.ports) for one in mended.interfaces
    ]
    assert [(one.source, one.target) for one in draft.conversations] == [
        (one.source, one.target) for one in mended.conversations
    ]


def test_only_the_mended_one_is_complete() -> None:
    """Every interface of the corrected plan has a readable address inside its subnet."""
    for interface in read_plan(PLANS / "tarn-hollow-mended").interfaces:
        assert interface.address is not None
        assert interface.address.value is not None
    draft = read_plan(PLANS / "tarn-hollow").interfaces
    assert sum(one.address is None or one.address.value is None for one in draft) == 2
