"""Lets the laboratory's plants have a Windows computer as their station."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar

from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.windows.build import why_not
from tests.windows.wine import Windows

AT_ONCE = 5  # Windows computers that run at the same time; on two cores more of them answer too late
_room = threading.Semaphore(AT_ONCE)
Answer = TypeVar("Answer")
Prepare = Callable[[Plant], None]


def on_windows(act: Callable[[Lab, Path, Prepare], Answer], lab: Lab, folder: Path) -> Answer | str:
    """Run a job whose station is a Windows computer; return the reason where there can be none."""
    if reason := why_not():
        return reason
    with _room, ExitStack() as stack:

        def prepare(plant: Plant) -> None:
            plant.wrapper = stack.enter_context(Windows(plant.station)).wrapper

        return act(lab, folder, prepare)


def as_job(name: str, act: Callable[[Lab, Path, Prepare], object], lasts: float) -> Job:
    """Return a job on a Windows computer."""
    return Job(f"windows: {name}", lambda lab, folder: on_windows(act, lab, folder), lasts)
