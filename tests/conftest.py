"""Marks slow folders and files of tests, so that `pytest -m "not slow"` ends within a minute."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest
from hypothesis import settings

TESTS = Path(__file__).parent
SLOW_FOLDERS = {"browser", "campaign", "lab", "search", "windows"}
# Files that start the program or open the system's sockets in almost every test, or simulate long walks.
SLOW_FILES = {
    "test_cli_answers.py",
    "test_cli_check.py",
    "test_cli_demo.py",
    "test_cli_interrupt.py",
    "test_cli_keyboard.py",
    "test_cli_keys.py",
    "test_cli_options.py",
    "test_cli_prove_adding.py",
    "test_cli_prove_asking.py",
    "test_cli_rehearse.py",
    "test_cli_report.py",
    "test_cli_terminal.py",
    "test_field_readiness_facts.py",
    "test_field_readiness.py",
    "test_intake_device_list.py",
    "test_intake_hostile.py",
    "test_intake_layouts.py",
    "test_rig_colleagues.py",
    "test_wire_portable.py",
    "test_wire_raw.py",
    "test_wire_unprivileged.py",
}


# Tests that take half a minute begin first, so that no worker waits for one of them at the end.
LONGEST_FILES = {"test_fresh_machine.py", "test_search.py"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark each test of a slow folder or file, and put the longest ones first."""
    items.sort(key=lambda item: item.path.name not in LONGEST_FILES)
    for item in items:
        if item.path.is_relative_to(TESTS):
            folder = item.path.relative_to(TESTS).parts[0]
            if folder in SLOW_FOLDERS or item.path.name in SLOW_FILES:
                item.add_marker(pytest.mark.slow)


def pytest_configure() -> None:
    """Let an example of Hypothesis take any time, and let Ctrl-C interrupt the tests.

    A busy machine slows single examples down. A shell that starts the tests in the background ignores SIGINT.
    """
    settings.register_profile("netcheck", deadline=None)
    settings.load_profile("netcheck")
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
