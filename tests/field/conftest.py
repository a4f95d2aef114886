"""Fixtures for the tests of work on site."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.lab.netns import Lab, why_not
from tests.programs import cannot_run


@pytest.fixture(scope="module")
def field_lab() -> Iterator[Lab]:
    """A laboratory for all tests of a module; skips if none can be built, fails instead where CI=true."""
    if reason := why_not():
        cannot_run(f"no laboratory: {reason}")
    with Lab("nci") as made:
        yield made
