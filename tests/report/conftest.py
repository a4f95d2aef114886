"""A plan, a record with a proof of every verdict, and the report on both; made once for all tests of a process."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from netcheck.report.model import Report
from tests.report.made import clock_from, every_verdict, report_from, write_plan, write_record


@pytest.fixture(scope="session")
def original(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return the plan's folder and the record with a proof of every verdict; tests change only copies of them."""
    folder = tmp_path_factory.mktemp("original")
    plan = write_plan(folder / "tarn-hollow")
    return plan, write_record(folder / "run.jsonl", plan, every_verdict(), clock_from())


@pytest.fixture(scope="session")
def sample(original: tuple[Path, Path]) -> Report:
    """Return the whole report."""
    return report_from(*original)


@pytest.fixture
def plan_folder(tmp_path: Path, original: tuple[Path, Path]) -> Path:
    """Return a copy of the plan's folder."""
    return Path(shutil.copytree(original[0], tmp_path / original[0].name))


@pytest.fixture
def record_path(tmp_path: Path, original: tuple[Path, Path]) -> Path:
    """Return the path of a copy of the record."""
    return Path(shutil.copy(original[1], tmp_path / original[1].name))
