"""A fixture that checks a small plan given as text."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from netcheck.plan.read import read_plan
from netcheck.rules.engine import Checked, check
from netcheck.survey.read import read_surveys

TODAY = date(2026, 11, 2)


@pytest.fixture
def checked(tmp_path: Path) -> Callable[..., Checked]:
    """Return a function that writes plan.toml and site-hosts.csv and checks them on a given day."""

    def run(plan: str, hosts: str = "", today: date = TODAY, **files: str) -> Checked:
        (tmp_path / "plan.toml").write_text(plan, "utf-8")
        (tmp_path / "site-hosts.csv").write_text(hosts or "address\n", "utf-8")
        for name, text in files.items():
            (tmp_path / f"{name}.csv").write_text(text, "utf-8")
        read = read_plan(tmp_path)
        return check(read, read_surveys(read), today)

    return run
