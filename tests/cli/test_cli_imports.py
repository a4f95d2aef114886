"""What feels instant stays so: a check and the help load no library that only other commands need."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

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
def test_heavy_libraries_are_left_alone(words: list[str]) -> None:
    """scapy alone would take longer than the whole check of a small plan."""
    program = PROGRAM.format(heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True, check=False)
    assert done.stdout
    assert done.stderr.splitlines()[-1] == "loaded:"
