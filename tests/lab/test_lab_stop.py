"""Stops runs by q and Ctrl-C, and checks with tcpdump that no frame is sent afterwards and no setting stays changed."""

from __future__ import annotations

import json
import signal
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from tests.lab.commands import Result
from tests.lab.listener import Frame
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import STATION_MAC, Plant
from tests.lab.plants.usual import pair

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
SHOWS = (
    ["ip", "-d", "addr"],
    ["ip", "neigh"],
    ["ip", "route"],
    ["ip", "rule"],
    ["grep", "-r", ".", "/proc/sys/net/ipv4/conf"],
)


@dataclass(frozen=True)
class Stop:
    """The way to stop a run: a typed line or a signal, after a line that begins with `at`."""

    name: str
    at: str
    line: str = ""
    signal: signal.Signals | None = None
    command: str = "prove"
    own: bool = False


@dataclass(frozen=True)
class Stopped:
    """The result of a stopped run; `stopped` is the time of the key or signal."""

    ended: Result
    frames: list[Frame]
    stopped: float
    before: list[str]
    after: list[str]
    verified: Result
    last: dict[str, object]


def settings(plant: Plant) -> list[str]:
    """Return the network settings that the station's operating system shows."""
    return [plant.lab.run(plant.station, command).stdout for command in SHOWS]


def act(stop: Stop, lab: Lab, folder: Path) -> Stopped:
    """Start a run, stop it in the middle, and return the result."""
    plant = Plant(lab, folder, own=stop.own)
    pair(plant)
    plant.plan()
    plant.listen()
    before = settings(plant)
    command = plant.start(command=stop.command, keys=stop.signal is None)
    assert command.wait_for(lambda line: line.startswith(stop.at), 60)
    at = command.press(stop.line) if stop.signal is None else command.signal(stop.signal)
    ended = command.end(60)
    assert plant.listener is not None
    last = json.loads((folder / "run.jsonl").read_text(encoding="utf-8").splitlines()[-1])
    return Stopped(ended, plant.listener.frames(), at, before, settings(plant), plant.verify(), last)


STOPS = (
    Stop("q before anything answered", "wait     Checking that", line="q"),
    Stop("q with the cable in", "heard    alpha/cpu:1", line="q"),
    Stop("q with the cable out", "silent   alpha/cpu:1", line="q"),
    Stop("q on a walk", "known    beta/cpu:1", line="q", command="walk"),
    Stop("Ctrl-C with the cable in", "heard    alpha/cpu:1", signal=signal.SIGINT),
    Stop("Ctrl-C with the cable out", "silent   alpha/cpu:1", signal=signal.SIGINT),
    Stop("Ctrl-C on a walk", "known    beta/cpu:1", signal=signal.SIGINT, command="walk"),
    Stop("Ctrl-C, own address", "heard    alpha/cpu:1", signal=signal.SIGINT, own=True),
)


@pytest.mark.parametrize(
    ("job", "stop"), [pytest.param(Job(one.name, partial(act, one), 20), one, id=one.name) for one in STOPS]
)
def test_a_stopped_run_sends_nothing_and_leaves_no_change(job: Job, stop: Stop, outcome: Stopped) -> None:
    """Nothing is sent after one second, the record has its end, and the computer's settings are unchanged."""
    assert outcome.ended.code == (1 if stop.signal is None else 130), outcome.ended.text
    assert "Traceback" not in outcome.ended.text
    ours = [frame for frame in outcome.frames if frame.source == STATION_MAC]
    assert ours or "before" in stop.name
    assert all(frame.at < outcome.stopped + 1.0 for frame in ours)
    assert outcome.last["type"] == "end"
    assert outcome.verified.code == 0
    assert set(outcome.ended.verdicts.values()) <= {"not-tested", "unsettled"}
    if not stop.own:  # with its own address, the kernel itself learns the neighbours that ask for it
        assert outcome.after == outcome.before
