"""A plan, a record with a proof of every verdict, and the report on both."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.report.model import Report
from tests.report.made import clock_from, every_verdict, report_from, write_plan, write_record


@pytest.fixture
def plan_folder(tmp_path: Path) -> Path:
    """Return the plan's folder."""
    return write_plan(tmp_path / "tarn-hollow")


@pytest.fixture
def record_path(tmp_path: Path, plan_folder: Path) -> Path:
    """Write a record with a proof of every verdict and return its path."""
    return write_record(tmp_path / "run.jsonl", plan_folder, every_verdict(), clock_from())


@pytest.fixture
def sample(plan_folder: Path, record_path: Path) -> Report:
    """Return the whole report."""
    return report_from(plan_folder, record_path)
