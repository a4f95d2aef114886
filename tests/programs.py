"""Finds programs that some tests need and that a fresh machine may lack."""

from __future__ import annotations

import os
import shutil
from typing import NoReturn

import pytest


def need(*names: str) -> str:
    """Return the path of the first of these programs that is installed.

    If none is, skip the test with the reason, or fail where CI=true, so that continuous integration skips no test.
    """
    path = next(filter(None, map(shutil.which, names)), None)
    if path is None:
        cannot_run(f"the program {' or '.join(names)} is not installed")
    return path


def cannot_run(reason: str) -> NoReturn:
    """Skip the test with this reason, or fail where CI=true."""
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)
