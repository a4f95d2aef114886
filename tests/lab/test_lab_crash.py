"""Kills a run in the middle, like an empty battery, and checks the record and the run that continues it."""

from __future__ import annotations

import hashlib
import json
import time
from collections import Counter
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tests.lab.commands import Result
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
PORTS = ("alpha/cpu:1", "beta/cpu:1", "gamma/cpu:1")
LONGEST = 28.0  # seconds that one port takes; a later kill would hit the next port
NEW_MAC_ROW = '  mac = "00-00-5E-00-53-15"\n'


@dataclass(frozen=True)
class Crash:
    """A kill while port number `at_port` is under test, at a moment that the seed chooses."""

    at_port: int
    seed: int

    @property
    def name(self) -> str:
        """The name of the test case."""
        return f"kill -9 at port {self.at_port + 1}"


@dataclass(frozen=True)
class Survived:
    """The killed run, the run that continued it, and `verify` after each of them."""

    killed: Result
    verified: Result
    left: list[dict[str, Any]]  # lines of the record after the kill
    resumed: Result
    verified_again: Result
    whole: list[dict[str, Any]]


def three(lab: Lab, folder: Path) -> Plant:
    """Build three healthy devices on a switch."""
    plant = Plant(lab, folder)
    for number, name in enumerate(("alpha", "beta", "gamma")):
        plant.device(name, 20 + number)
    plant.plan()
    return plant


def lines_of(folder: Path) -> list[dict[str, Any]]:
    """Return the record's lines without a torn last one."""
    whole, _, _ = (folder / "run.jsonl").read_text(encoding="utf-8").rpartition("\n")
    return [json.loads(line) for line in whole.splitlines()]


def proven_ports(lines: list[dict[str, Any]]) -> Counter[str]:
    """Count the proof lines of each port."""
    proofs = (line["proof"] for line in lines if line["type"] == "proof")
    return Counter(f"{proof['interface']}:{proof['port']}" for proof in proofs)


def act(crash: Crash, lab: Lab, folder: Path) -> Survived:
    """Kill a run, verify its record, plug every cable in, continue the run, and verify again."""
    plant = three(lab, folder)
    command = plant.start()
    assert command.wait_for(lambda line: line.startswith(f"begin    {PORTS[crash.at_port]}"), 200)
    time.sleep(Random(crash.seed).uniform(0, LONGEST))
    command.process.kill()
    killed = command.end(30)
    verified, left = plant.verify(), lines_of(folder)
    for device in plant.devices:
        plant.plug_in(device)
    resumed = plant.start().end()
    return Survived(killed, verified, left, resumed, plant.verify(), lines_of(folder))


CRASHES = (Crash(0, 1), Crash(1, 2), Crash(2, 3))


@pytest.mark.parametrize("job", [Job(c.name, partial(act, c), 160) for c in CRASHES], ids=str)
def test_a_kill_loses_at_most_the_port_under_test(job: Job, outcome: Survived) -> None:
    """The record stays valid, the next run continues it, and in the end each port has exactly one proof line."""
    assert outcome.killed.code == -9
    assert outcome.verified.code == 0 or "torn" in outcome.verified.out, outcome.verified.out
    seen = [line.text.split()[1].rstrip(":") for line in outcome.killed.lines if line.text.startswith("verdict")]
    kept = proven_ports(outcome.left)
    assert set(seen[:-1]) <= set(kept) <= {*seen, *PORTS[: len(seen) + 1]}
    assert outcome.resumed.code == 0, outcome.resumed.text
    assert outcome.resumed.verdicts == dict.fromkeys(PORTS, "proven")
    begun = {line.text.split()[1].rstrip(":") for line in outcome.resumed.lines if line.text.startswith("begin")}
    assert begun == set(PORTS) - set(kept)
    assert proven_ports(outcome.whole) == dict.fromkeys(PORTS, 1)
    assert outcome.verified_again.code == 0
    assert outcome.resumed.shape["seal"] == outcome.whole[-1]["hash"]
    assert outcome.whole[: len(outcome.left)] == outcome.left


@dataclass(frozen=True)
class Changed:
    """Three runs into one record: the first, one with a changed row for beta, and one with nothing left to prove."""

    first: Result
    second: Result
    third: Result
    verified: Result
    lines: list[dict[str, Any]]
    changed_to: str  # SHA-256 of the changed plan, by the standard library


def change(lab: Lab, folder: Path) -> Changed:
    """Prove two ports, change a row of the plan, and run twice more."""
    plant = three(lab, folder)
    plant.devices.pop()
    plant.plan()
    first = plant.start().end()
    plan = folder / "plan" / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    assert NEW_MAC_ROW in text
    plan.write_text(text.replace(NEW_MAC_ROW, NEW_MAC_ROW + '  switch-port = "sw-3/7"\n'), encoding="utf-8")
    second, third = plant.start().end(), plant.start().end()
    changed_to = hashlib.sha256(plan.read_bytes()).hexdigest()
    return Changed(first, second, third, plant.verify(), lines_of(folder), changed_to)


@pytest.mark.parametrize("job", [Job("the plan changes between runs", change, 110)], ids=str)
def test_only_the_interface_with_a_changed_row_is_proven_again(job: Job, outcome: Changed) -> None:
    """The record continues with an event that names both hashes of the plan."""
    both = dict.fromkeys(PORTS[:2], "proven")
    assert [run.verdicts for run in (outcome.first, outcome.second, outcome.third)] == [both, both, both]
    assert [run.code for run in (outcome.first, outcome.second, outcome.third)] == [0, 0, 0]
    begun = [
        [line.text.split()[1].rstrip(":") for line in run.lines if line.text.startswith("begin")]
        for run in (outcome.first, outcome.second, outcome.third)
    ]
    assert begun == [list(PORTS[:2]), [PORTS[1]], []]
    assert proven_ports(outcome.lines) == {PORTS[0]: 1, PORTS[1]: 2}
    starts = [line for line in outcome.lines if line["type"] == "start"]
    told = [line["text"] for line in outcome.lines if line["type"] == "event" and "SHA-256" in line["text"]]
    assert len(starts) == len(told) == 1
    assert starts[0]["plan"]["sha256"] in told[0]
    assert outcome.changed_to in told[0]
    assert "beta/cpu:1" in told[0]
    assert outcome.verified.code == 0
