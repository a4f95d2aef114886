"""Ctrl-C at any moment: exit 130 (128 + SIGINT, the shells' custom), no traceback, no file changed or left over."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PLAN = Path(__file__).parents[2] / "plans" / "tarn-hollow"


@pytest.mark.parametrize("after", [0.05, 0.3, 0.6])
def test_an_interrupted_command_leaves_all_as_it_was(after: float, tmp_path: Path) -> None:
    """While Python loads the command, and while it reads a long list of site hosts."""
    folder = Path(shutil.copytree(PLAN, tmp_path / "plan"))
    rows = (f"10.{high}.{low >> 8}.{low & 255}\n" for high in range(64, 80) for low in range(1 << 16))
    (folder / "site-hosts.csv").write_text("address\n" + "".join(rows), "ascii")
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    words = [sys.executable, "-m", "netcheck", "suggest", str(folder), "--write"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(after)
    process.send_signal(signal.SIGINT)
    out, said = process.communicate(timeout=60)
    assert (out, process.returncode in (130, -signal.SIGINT)) == ("", True)
    assert "Traceback" not in said or "netcheck" not in said  # before our first line, the interpreter speaks for itself
    assert {path.name: path.stat().st_mtime_ns for path in folder.iterdir()} == before
