"""A technician who walks along the panels while `netcheck walk` watches, on real kernels."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from tests.lab.commands import Command, Result
from tests.lab.listener import Frame
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.lab.scenarios import Verdicts
from tests.lab.technician import Request, request_in

KNOWN_WITHIN = 60.0  # seconds until a busy computer knows an address that answers
NOTICED_WITHIN = 60.0  # seconds until the command asks for the return of a pulled cable
SETTLED_WITHIN = 120.0  # seconds until a pull gives a verdict, a warning or a port that waits for its second pull


@dataclass(frozen=True)
class Walk:
    """A walk along some devices on one switch.

    `pulls` are the devices whose cables the technician pulls without a request, in order; a plus joins devices that are
    pulled at the same time. The technician obeys requests for a pull, except at the devices in `ignored`; `mistaken`
    names the device whose cable is moved instead. `happens` runs when all addresses are known. `verdicts` are expected
    by device, "" for a device that is not requested; `says` are words of its sentence or notes.
    """

    name: str
    pulls: tuple[str, ...]
    verdicts: Mapping[str, Verdicts]
    says: dict[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    ignored: tuple[str, ...] = ()
    mistaken: dict[str, str] = field(default_factory=dict)
    happens: Callable[[Plant], None] | None = None
    numbered: bool = False  # the technician types the number of the port whose cable is out
    own: bool = True
    macs: bool = True
    build: Callable[[Plant], None] | None = None
    lasts: float = 120.0


@dataclass(frozen=True)
class WalkResult:
    """The result of a walk, the frames at the station's end, and whether each pull was noticed."""

    ended: Result
    frames: list[Frame]
    planned: dict[str, str]  # the MAC of the device by address
    noticed: tuple[bool, ...]


def walk(case: Walk, lab: Lab, folder: Path, prepare: Callable[[Plant], None] | None = None) -> WalkResult:
    """Build the plant, walk, and return the result; *prepare* may change the plant before the run."""
    plant = Plant(lab, folder, own=case.own)
    if case.build is not None:
        case.build(plant)
    else:
        for number, name in enumerate(case.verdicts):
            plant.device(name, 20 + number)
    if prepare is not None:
        prepare(plant)
    plant.plan(macs=case.macs)
    plant.technician = partial(_obey, plant, case)
    plant.listen()
    command = plant.start(*case.words, command="walk", keys=case.numbered)
    for device in (device for device in plant.devices if case.verdicts[device.name]):
        command.wait_for(partial(says, "known", device.name), KNOWN_WITHIN)
    if case.happens is not None:
        case.happens(plant)
    noticed = tuple(_pull_and_wait(plant, command, pull, case) for pull in case.pulls)
    ended = command.end()
    assert plant.listener is not None
    return WalkResult(ended, plant.listener.frames(), plant.macs, noticed)


def _obey(plant: Plant, case: Walk, request: Request) -> None:
    if request.pulls and request.device in case.ignored:
        return
    moved = case.mistaken.get(request.device, request.device)
    plant.obey(replace(request, port=request.port.replace(request.device, moved, 1)) if request.port else request)


def _pull_and_wait(plant: Plant, command: Command, pull: str, case: Walk) -> bool:
    """Pull cables at the same time; return whether the command asked for their return and then gave results."""
    devices = [device for device in plant.devices if device.name in pull.split("+")]
    since = command.line_count
    for device in devices:
        plant.pull(device)
    silent = [case.mistaken.get(device.name, device.name) for device in devices]
    if case.numbered and command.wait_for(partial(says, "silent", silent[0]), NOTICED_WITHIN, since):
        command.press(str(1 + [device.name for device in plant.devices].index(silent[0])))  # the row of the screen
    noticed = all(command.wait_for(partial(_asks_to_plug, name), NOTICED_WITHIN, since) for name in silent)
    words = ("seen", "verdict", "warn") if pull in case.ignored else ("verdict", "warn")
    return noticed and all(command.wait_for(partial(_says_one, words, name), SETTLED_WITHIN, since) for name in silent)


def says(word: str, device: str, line: str) -> bool:
    """Return whether a line is of this kind and names a port of this device."""
    return line.startswith(f"{word:<8} {device}/")


def _says_one(words: tuple[str, ...], device: str, line: str) -> bool:
    return any(says(word, device, line) for word in words)


def _asks_to_plug(device: str, line: str) -> bool:
    """Return whether a line asks for a device's cable, by a request or because its silence does not count."""
    request = request_in(line)
    asked = request is not None and request.plugs and request.device == device
    return asked or (says("silent", device, line) and "plug it in again" in line)


def as_job(case: Walk) -> Job:
    """Return the walk as a job."""
    return Job(case.name, partial(walk, case), case.lasts)
