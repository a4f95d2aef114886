"""Tests of the JSON Schemas against real output, with every further key forbidden."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from netcheck.plan.model import Accepted, GrantedRequest, Position, SiteRemark
from netcheck.plan.write.decisions import PlanDecisions, with_decisions
from netcheck.proof.result import Verdict
from netcheck.report.json_report import to_json
from netcheck.report.json_schemas import SCHEMAS
from netcheck.report.model import Report
from netcheck.rules.catalogue.acceptance import QUESTION
from tests import command_line
from tests.cli.test_cli_answers import netcheck
from tests.report.made import clock_from, proof_of, write_plan, write_record

PLANS = Path(__file__).parents[2] / "plans"


def closed(node: Any) -> Any:
    """Return the schema with further keys forbidden in every object whose keys it names."""
    if isinstance(node, list):
        return [closed(each) for each in node]
    if not isinstance(node, dict):
        return node
    inner = {key: closed(value) for key, value in node.items()}
    if node.get("type") == "object" and "properties" in node:
        inner.setdefault("additionalProperties", False)
    return inner


@cache
def validator(name: str) -> Draft202012Validator:
    """Return the validator of a closed schema."""
    return Draft202012Validator(closed(SCHEMAS[name]()))


def faults(name: str, value: Any) -> list[str]:
    """Return the faults of a value against the closed schema, each with its place."""
    errors: Iterator[Any] = validator(name).iter_errors(value)
    return [f"{error.json_path}: {error.message[:300]}" for error in errors]


@pytest.mark.parametrize("name", SCHEMAS)
def test_each_is_a_schema(name: str, tmp_path: Path) -> None:
    """The command prints a schema that is valid by its meta-schema and refuses an impossible value."""
    printed = json.loads(netcheck_plain("schema", name))
    assert printed == SCHEMAS[name]()
    Draft202012Validator.check_schema(printed)
    assert faults(name, {"further": 1})


def netcheck_plain(*words: str) -> str:
    """Return the output of a command that has no option for the date."""
    done = command_line.netcheck(*words)
    assert done.returncode in (0, 1)
    return done.stdout


def test_a_report_with_every_verdict(sample: Report) -> None:
    """The report has findings, accepted findings, requests, a proof of every verdict, and records."""
    assert {str(port.verdict) for port in sample.ports} >= {str(Verdict.PROVEN), str(Verdict.SILENT)}
    assert faults("report", json.loads(to_json(sample))) == []


@pytest.mark.parametrize("plan", ["tarn-hollow", "tarn-hollow-mended"])
def test_reports_of_the_demo(plan: str, tmp_path: Path) -> None:
    """The demo's plans, compared with each other and with a date for the reply."""
    old = PLANS / ("tarn-hollow" if plan == "tarn-hollow-mended" else "tarn-hollow-mended")
    for more in ((), ("--since", str(old)), ("--reply-by", "2026-12-01", "--by", "integrator")):
        done = netcheck(tmp_path, "report", str(PLANS / plan), "--out", "r.json", *more)
        assert done.returncode == 0, done.stderr
        assert faults("report", json.loads((tmp_path / "r.json").read_bytes())) == []


def test_a_report_with_decisions(tmp_path: Path) -> None:
    """Accepted findings with the day of the decision, remarks with and without a reply, and granted requests."""
    folder = write_plan(tmp_path / "p")
    assert netcheck(tmp_path, "report", "p", "--out", "r.json").returncode == 0
    shape = json.loads((tmp_path / "r.json").read_bytes())
    finding, asked, day = shape["findings"][0], shape["asked"][0], date(2026, 11, 20)
    at = Position("")
    about = {"rule": finding["rule"], "subject": finding["subjects"][0], "position": at, "by": "IT", "decided": day}
    remark = SiteRemark(decision=QUESTION, remark="why?", **about)
    entry = Accepted(because="so", address=finding["address"], **about)
    kind, subject = "reservation", "line-panel/lan"
    assert (asked["kind"], "granted" in asked) == (kind, False)
    grant = GrantedRequest(kind="pool change", subject=subject, by="IT", position=at, decided=day)
    edit = with_decisions(
        folder, PlanDecisions(accepted=[entry], remarks=[remark, remark._replace(reply="so")], granted=[grant])
    )
    assert edit is not None
    edit.write()
    assert netcheck(tmp_path, "report", "p", "--out", "s.json").returncode == 0
    assert faults("report", json.loads((tmp_path / "s.json").read_bytes())) == []


def test_findings_of_one_plan_and_of_several(tmp_path: Path) -> None:
    """The list has paths, and a plan that cannot be read."""
    plan, other = str(PLANS / "tarn-hollow"), str(PLANS / "tarn-hollow-mended")
    for words in ((plan,), (plan, "--paths"), (plan, other, "--paths"), (plan, "nowhere")):
        shape = json.loads(netcheck(tmp_path, "check", *words, "--format", "json").stdout)
        assert faults("findings", shape) == []


@pytest.mark.slow
def test_records_with_every_verdict(record_path: Path, tmp_path: Path) -> None:
    """Every line of a record fits, and so does every line of a rehearsal with events."""
    bare = tuple(proof_of("filler-plc/cpu:1", verdict, "x", phases=(), mac=None, echo=None) for verdict in Verdict)
    every = write_record(tmp_path / "every.jsonl", write_plan(tmp_path / "p"), bare, clock_from())
    lines = [json.loads(line) for file in (record_path, every) for line in file.read_bytes().splitlines()]
    assert {line["type"] for line in lines} >= {"start", "proof", "end"}
    assert {line["proof"]["verdict"] for line in lines if line["type"] == "proof"} == set(map(str, Verdict))
    record = tmp_path / "rehearsal.jsonl"
    plan = str(PLANS / "tarn-hollow-mended")
    netcheck_plain("rehearse", plan, "--record", str(record), "--hands-free", "--fault", "absent=palletiser-plc/cpu")
    lines += [json.loads(line) for line in record.read_bytes().splitlines()]
    assert {line["type"] for line in lines} == {"start", "event", "proof", "end"}
    assert [fault for line in lines for fault in faults("record", line)] == []
