"""Runs the laboratory's jobs in parallel, because they mostly wait; all selected jobs start with the first test.

A test with the parameter `job` gets the outcome of that job from the fixture `outcome`; several tests may share a job.
A job builds its plant in its own laboratory and folder, and returns the values that its tests check.
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

AT_ONCE = 26
Outcomes = dict[str, Future[Any]]


@dataclass(frozen=True)
class Job:
    """A named run. `lasts` is its approximate length in seconds; the longest jobs start first."""

    name: str
    act: Callable[[Lab, Path], Any]
    lasts: float = 30.0

    def __str__(self) -> str:
        return self.name


def run(job: Job, folder: Path) -> Any:
    """Run a job in a new laboratory."""
    with Lab("ncl") as lab:
        return job.act(lab, folder)


def chosen(items: Iterable[pytest.Item]) -> list[Job]:
    """Return the jobs of the selected tests, the longest first."""
    parameters = (
        item.callspec.params.get("job")
        for item in items
        if isinstance(item, pytest.Function) and hasattr(item, "callspec")
    )
    by_name = {job.name: job for job in parameters if isinstance(job, Job)}
    return sorted(by_name.values(), key=lambda job: -job.lasts)


@pytest.fixture(scope="session", autouse=True)
def jobs(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Outcomes]:
    """Yield the outcomes of all jobs of the selected tests, by name."""
    if why_not() or not tcpdump_there():
        yield {}
        return
    pool = ThreadPoolExecutor(AT_ONCE)
    yield {job.name: pool.submit(run, job, tmp_path_factory.mktemp("run")) for job in chosen(request.session.items)}
    pool.shutdown(cancel_futures=True)


@pytest.fixture
def outcome(job: Job, jobs: Outcomes) -> Any:
    """Return the outcome of the test's job; without a laboratory skip the test, or let it fail if CI=true."""
    if job.name not in jobs:
        reason = why_not() or "the command `tcpdump` is not there"
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"no laboratory: {reason}")
    return jobs[job.name].result()
