"""Fixtures of the Windows laboratory: jobs that run in parallel, and one computer without a network namespace."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from tests.lab import netns
from tests.lab.listener import tcpdump_there
from tests.lab.parallel import Job, Outcomes, run
from tests.windows.build import why_not
from tests.windows.skipping import skip_or_fail
from tests.windows.wine import Windows

AT_ONCE = 8  # Windows computers that run at the same time; with more of them on two cores, replies are late


@pytest.fixture(scope="module")
def computer() -> Iterator[Windows]:
    """Yield a Windows computer for all tests of a module."""
    if reason := why_not():
        skip_or_fail(reason)
    with Windows() as made:
        yield made


def chosen(items: list[pytest.Item]) -> list[Job]:
    """Return the jobs of the selected tests, from their parameter `windows_job`, the longest first."""
    calls = (item.callspec for item in items if isinstance(item, pytest.Function) and hasattr(item, "callspec"))
    jobs = {job.name: job for call in calls if isinstance(job := call.params.get("windows_job"), Job)}
    return sorted(jobs.values(), key=lambda job: -job.lasts)


def no_jobs() -> str:
    """Return why jobs cannot run on this machine; empty if they can."""
    return why_not() or netns.why_not() or ("" if tcpdump_there() else "the program tcpdump is not there")


@pytest.fixture(scope="session", autouse=True)
def windows_jobs(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Outcomes]:
    """Yield the outcomes of all jobs of the selected tests, by name.

    The jobs start with the first test, and run in parallel with the tests that need no job.
    """
    wanted = chosen(request.session.items)
    if not wanted or no_jobs():
        yield {}
        return
    pool = ThreadPoolExecutor(AT_ONCE)
    yield {job.name: pool.submit(run, job, tmp_path_factory.mktemp("run")) for job in wanted}
    pool.shutdown(cancel_futures=True)


@pytest.fixture
def outcome(windows_job: Job, windows_jobs: Outcomes) -> Any:
    """Return the outcome of the test's job."""
    if reason := no_jobs():
        skip_or_fail(reason)
    return windows_jobs[windows_job.name].result()
