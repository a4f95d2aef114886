"""Tests of a port with a wrong mask: every format has the value found, the planned value and the value to type."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from openpyxl import load_workbook

from netcheck.proof.result import Proof, Verdict
from netcheck.proof.settings.model import wrong_of
from netcheck.report.formats import KINDS
from netcheck.report.model import Report
from netcheck.report.text.proofs import to_lines
from tests.report.made import clock_from, proof_of, report_from, write_record

FOUND = "mask is /25, planned /24"
WHY = f"By its behaviour its settings differ: {FOUND}. Type the mask 255.255.255.0, then prove it again."
EVIDENCE = (("mask", FOUND), ("gateway", "gateway is 10.62.20.1, as planned"))


def wrong() -> Proof:
    """Return a proof in which only the mask is wrong."""
    return replace(proof_of("reception-plc/cpu:1", Verdict.WRONG_SETTINGS, WHY, cable="carrier", luck=None),
                   evidence=EVIDENCE)  # fmt: skip


@pytest.fixture
def report(plan_folder: Path, tmp_path: Path) -> Report:
    """Return the report of a record with this proof."""
    return report_from(plan_folder, write_record(tmp_path / "run.jsonl", plan_folder, (wrong(),), clock_from()))


@pytest.mark.parametrize("ending", [kind.ending for kind in KINDS])
def test_every_format_names_the_wrong_setting(ending: str, report: Report) -> None:
    """Each file has the verdict, the value found and the value to type; none says that settings cannot be read."""
    data = next(kind for kind in KINDS if kind.ending == ending).write(report)
    if ending == ".xlsx":
        cells = [str(cell) for row in load_workbook(io.BytesIO(data))["findings"].values for cell in row]
        text = "\n".join(cells)
    else:
        text = re.sub("<[^>]*>", "", data.decode("utf-8")).replace("\\", "")  # the page keeps words whole in elements
    text = " ".join(text.split())
    assert "wrong-settings" in text
    assert FOUND in text
    assert "255.255.255.0" in text
    assert "cannot be read over the network" not in text


def test_the_terminal_names_it() -> None:
    """The lines that `prove` prints have the verdict and the sentence."""
    text = " ".join(" ".join(to_lines([wrong()])).split())
    assert "wrong-settings" in text
    assert WHY in text


def test_a_row_of_a_wrong_setting_is_below_the_findings(report: Report) -> None:
    """The row names the port, and the record and line of the proof."""
    data = next(kind for kind in KINDS if kind.ending == ".csv").write(report).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(data)))
    assert [row["rule"] for row in rows].index("wrong-settings") == len(report.checked.findings)
    assert (rows[-1]["subjects"], rows[-1]["where"]) == ("reception-plc/cpu:1", "run.jsonl: line 2")


def test_a_skipped_port_keeps_its_earlier_proof(plan_folder: Path, tmp_path: Path) -> None:
    """A port that was proven and then skipped is proven; one that was only skipped is shown as skipped."""
    proven, skipped = (
        proof_of("reception-plc/cpu:1", word, "made", cable="carrier", luck=None)
        for word in (Verdict.PROVEN, Verdict.SKIPPED)
    )
    only = proof_of("silo-io/bus:1", Verdict.SKIPPED, "made")
    record = write_record(tmp_path / "run.jsonl", plan_folder, (proven, skipped, only), clock_from())
    found = {port.proof.subject: port.verdict for port in report_from(plan_folder, record).ports}
    assert (found["reception-plc/cpu:1"], found["silo-io/bus:1"]) == ("proven", "skipped")


@pytest.mark.parametrize("text", ["mask is /99999, planned /24", "cannot tell: mask is /25, planned /24", "", "\x00"])
def test_hostile_evidence_of_a_record_is_no_setting(text: str) -> None:
    """Other content of a record's mask or gateway is not reported as a difference."""
    assert wrong_of((("mask", text), ("gateway", text), ("modbus", FOUND))) == ()
