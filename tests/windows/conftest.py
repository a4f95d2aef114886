"""Fixtures of the Windows laboratory: the jobs that run in parallel, and one computer without a network of its own."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.lab.parallel import jobs, outcome  # noqa: F401
from tests.windows.build import why_not
from tests.windows.skipping import skip_or_fail
from tests.windows.wine import Windows


@pytest.fixture(scope="module")
def computer() -> Iterator[Windows]:
    """A Windows computer for all tests of a module."""
    if reason := why_not():
        skip_or_fail(reason)
    with Windows() as made:
        yield made
