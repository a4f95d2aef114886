"""Fixtures of the tests of work on site."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from tests.lab.netns import Lab, why_not


@pytest.fixture(scope="module")
def field_lab() -> Iterator[Lab]:
    """A laboratory kept for all tests of a module; skips where none can be built, fails instead where CI=true."""
    if reason := why_not():
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"no laboratory: {reason}")
    with Lab("nci") as made:
        yield made
