"""Tests of the whole report as JSON."""

from __future__ import annotations

import json
from pathlib import Path

from netcheck.report.json_report import checked_json, to_json
from netcheck.report.model import Report
from netcheck.report.text import proofs
from tests.report.made import every_verdict, report_from


def test_findings_and_proofs_are_those_of_check_and_prove(sample: Report) -> None:
    """Findings equal those of `check` with their keys, and proofs those of `prove` with their place in the record."""
    shape = json.loads(to_json(sample))
    checked = checked_json(sample.checked)
    assert {key: shape[key] for key in ("netcheck", "plan", "summary")} == {
        key: checked[key] for key in ("netcheck", "plan", "summary")
    }
    more = ("key", "number", "choices")
    for kind in ("findings", "accepted"):
        assert [{key: f[key] for key in f if key not in more} for f in shape[kind]] == checked[kind]
    every = [*shape["findings"], *shape["accepted"]]
    accepted = [each.finding for each in sample.checked.accepted]
    assert [f["key"] for f in every] == [finding.key for finding in (*sample.checked.findings, *accepted)]
    assert [f["number"] for f in every] == list(range(1, len(every) + 1))
    own = proofs.to_json(every_verdict(), "", "")["proofs"]
    extra = ("at", "record", "line", "not_counted", "attempts", "remarks")
    assert [{key: p[key] for key in p if key not in extra} for p in shape["proofs"][:10]] == own
    assert shape["proofs"][0]["line"] == 2
    assert shape["verdicts"] == proofs.summary([port.proof for port in sample.ports])
    assert shape["today"] == "2026-11-20"


def test_the_state_of_each_record_is_in_the_json(sample: Report, record_path: Path, plan_folder: Path) -> None:
    """State, seal and the bad line of each record are in the JSON."""
    last = json.loads(record_path.read_bytes().splitlines()[-1])
    (record,) = json.loads(to_json(sample))["records"]
    assert (record["record"], record["state"], record["seal"], record["line"]) == (
        "run.jsonl",
        "intact",
        last["hash"],
        None,
    )
    assert (record["same_plan"], record["runs"][0]["permit"]) == (True, "work order 118")
    record_path.write_bytes(record_path.read_bytes()[:-20])
    (record,) = json.loads(to_json(report_from(plan_folder, record_path)))["records"]
    assert (record["state"], record["line"]) == ("torn", 12)


def test_the_same_report_gives_the_same_bytes(plan_folder: Path, record_path: Path) -> None:
    """The JSON does not depend on the time of writing."""
    assert to_json(report_from(plan_folder, record_path)) == to_json(report_from(plan_folder, record_path))
