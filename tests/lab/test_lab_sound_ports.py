"""Ports that deserve a proof although something is unusual: `prove` and `walk` must call them `proven`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from tests.lab.commands import Result
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.lab.plants import odd, sound
from tests.lab.plants.usual import pair
from tests.lab.scenarios import PORT, Expected, Scenario, ScenarioResult, one, prove
from tests.lab.traffic_rules import violations
from tests.lab.walks import Walk, WalkResult, as_job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(900)]
BETA = "beta/cpu:1"

SOUND: tuple[Scenario, ...] = (
    Scenario(
        "boots for 75 s after the plug, keyed", sound.boots_after_each_plug(75), one("proven"), keys=True, lasts=120
    ),
    Scenario("boots for 75 s after the plug, hands-free", sound.boots_after_each_plug(75), one("proven"), lasts=240),
    Scenario("ARP replies to the broadcast address", odd.odd(broadcasts=True), one("proven"), lasts=60),
    Scenario("a host that is not listed has a control address", sound.unlisted_control, one("proven"), lasts=60),
    Scenario(
        "two interfaces behind one direct cable",
        sound.two_interfaces,
        Expected({PORT: "proven", "alpha/hmi:1": "proven"}),
        ("--direct",),
        direct=True,
        macs=False,
        lasts=60,
    ),
    Scenario("interface down for a moment", sound.interface_down_for_a_moment, one("proven"), lasts=60),
    Scenario(
        "forty planned devices are absent",
        sound.many_absent,
        one("proven"),
        lasts=90,
    ),
)


@pytest.mark.parametrize(
    ("job", "scenario"),
    [pytest.param(Job(case.name, partial(prove, case), case.lasts), case, id=case.name) for case in SOUND],
)
def test_sound_ports_are_proven(job: Job, scenario: Scenario, outcome: ScenarioResult) -> None:
    """Every port is proven, and the station keeps to the addresses and the rate that a plant network tolerates."""
    ended = outcome.ended
    print(f"{scenario.name:50} {ended.ended - ended.began:6.1f} s  {ended.verdicts}")
    assert ended.verdicts == scenario.expected.verdicts, ended.text
    assert ended.code == 0
    assert violations(outcome.frames, outcome.planned, scenario.limits) == []


@dataclass(frozen=True)
class Exchanged:
    """Two runs into one record: before and after the addresses of the two devices were exchanged."""

    first: Result
    second: Result
    verified: Result


def exchange(lab: Lab, folder: Path) -> Exchanged:
    """Prove two devices without planned MACs, exchange their addresses, and prove both again into the same record."""
    plant = Plant(lab, folder)
    alpha, beta = pair(plant)
    plant.plan(macs=False)
    first = plant.start(keys=True).end()
    for device, other in ((alpha, beta), (beta, alpha)):
        lab.run(device.namespace, ["ip", "addr", "flush", "dev", "eth0"])
        lab.address(device.namespace, "eth0", f"{other.address}/24")
    alpha.namespace, beta.namespace = beta.namespace, alpha.namespace
    second = plant.start("--only", "alpha/cpu", "--only", "beta/cpu", "--again", keys=True).end()
    return Exchanged(first, second, plant.verify())


@pytest.mark.parametrize("job", [Job("addresses exchanged between two runs", exchange, 100)], ids=str)
def test_exchanged_devices_are_proven_again(job: Job, outcome: Exchanged) -> None:
    """An earlier proof with a MAC does not make the port `swapped` in a later run."""
    both = {PORT: "proven", BETA: "proven"}
    assert outcome.first.verdicts == both, outcome.first.text
    assert outcome.second.verdicts == both, outcome.second.text
    assert outcome.verified.code == 0


IN_ORDER = ("--in-order", "--for", "200")
WALKS: tuple[Walk, ...] = (
    Walk(
        "walk with keys: no MAC in the plan",
        ("alpha", "beta"),
        {"alpha": "proven", "beta": "proven"},
        words=("--for", "200"),
        numbered=True,
        macs=False,
        lasts=120,
    ),
    Walk(
        "walk in order: no MAC in the plan",
        (),
        {"alpha": "proven", "beta": "proven"},
        words=IN_ORDER,
        macs=False,
        lasts=120,
    ),
)


@pytest.mark.parametrize(("job", "case"), [pytest.param(as_job(case), case, id=case.name) for case in WALKS])
def test_walk_without_planned_macs(job: Job, case: Walk, outcome: WalkResult) -> None:
    """An announced order or a typed number is evidence of the connector: ports without a planned MAC are proven."""
    ended = outcome.ended
    print(f"{case.name:50} {ended.ended - ended.began:6.1f} s  {ended.verdicts}")
    assert ended.verdicts == {f"{name}/cpu:1": verdict for name, verdict in case.verdicts.items()}, ended.text
    assert ended.code == 0
    assert violations(outcome.frames, outcome.planned) == []
