"""The first look of `prove` and `walk` on real kernels: it warns within five seconds, and the run continues."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.lab.netns import Lab
from tests.lab.plant import Plant

pytestmark = [pytest.mark.lab, pytest.mark.timeout(120)]


def stopped(plant: Plant, *words: str) -> tuple[list[str], float]:
    """Start a run, stop it as soon as it asks for a cable; return its warnings and the seconds until the last one."""
    plant.plan()
    run = plant.start(*words, keys=True)
    assert run.wait_for(lambda text: text.startswith(("begin", "note", "do ")), 20), "no port began"
    run.press("q")
    result = run.end(60)
    warned = [line for line in result.lines if line.text.startswith("netcheck: warning:")]
    return [line.text for line in warned], warned[-1].at - result.began if warned else 0.0


def test_the_wrong_interface_is_named_within_five_seconds(lab: Lab, tmp_path: Path) -> None:
    """No device of the subnet answers on the named interface; another interface has an address in the subnet."""
    plant = Plant(lab, tmp_path, own=True)
    alpha = plant.device("alpha", 20)
    lab.down(alpha.namespace, "eth0")
    office = lab.namespace("office")
    lab.veth((plant.station, "eth9"), (office, "eth0"))
    lab.address(plant.station, "eth9", "192.0.2.9/24")
    said, seconds = stopped(plant)
    assert any(
        "No device of subnet line (192.0.2.0/24) answers on eth0; eth9 has 192.0.2.9 there: is it the right interface?"
        in text
        for text in said
    ), said
    assert seconds < 5 + 3  # three seconds more to start the program on a busy machine
    kept = [json.loads(line) for line in (tmp_path / "run.jsonl").read_text("utf-8").splitlines()]
    assert any(line.get("event") == "warn" and "No device of subnet line" in line["text"] for line in kept)


def test_a_direct_cable_is_noticed_without_direct(lab: Lab, tmp_path: Path) -> None:
    """Only one device answers: the warning proposes `--direct`, also for `walk`; with `--direct` there is none."""
    plant = Plant(lab, tmp_path, direct=True)
    plant.device("alpha", 20, direct=True)
    said, _ = stopped(plant)
    assert any("Only one device answers on eth0" in text and "--direct" in text for text in said), said
    said, _ = stopped(plant, "--direct", "--record", "direct.jsonl")
    assert said == []


def test_a_healthy_plant_gives_no_warning(lab: Lab, tmp_path: Path) -> None:
    """The plant has two devices behind a switch."""
    plant = Plant(lab, tmp_path, own=True)
    plant.device("alpha", 20)
    plant.device("beta", 21)
    said, _ = stopped(plant)
    assert said == []
