"""Gives the laboratory's plants a Windows computer as their station."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.windows.wine import Windows

Prepare = Callable[[Plant], None]


def as_job(name: str, act: Callable[[Lab, Path, Prepare], object], lasts: float) -> Job:
    """Return a job; its *act* gets a function that makes a Windows computer the station of a plant."""

    def on_windows(lab: Lab, folder: Path) -> object:
        with ExitStack() as stack:

            def prepare(plant: Plant) -> None:
                plant.wrapper = stack.enter_context(Windows(plant.station)).wrapper

            return act(lab, folder, prepare)

    return Job(f"windows: {name}", on_windows, lasts)
