"""The live screens of `prove` and `walk` as text, as a person reads them in a Windows console, in four code pages.

`pytest -rA` prints the screens. The tests check the port, its address and the instruction, not the layout. The
technician obeys the requests in the record, which are those of the screen.
"""

from __future__ import annotations

import json
import re
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import REACTION, Plant
from tests.lab.plants import usual
from tests.lab.technician import Action, Request, request_in
from tests.windows.console import Console, Screens
from tests.windows.stations import Prepare, as_job
from tests.windows.wine import Windows

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
PERMIT = ("--permit", "laboratory")
ADDRESS = "192.0.2.20"
PATIENCE = 20  # seconds until the screen shows a request; drawing takes at most a tenth of the time of an older console
# Box drawing, blocks and punctuation that are read in a wrong code page: the replacement character, or the first byte
# of their UTF-8 form as a letter.
MOJIBAKE = re.compile("\ufffd|\u00e2[\u0080-\u00bf\u2020-\u20ac]|\u0393[\u00c0-\u00ff]|\u00d4[\u00c7\u00f6]")
ESCAPE = re.compile("\x1b|\\[\\d+(;\\d+)*m")


@dataclass(frozen=True)
class Shown:
    """The screen while a request was open."""

    request: Request
    text: str


@dataclass(frozen=True)
class Watched:
    """The screens of a run in a console, everything that Wine drew, and the exit code."""

    shown: tuple[Shown, ...]
    said: str
    code: int


def live(screens: Screens) -> str:
    """Return the live part of the screen, without the caution that stands above it in an older console."""
    return screens.now().rpartition("netcheck replaces none of these.")[2].strip("\n")


def requests_in(record: Path) -> list[Request]:
    """Return the requests of a run so far, from its record."""
    if not record.exists():
        return []
    lines = [json.loads(line) for line in record.read_bytes().splitlines(keepends=True) if line.endswith(b"\n")]
    events = [line for line in lines if line.get("event") in ("do", "seen")]
    said = [f"{one['event']} {one['facts']['port']}: {one['text']}" for one in events if one["facts"]["port"]]
    return [request for text in said if (request := request_in(text)) is not None]


@dataclass
class Technician:
    """Obeys the requests of a run in a console, and keeps the screen of each."""

    plant: Plant
    console: Console
    screens: Screens
    record: Path
    enter: bool  # pressed after every movement
    most: int  # requests after which the technician ends the run

    def work(self, seconds: float) -> Watched:
        """Work until the run ends."""
        shown: list[Shown] = []
        until = time.monotonic() + seconds
        while self.console.process.poll() is None and time.monotonic() < until and len(shown) < self.most:
            time.sleep(0.2)
            asked = requests_in(self.record)
            if len(asked) > len(shown):
                shown.append(self._shown(asked[len(shown)]))
                self._obey(shown[-1].request)
        self.console.type(b"q")
        code = self.console.process.wait(60)
        return Watched(tuple(shown), self.console.said.decode(errors="replace"), code)

    def _shown(self, request: Request) -> Shown:
        """Wait for the request on the screen and for the technician's reaction; return the screen."""

        def asks() -> bool:
            return all(part in live(self.screens).lower() for part in (request.port, request.action, ADDRESS))

        # the screen may show the next step already, or is being drawn; an informing request has no such word
        if request.action is Action.OTHER or not self.console.wait_until(asks, PATIENCE):
            self.console.wait_until(lambda: ADDRESS in live(self.screens), 10)
        text = live(self.screens)
        time.sleep(REACTION)
        return Shown(request, text)

    def _obey(self, request: Request) -> None:
        device = self.plant.planned(request)
        if device is not None and request.action in (Action.PULL, Action.PLUG):
            (self.plant.pull if request.pulls else self.plant.plug_in)(device)
            if self.enter:
                self.console.type(b"\r")


def watched(command: str, page: int, old: bool, lab: Lab, folder: Path, prepare: Prepare) -> Watched:
    """Run `prove` with keys, or `walk`, in a console, on a plant with a healthy device."""
    plant = Plant(lab, folder)
    (usual.healthy if command == "prove" else usual.pair)(plant)
    plant.plan()
    record, screens = folder / "run.jsonl", Screens(folder / "screens", page, old=old)
    own = ("--only", "alpha/cpu") if command == "prove" else ("--in-order",)
    words = ("-m", "netcheck", command, "plan", "-i", "eth0", *PERMIT, "--record", "run.jsonl", *own)
    with Windows(plant.station) as computer:
        console = Console(computer, *words, cwd=folder, **screens.settings)
        try:
            enter, most = (True, 100) if command == "prove" else (False, 2)
            return Technician(plant, console, screens, record, enter, most).work(150)
        finally:
            console.close()


CASES = (("prove", 437, True), ("prove", 65001, False), ("walk", 850, True), ("walk", 1252, False))


@pytest.mark.parametrize(
    ("windows_job", "command", "page"),
    [
        pytest.param(
            as_job(f"screens of {command}, {page}", partial(watched, command, page, old), 60), command, page,
            id=f"{command}, code page {page}, {'older console' if old else 'Windows 10'}",
        )
        for command, page, old in CASES
    ],
)  # fmt: skip
def test_the_screens_in_a_console(windows_job: Job, command: str, page: int, outcome: Watched) -> None:
    """Each screen names the port, its address and the action; no character is lost in any code page."""
    print(f"{command}, code page {page}, exit code {outcome.code}")
    for shown in outcome.shown:
        print(f"--- {shown.request.action}: {shown.request.port}\n{shown.text}")
    asked = [shown for shown in outcome.shown if shown.request.action in shown.text.lower()]
    assert {Action.PULL, Action.PLUG} <= {shown.request.action for shown in asked}, outcome.said
    for shown in outcome.shown:
        assert shown.request.port in shown.text
        assert ADDRESS in shown.text
        assert not MOJIBAKE.search(shown.text)
        assert not ESCAPE.search(shown.text)
        assert all(len(line) <= 100 for line in shown.text.splitlines())
    assert "Traceback" not in outcome.said
    assert outcome.code in (0, 1), (
        outcome.said
    )  # a phase is void if a busy machine stops the process for more than a second
