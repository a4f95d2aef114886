"""Skips a test, or lets it fail, if the Windows laboratory is not available."""

from __future__ import annotations

import os
from typing import NoReturn

import pytest


def skip_or_fail(reason: str) -> NoReturn:
    """Skip a test with the reason; fail if CI=true, because everything must be installed there."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"no Windows laboratory: {reason}")
    pytest.skip(f"no Windows laboratory: {reason}")
