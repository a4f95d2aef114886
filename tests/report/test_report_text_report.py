"""Tests of the whole report as Markdown and as plain text: its contents, the same bytes, and data that stays data."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from netcheck.report.html.page import to_html
from netcheck.report.model import Report
from netcheck.report.text_report import to_markdown, to_text
from tests.report.made import report_from

WRITERS = [pytest.param(to_markdown, id="markdown"), pytest.param(to_text, id="text")]
# Characters that no output may contain: controls (ECMA-48 section 4.1), bidirectional marks, formulas, markup.
HOSTILE = [
    *("<script>alert(1)</script>", "[x](javascript:alert(1))", "| a | b |", "`x`", '=1+2";=1+2', "\x1b]0;owned\x07"),
    *("\x9b31m", "\u202eabc\u2066", "a\r\nb\n\n# c", "\ud800", "![x](y)", "\\|", "~~~", "x" * 10_000),
]
BAD = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2066-\u2069]")


@pytest.mark.parametrize("write", WRITERS)
def test_all_parts_are_there(write: Callable[[Report], bytes], sample: Report) -> None:
    """The report has headline, gaps, every finding and port, and the seal; writing it again gives the same bytes."""
    text = write(sample).decode("utf-8").replace("\\", "")
    assert (
        "3 conflicts: do not install this plan as drafted; 1 accepted; 1 value cannot be read. 2 of 11 ports proven."
        in text
    )
    assert sample.records[0].verification.seal in text
    assert "Subnet packing: no survey covers 10.62.30.0/24" in text
    assert all(port.proof.subject in text and str(port.verdict) in text for port in sample.ports)
    assert all(finding.message in text for finding in sample.checked.findings)
    assert write(sample) == write(sample)


@pytest.mark.parametrize("write", WRITERS)
def test_a_broken_record_raises_an_alarm(
    write: Callable[[Report], bytes], plan_folder: Path, record_path: Path
) -> None:
    """The alarm is above all proofs, and no seal is shown."""
    lines = record_path.read_bytes().splitlines(keepends=True)
    record_path.write_bytes(b"".join([*lines[:4], *lines[5:]]))
    text = write(report_from(plan_folder, record_path)).decode("utf-8").replace("\\", "")
    assert text.index("chain broken at line 5") < text.index("pasteuriser-plc/cpu:1")
    assert "none: the chain is broken" in text


@pytest.mark.parametrize("write", WRITERS)
def test_without_a_record(write: Callable[[Report], bytes], plan_folder: Path) -> None:
    """Without a record, the report says that nothing was proven."""
    assert b"No record of a proving run was given" in write(report_from(plan_folder))


@pytest.mark.parametrize("bad", HOSTILE, ids=lambda bad: ascii(bad)[:20])
@pytest.mark.parametrize("write", WRITERS)
def test_hostile_text_stays_text(write: Callable[[Report], bytes], bad: str, sample: Report) -> None:
    """Received text adds no control character, no line and, in Markdown, no markup (CommonMark section 2.4)."""
    finding = sample.checked.findings[0]._replace(message=bad, where=bad, subjects=(bad,), address=bad)
    port = sample.ports[0]
    proof = replace(port.proof, interface=bad, address=bad, why=bad, cable=bad)
    good = replace(sample, checked=replace(sample.checked, findings=(finding,)), ports=(port,))
    evil = replace(good, ports=(replace(port, proof=proof),))
    text = write(evil).decode("utf-8")
    assert not BAD.search(text)
    assert len(text.splitlines()) == len(write(good).decode("utf-8").splitlines())
    if write is to_markdown:
        rows = [line for line in text.splitlines() if line.startswith("| ")]
        assert all(len(re.findall(r"(?<!\\)(?:\\\\)*\|", row)) in (3, 4, 5, 6, 7, 8, 9, 10, 11) for row in rows)
        assert not re.search(r"(?<!\\)(?:\\\\)*[<`]", text)


@pytest.mark.parametrize("write", [*WRITERS, to_html])
def test_the_tasks_of_it_and_the_cautions_are_in_the_report(write: Callable[[Report], bytes], sample: Report) -> None:
    """The first lines count the tasks of IT, and the safety notes are in every kind of report."""
    text = re.sub(r"<[^>]+>|\\|\*", " ", write(sample).decode("utf-8"))
    decisions = f"{len(sample.checked.findings)} decisions"
    assert re.search(rf"Needed from IT:?\s+{decisions}[\s\S]+?\d+ (?:reservations|addresses to reserve)", text)
    assert "Panels are opened by people qualified for it under local codes." in text
