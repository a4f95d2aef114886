"""What a test does where the Windows laboratory cannot be had."""

from __future__ import annotations

import os
from typing import NoReturn

import pytest


def skip_or_fail(reason: str) -> NoReturn:
    """Skip a test with the reason; fail instead where CI=true, since there everything must be installed."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"no Windows laboratory: {reason}")
    pytest.skip(f"no Windows laboratory: {reason}")
