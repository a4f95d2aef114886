"""Tests that a check and the help import no library that only other commands need, so that both start fast."""

from __future__ import annotations

import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from netcheck.cli.main import COMMANDS
from netcheck.text import flowing

DEMO = str(Path(__file__).parents[2] / "plans" / "tarn-hollow")
HEAVY = ("scapy", "openpyxl", "jinja2", "dns", "tomlkit", "netaddr")
PROGRAM = """
import sys
from netcheck.cli.main import run
try:
    run()
finally:
    print("loaded:", *(name for name in {heavy!r} if name in sys.modules), file=sys.stderr)
"""


@pytest.mark.parametrize(
    "words", [["check", DEMO], ["check", DEMO, "--format", "json"], ["--help"]], ids=["check", "json", "help"]
)
def test_heavy_libraries_are_not_imported(words: list[str]) -> None:
    """A check and the help import none of the heavy libraries; scapy alone takes longer than the check of a small
    plan."""
    program = PROGRAM.format(heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True, check=False)
    assert done.stdout
    assert done.stderr.splitlines()[-1] == "loaded:"


@pytest.mark.parametrize(("name", "summary"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_each_summary_is_the_first_paragraph_of_its_command(name: str, summary: str) -> None:
    """The table of summaries, which `netcheck --help` prints without importing a command, equals the docstrings."""
    module = import_module(f"netcheck.cli.{name}")
    documented = module.app.registered_callback.callback if hasattr(module, "app") else module.command
    assert flowing(documented.__doc__ or "").split("\n\n")[0] == summary


def test_help_imports_no_command() -> None:
    """`netcheck --help` imports no module of a command."""
    program = PROGRAM.replace('"loaded:", *(name for name in {heavy!r} if name in sys.modules)', "*sys.modules")
    done = subprocess.run([sys.executable, "-c", program, "--help"], capture_output=True, text=True, check=False)
    assert "rehearse" in done.stdout
    assert {name for name in done.stderr.split() if name.startswith("netcheck.cli.")} == {"netcheck.cli.main"}
