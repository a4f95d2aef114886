"""A technician who walks along the panels while `netcheck walk` watches, on real kernels."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path

from tests.lab.hall import Device, Hall
from tests.lab.listener import Frame
from tests.lab.netns import Lab
from tests.lab.running import Ended, Running
from tests.lab.side_by_side import Play

GETS_KNOWN = 60.0  # seconds until an address that answers is known, on a busy computer
TOLD = 60.0  # seconds until it is told that a cable was out long enough


@dataclass(frozen=True)
class Stroll:
    """A walk: the devices on the switch, and which cables are pulled, in order; several at once where a name holds a
    plus. `verdicts` are expected by device, "" of one that is not asked for; `says` are words said of them."""

    name: str
    pulls: tuple[str, ...]
    verdicts: dict[str, str]
    says: dict[str, str]
    words: tuple[str, ...] = ()
    own: bool = True
    lasts: float = 120.0


@dataclass(frozen=True)
class Walked:
    """What came of a walk."""

    ended: Ended
    frames: list[Frame]
    planned: tuple[str, ...]
    noticed: tuple[bool, ...]  # for each pull, whether it was told how to go on


def walk(stroll: Stroll, lab: Lab, folder: Path) -> Walked:
    """Build the plant, walk, and return what came of it."""
    hall = Hall(lab, folder, own=stroll.own)
    for number, name in enumerate(stroll.verdicts):
        hall.device(name, 20 + number)
    hall.plan()
    hall.listen()
    running = hall.start(*stroll.words, command="walk")
    for device in (device for device in hall.devices if stroll.verdicts[device.name]):
        running.wait_for(partial(_is, "known", device), GETS_KNOWN)
    noticed = tuple(_pull_and_wait(hall, running, pull) for pull in stroll.pulls)
    ended = running.end()
    assert hall.listener is not None
    return Walked(ended, hall.listener.frames(), tuple(device.address for device in hall.devices), noticed)


def _pull_and_wait(hall: Hall, running: Running, pull: str) -> bool:
    """Pull cables at once, put them back when it is told to, and go on when it is told what came of it."""
    devices = [device for device in hall.devices if device.name in pull.split("+")]
    since = running.lines
    for device in devices:
        hall.pull(device)
    noticed = all(running.wait_for(partial(_is_told_to_plug, device), TOLD, since) for device in devices)
    since = running.lines
    for device in devices:
        hall.plug_in(device)
    return noticed and all(running.wait_for(partial(_is_over, device), TOLD, since) for device in devices)


def _is(word: str, device: Device, line: str) -> bool:
    return line.startswith(f"{word:<8} {device.name}/")


def _is_told_to_plug(device: Device, line: str) -> bool:
    return _is("do", device, line) and "Plug" in line


def _is_over(device: Device, line: str) -> bool:
    return any(_is(word, device, line) for word in ("seen", "verdict", "warn"))


def as_play(stroll: Stroll) -> Play:
    """The walk as a play."""
    return Play(stroll.name, partial(walk, stroll), stroll.lasts)
