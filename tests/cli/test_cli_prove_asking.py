"""Tests of `netcheck prove --settings` and `--ask-modbus` before anything is opened."""

from __future__ import annotations

import subprocess
import sys

import pytest


def prove(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a new process, on an interface that does not exist."""
    program = [sys.executable, "-m", "netcheck", "prove", "plans/tarn-hollow-mended", "-i", "absent9"]
    return subprocess.run([*program, *words], capture_output=True, text=True, timeout=60, check=False)


@pytest.mark.parametrize(
    "words", [(), ("--direct", "--link", "unprivileged")], ids=["not direct", "a link that hears no ARP"]
)
def test_settings_needs_a_direct_cable(words: tuple[str, ...]) -> None:
    """Without a direct cable, or on a link without ARP, `--settings` gives exit 2 and says what to do."""
    done = prove("--settings", *words)
    assert done.returncode == 2
    assert done.stderr == (
        "netcheck: --settings needs a direct cable and a link that receives ARP. "
        "Add --direct, and use --link raw or --link portable\n"
    )


def test_both_options_are_accepted_on_a_direct_cable() -> None:
    """Both options are accepted together on a direct cable."""
    done = prove("--settings", "--ask-modbus", "--direct", "--permit", "none")
    assert done.returncode == 3
    assert "there is no interface 'absent9'" in done.stderr


def test_help_describes_both_options() -> None:
    """The help describes both options."""
    done = subprocess.run(
        [sys.executable, "-m", "netcheck", "prove", "--help"], capture_output=True, text=True, check=True,
        env={"PATH": "", "COLUMNS": "200"},
    )  # fmt: skip
    assert "mask and gateway by its behaviour" in done.stdout
    assert "one Modbus/TCP read" in done.stdout
