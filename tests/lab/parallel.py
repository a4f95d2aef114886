"""Runs of the laboratory side by side, since they mostly wait: all that are selected start with the first test.

A test that takes the parameter `job` gets the outcome of that job by the fixture `outcome`; several tests may look at
the same one. A job builds its plant in a laboratory and folder of its own and returns whatever its tests look at.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.lab.listener import tcpdump_there
from tests.lab.netns import Lab, why_not

AT_ONCE = 18
Outcomes = dict[str, Future[Any]]


@dataclass(frozen=True)
class Job:
    """A named run. `lasts` is about how long in seconds; the longest begin first."""

    name: str
    act: Callable[[Lab, Path], Any]
    lasts: float = 30.0

    def __str__(self) -> str:
        return self.name


def run(job: Job, folder: Path) -> Any:
    """Build, run and take everything down again."""
    with Lab("ncl") as lab:
        return job.act(lab, folder)


def chosen(items: Iterable[pytest.Item]) -> list[Job]:
    """The jobs that the selected tests ask for, the longest first."""
    parameters = (
        item.callspec.params.get("job")
        for item in items
        if isinstance(item, pytest.Function) and hasattr(item, "callspec")
    )
    by_name = {job.name: job for job in parameters if isinstance(job, Job)}
    return sorted(by_name.values(), key=lambda job: -job.lasts)


@pytest.fixture(scope="session", autouse=True)
def jobs(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Outcomes]:
    """The outcomes of all jobs of the selected tests, by name; they start with the first test of the laboratory."""
    if why_not() or not tcpdump_there():
        yield {}
        return
    pool = ThreadPoolExecutor(AT_ONCE)
    yield {job.name: pool.submit(run, job, tmp_path_factory.mktemp("run")) for job in chosen(request.session.items)}
    pool.shutdown(cancel_futures=True)


@pytest.fixture
def outcome(job: Job, jobs: Outcomes) -> Any:
    """What came of the job of this test; skips where no laboratory can be built, fails instead where CI=true."""
    if job.name not in jobs:
        reason = why_not() or "the command `tcpdump` is not there"
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"no laboratory: {reason}")
    return jobs[job.name].result()
