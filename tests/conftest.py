"""Marks whole folders of tests as slow, so that `pytest -m "not slow"` ends within a minute."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest
from hypothesis import settings

TESTS = Path(__file__).parent
SLOW_FOLDERS = {"browser", "campaign", "lab", "search", "windows"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark each test of a slow folder."""
    for item in items:
        if item.path.is_relative_to(TESTS) and item.path.relative_to(TESTS).parts[0] in SLOW_FOLDERS:
            item.add_marker(pytest.mark.slow)


def pytest_configure() -> None:
    """Let an example of Hypothesis take any time, and let Ctrl-C interrupt the tests.

    A busy machine slows single examples down. A shell that starts the tests in the background ignores SIGINT.
    """
    settings.register_profile("netcheck", deadline=None)
    settings.load_profile("netcheck")
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
