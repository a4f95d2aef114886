"""Tests of Ctrl-C: exit 130 (128 + SIGINT, as shells do), no traceback, no file changed or left over."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

PLAN = Path(__file__).parents[2] / "plans" / "tarn-hollow"


@pytest.mark.slow
@pytest.mark.parametrize("module", ["netcheck.text", "netcheck.survey.read"])
def test_an_interrupted_command_changes_no_file(module: str, tmp_path: Path) -> None:
    """Ctrl-C during the start of the command, or while it reads a long list, changes no file.

    The import of a module marks the moment.
    """
    folder = Path(shutil.copytree(PLAN, tmp_path / "plan"))
    rows = (f"10.{high}.{low >> 8}.{low & 255}\n" for high in range(64, 72) for low in range(1 << 16))
    (folder / "site-hosts.csv").write_text("address\n" + "".join(rows), "ascii")
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    words = [sys.executable, "-X", "importtime", "-m", "netcheck", "suggest", str(folder), "--write"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    assert any(line.split()[-1:] == [module] for line in process.stderr)
    process.send_signal(signal.SIGINT)
    out, said = process.communicate(timeout=60)
    assert (out, process.returncode) == ("", 130)
    assert "Traceback" not in said
    assert {path.name: path.stat().st_mtime_ns for path in folder.iterdir()} == before
