"""`netcheck prove --settings` and `--ask-modbus`: what the command line takes and refuses before anything is opened."""

from __future__ import annotations

import subprocess
import sys

import pytest


def prove(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, on an interface that is not there."""
    program = [sys.executable, "-m", "netcheck", "prove", "plans/tarn-hollow-mended", "-i", "absent9"]
    return subprocess.run([*program, *words], capture_output=True, text=True, timeout=60, check=False)


@pytest.mark.parametrize(
    "words", [(), ("--direct", "--link", "unprivileged")], ids=["not direct", "a link that hears no ARP"]
)
def test_settings_needs_a_direct_cable(words: tuple[str, ...]) -> None:
    """Exit 2, before the permit is asked for, with what to do."""
    done = prove("--settings", *words)
    assert done.returncode == 2
    assert done.stderr == (
        "netcheck: --settings needs a direct cable and a link that receives ARP. "
        "Add --direct, and use --link raw or --link portable\n"
    )


def test_both_can_be_asked_for_on_a_direct_cable() -> None:
    """They pass the command line; the interface is what is missing then."""
    done = prove("--settings", "--ask-modbus", "--direct", "--permit", "none")
    assert done.returncode == 3
    assert "there is no interface 'absent9'" in done.stderr


def test_help_says_what_they_do() -> None:
    """Both are off by default and explained."""
    done = subprocess.run(
        [sys.executable, "-m", "netcheck", "prove", "--help"], capture_output=True, text=True, check=True,
        env={"PATH": "", "COLUMNS": "200"},
    )  # fmt: skip
    assert "Find mask and gateway by the device" in done.stdout
    assert "one Modbus/TCP read" in done.stdout
