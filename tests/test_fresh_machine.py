"""Tests that the tests pass, or are skipped with a reason, on a machine without any optional program."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
# A shell and programs of coreutils, util-linux, grep and iproute2. A test that needs any other program asks for it
# with `tests.programs.need`.
BASE = (
    "cat",
    "env",
    "false",
    "grep",
    "ip",
    "ls",
    "mktemp",
    "mount",
    "setpriv",
    "sh",
    "sleep",
    "tc",
    "true",
    "umount",
    "unshare",
)
# The files whose tests start programs, except for the long laboratory tests. They mostly wait, so two run at once.
FILES = (
    "tests/browser", "tests/cli/test_cli_answers.py", "tests/field/test_field_readiness.py",
    "tests/lab/test_lab_netns.py", "tests/lab/test_lab_responder.py", "tests/lab/test_lab_capture.py",
    "tests/lab/test_lab_survey.py", "tests/survey/test_survey_capture.py", "tests/windows", "tests/wire",
)  # fmt: skip


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_nothing_fails_where_optional_programs_are_missing(tmp_path: Path) -> None:
    """With a PATH of basic programs, no test fails, and each skipped test names the missing program."""
    for name in BASE:
        if path := shutil.which(name):
            (tmp_path / name).symlink_to(path)
    environment = {key: value for key, value in os.environ.items() if key not in ("CI", "PYTEST_XDIST_WORKER")}
    environment["PATH"] = str(tmp_path)
    words = [sys.executable, "-m", "pytest", "-q", "-rs", "-n", "2", "-p", "no:cacheprovider", "-m", "", *FILES]
    run = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, env=environment, check=False)
    assert run.returncode == 0, run.stdout[-8000:] + run.stderr[-2000:]
    for program in ("tshark", "soffice", "chromium", "tcpdump"):
        assert f"the program {program}" in run.stdout
