"""Tests that every format marks a rehearsal in its headline and at each verdict, and that records are not mixed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from netcheck.errors import RecordError
from netcheck.report.html.page import to_html
from netcheck.report.json_report import to_json
from netcheck.report.model import Report
from netcheck.report.text_report import to_markdown, to_text
from netcheck.report.words import headline
from tests.report.made import clock_from, every_verdict, report_from, write_record


def record(folder: Path, plan: Path, name: str, *, simulated: bool) -> Path:
    """Write a record with a proof of every verdict and return its path."""
    return write_record(folder / name, plan, every_verdict(), clock_from(9), simulated=simulated)


@pytest.fixture
def rehearsed(tmp_path: Path, plan_folder: Path) -> Report:
    """Return the report on a rehearsal."""
    return report_from(plan_folder, record(tmp_path, plan_folder, "r.jsonl", simulated=True))


def test_the_headline_begins_with_the_mark(rehearsed: Report, sample: Report) -> None:
    """The headline begins with the mark of a rehearsal."""
    assert headline(rehearsed).startswith("SIMULATED: ")
    assert headline(rehearsed).endswith("proven (SIMULATED).")
    assert "SIMULATED" not in headline(sample)


@pytest.mark.parametrize("write", [to_html, to_markdown, to_text], ids=["page", "markdown", "text"])
def test_each_verdict_is_marked(write: Callable[[Report], bytes], rehearsed: Report, sample: Report) -> None:
    """Every table and list of ports marks each verdict; a record of the site has no mark."""
    text = write(rehearsed).decode("utf-8").replace("\\", "")
    assert text.count("(SIMULATED)") >= len(rehearsed.ports) + 1
    assert "SIMULATED: not a proof of the site" in text or write is not to_html
    real = write(sample).decode("utf-8")
    assert "(SIMULATED)" not in real


def test_json_marks_the_report_and_each_proof(rehearsed: Report, sample: Report) -> None:
    """The JSON marks the report and each proof, so that a program that reads one proof finds the mark."""
    shape = json.loads(to_json(rehearsed))
    assert shape["simulated"] is True
    assert all(proof["simulated"] for proof in shape["proofs"])
    assert json.loads(to_json(sample))["simulated"] is False


def test_simulated_and_real_records_are_not_mixed(tmp_path: Path, plan_folder: Path) -> None:
    """A report of simulated and real records is refused, and the message names the rehearsal."""
    real = record(tmp_path, plan_folder, "a.jsonl", simulated=False)
    made = record(tmp_path, plan_folder, "b.jsonl", simulated=True)
    with pytest.raises(RecordError, match=r"b\.jsonl: this record holds a simulated run"):
        report_from(plan_folder, real, made)
