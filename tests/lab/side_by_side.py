"""Runs of the laboratory side by side, since they mostly wait: all that are selected start with the first test.

A test that takes the parameter `play` gets the outcome of that play by the fixture `outcome`; several tests may look at
the same one. A play builds its plant in a laboratory and folder of its own and returns whatever its tests look at.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.lab.listener import tcpdump_there
from tests.lab.netns import Lab, why_not

AT_ONCE = 14


@dataclass(frozen=True)
class Play:
    """A named run. `lasts` is about how long in seconds; the longest begin first."""

    name: str
    act: Callable[[Lab, Path], Any]
    lasts: float = 30.0

    def __str__(self) -> str:
        return self.name


def run(play: Play, folder: Path) -> Any:
    """Build, run and take everything down again."""
    with Lab("ncl") as lab:
        return play.act(lab, folder)


@pytest.fixture(scope="session")
def plays(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Future[Any]]]:
    """The outcomes of all plays that a selected test asks for, by name."""
    reason = why_not() or ("" if tcpdump_there() else "the command `tcpdump` is not there")
    if reason:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"no laboratory: {reason}")
    chosen = {
        play.name: play
        for item in request.session.items
        if isinstance(play := getattr(item, "callspec", None) and item.callspec.params.get("play"), Play)  # type: ignore[attr-defined]
    }
    order = sorted(chosen.values(), key=lambda play: -play.lasts)
    pool = ThreadPoolExecutor(AT_ONCE)
    yield {play.name: pool.submit(run, play, tmp_path_factory.mktemp("run")) for play in order}
    pool.shutdown(cancel_futures=True)


@pytest.fixture
def outcome(play: Play, plays: dict[str, Future[Any]]) -> Any:
    """What came of the play of this test."""
    return plays[play.name].result()
