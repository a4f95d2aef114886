"""Tests of the report value: which proof of a port counts, and what was not checked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from netcheck.errors import RecordError
from netcheck.proof.result import Verdict
from netcheck.report.json_report import to_json
from netcheck.report.model import Report
from netcheck.report.text_report import to_markdown, to_text
from netcheck.report.words import (
    CANNOT_SHOW,
    EVIDENCE_WORDS,
    alarms,
    chance,
    headline,
    meaning,
    not_checked,
    plan_headline,
    verdict_sign,
)
from netcheck.rules.finding import AcceptedFinding
from tests.report.made import clock_from, plan_text, proof_of, report_from, write_plan, write_record

PAPER = "3 conflicts: do not install this plan as drafted; 1 accepted; 1 value cannot be read"
PROVEN = "Answered from one MAC, silent with the cable out, back again."


def verdict_of(report: Report, subject: str) -> Verdict:
    """Return the verdict of a port in the report."""
    return next(port.verdict for port in report.ports if port.proof.subject == subject)


def test_every_port_of_the_plan_is_listed_once(sample: Report) -> None:
    """Ports come in the plan's order; a port without a proof is `not-tested`."""
    subjects = [port.proof.subject for port in sample.ports]
    assert subjects[:3] == ["pasteuriser-plc/cpu:1", "pasteuriser-plc/cpu:2", "line-panel/lan:1"]
    assert len(subjects) == len(set(subjects)) == 11
    assert verdict_of(sample, "filler-plc/cpu:1") is Verdict.NOT_TESTED
    assert dict(sample.verdicts)[Verdict.PROVEN] == 2
    assert sum(count for _, count in sample.verdicts) == 11
    assert {verdict for verdict, _ in sample.verdicts} == set(Verdict) - {
        Verdict.RELAYED,
        Verdict.SKIPPED,
        Verdict.WRONG_SETTINGS,
    }


def test_the_newest_of_several_proofs_counts(plan_folder: Path, record_path: Path, tmp_path: Path) -> None:
    """The later of two proofs counts in any order of the records, and the earlier proof is listed."""
    later = (proof_of("line-panel/lan:1", Verdict.PROVEN, PROVEN),)
    second = write_record(tmp_path / "second.jsonl", plan_folder, later, clock_from(3600))
    for records in ((record_path, second), (second, record_path)):
        report = report_from(plan_folder, *records)
        port = next(port for port in report.ports if port.proof.subject == "line-panel/lan:1")
        assert port.verdict is Verdict.PROVEN
        assert port.evidence is not None
        assert port.evidence.record == "second.jsonl"
        assert list(map(str, port.earlier)) == ["silent at 2026-11-19T09:16:03.000Z (run.jsonl, line 4)"]


def test_a_port_proven_twice_in_one_record_keeps_its_history(plan_folder: Path, tmp_path: Path) -> None:
    """The later proof in a record counts and the earlier one is listed; a copy of the record adds nothing."""
    silent = proof_of("line-panel/lan:1", Verdict.SILENT, "Nothing answered.")
    proven = proof_of("line-panel/lan:1", Verdict.PROVEN, PROVEN)
    record = write_record(tmp_path / "run.jsonl", plan_folder, (silent, proven), clock_from())
    copy = tmp_path / "copy.jsonl"
    copy.write_bytes(record.read_bytes())
    for records in ((record,), (record, copy)):
        port = next(port for port in report_from(plan_folder, *records).ports if port.proof.port and port.evidence)
        assert port.verdict is Verdict.PROVEN
        assert list(map(str, port.earlier)) == ["silent at 2026-11-19T09:14:43.000Z (run.jsonl, line 2)"]


def test_a_later_run_without_the_port_keeps_its_proof(plan_folder: Path, record_path: Path, tmp_path: Path) -> None:
    """A later `not-tested` does not replace a proof, because nothing was observed; a later `silent` does."""
    for verdict, counts in ((Verdict.NOT_TESTED, Verdict.PROVEN), (Verdict.SILENT, Verdict.SILENT)):
        later = (proof_of("separator-drive/lan:1", verdict, "Left out."),)
        second = write_record(tmp_path / f"{verdict}.jsonl", plan_folder, later, clock_from(3600))
        assert verdict_of(report_from(plan_folder, record_path, second), "separator-drive/lan:1") is counts


def test_two_technicians_and_a_later_attempt_without_a_verdict(plan_folder: Path, tmp_path: Path) -> None:
    """Records of two laptops are read together, and every attempt at a port is shown.

    A later `unsettled` in one record does not hide a verdict in the other.
    """
    port = "separator-drive/lan:1"
    weak = proof_of(port, Verdict.UNSETTLED, "A phase was cut short: the run was stopped.")
    for found in (Verdict.PROVEN, Verdict.SWAPPED):
        first = (proof_of(port, found, "Found."), proof_of("cip-plc/cpu:1", Verdict.PROVEN, PROVEN))
        one = write_record(tmp_path / f"{found}.jsonl", plan_folder, first, clock_from())
        two = write_record(tmp_path / f"{found}-2.jsonl", plan_folder, (weak,), clock_from(3600))
        for records in ((one, two), (two, one)):
            report = report_from(plan_folder, *records)
            result = next(each for each in report.ports if each.proof.subject == port)
            assert result.verdict is found
            assert [str(each.proved.proof.verdict) for each in result.later] == ["unsettled"]
            assert verdict_of(report, "cip-plc/cpu:1") is Verdict.PROVEN
            for kind in (to_text, to_markdown, to_json):
                assert b"unsettled at 2026" in kind(report).replace(b"\\", b"").replace(b"\n", b" ")


def test_an_attempt_at_the_present_row_replaces_a_proof_of_another_row(plan_folder: Path, tmp_path: Path) -> None:
    """If a row was proven, then changed, and the next attempt is `unsettled`, the port is not `not-tested`."""
    port = "separator-drive/lan:1"
    old = write_record(tmp_path / "a.jsonl", plan_folder, (proof_of(port, Verdict.PROVEN, PROVEN),), clock_from())
    write_plan(plan_folder, plan_text().replace("10.62.20.72", "10.62.20.76"))
    weak = replace(proof_of(port, Verdict.UNSETTLED, "Cut short."), address="10.62.20.76")
    new = write_record(tmp_path / "b.jsonl", plan_folder, (weak,), clock_from(3600))
    assert verdict_of(report_from(plan_folder, old, new), port) is Verdict.UNSETTLED


def test_an_older_proof_does_not_replace_a_later_one(plan_folder: Path, record_path: Path, tmp_path: Path) -> None:
    """A row that was changed, proven and changed back must be proven again, because the device was set up again."""
    write_plan(plan_folder, plan_text().replace("10.62.20.72", "10.62.20.76"))
    later = (proof_of("separator-drive/lan:1", Verdict.PROVEN, PROVEN),)
    second = write_record(tmp_path / "second.jsonl", plan_folder, later, clock_from(3600))
    write_plan(plan_folder)
    assert verdict_of(report_from(plan_folder, record_path, second), "separator-drive/lan:1") is Verdict.NOT_TESTED


def test_a_changed_row_has_to_be_proven_again(plan_folder: Path, record_path: Path) -> None:
    """A proof of a row that has changed since does not count, and the report says why."""
    write_plan(plan_folder, plan_text().replace("10.62.20.72", "10.62.20.76"))
    report = report_from(plan_folder, record_path)
    port = next(port for port in report.ports if port.proof.subject == "separator-drive/lan:1")
    assert port.verdict is Verdict.NOT_TESTED
    assert "row changed after it was proven (proven at 2026-11-19T09:16:43.000Z (run.jsonl, line 5))" in port.proof.why
    assert verdict_of(report, "reception-plc/cpu:1") is Verdict.PROVEN


def test_a_port_that_is_no_longer_in_the_plan(plan_folder: Path, record_path: Path) -> None:
    """The proof of a port that is not in the plan is listed separately and does not count."""
    write_plan(plan_folder, plan_text().replace('"reception-plc"', '"receiving-plc"'))
    report = report_from(plan_folder, record_path)
    assert [evidence.proved.proof.subject for evidence in report.gone] == ["reception-plc/cpu:1"]
    assert verdict_of(report, "receiving-plc/cpu:1") is Verdict.NOT_TESTED


def test_a_record_of_another_plan_is_refused(plan_folder: Path, record_path: Path, tmp_path: Path) -> None:
    """A record of another plan is refused, with both names and its path."""
    other = write_plan(tmp_path / "other", plan_text().replace("Tarn Hollow creamery", "Elsewhere"))
    with pytest.raises(RecordError, match=r"run\.jsonl: line 1: .*'Tarn Hollow creamery', not to 'Elsewhere'"):
        report_from(other, record_path)


def test_proofs_behind_a_broken_line_do_not_count(plan_folder: Path, record_path: Path) -> None:
    """Ports whose proofs follow a broken line are `not-tested`, and the alarm names the line."""
    lines = record_path.read_bytes().splitlines(keepends=True)
    lines[8] = lines[8].replace(b"carrier", b"barrier")
    record_path.write_bytes(b"".join(lines))
    report = report_from(plan_folder, record_path)
    assert verdict_of(report, "cip-panel/lan:1") is Verdict.CONTESTED
    assert verdict_of(report, "reception-plc/cpu:1") is Verdict.NOT_TESTED
    (alarm,) = alarms(report)
    assert alarm.startswith("run.jsonl: chain broken at line 9; that line and the proofs after it are not evidence")


def test_a_torn_record_raises_an_alarm(plan_folder: Path, record_path: Path) -> None:
    """Proofs before a torn line count, and the alarm says torn."""
    record_path.write_bytes(record_path.read_bytes()[:-7])
    report = report_from(plan_folder, record_path)
    assert dict(report.verdicts)[Verdict.PROVEN] == 2
    assert "torn" in alarms(report)[0]


def test_headline(sample: Report, plan_folder: Path) -> None:
    """The headline says whether the plan may be installed and how many ports are proven."""
    assert headline(sample) == f"{PAPER}. 2 of 11 ports proven."
    assert headline(report_from(plan_folder)) == f"{PAPER}. No proof was given."
    risks = tuple(finding for finding in sample.checked.findings if finding.severity == "risk")
    mended = replace(sample, checked=replace(sample.checked, findings=risks))
    assert headline(mended) == "No conflict; 1 risk to agree on with the site; 1 accepted. 2 of 11 ports proven."
    clean = replace(sample, checked=replace(sample.checked, findings=()))
    assert headline(clean) == "0 open; 1 accepted. 2 of 11 ports proven."
    bare = replace(clean, checked=replace(clean.checked, accepted=()))
    assert headline(bare) == "No conflict and no risk found. 2 of 11 ports proven."


def test_the_headline_counts_accepted_findings(sample: Report) -> None:
    """The headline counts accepted findings and unreadable values."""
    accepted = tuple(AcceptedFinding(finding, "site IT", "known", None) for finding in sample.checked.findings)
    checked = replace(sample.checked, findings=(), accepted=accepted)
    words = f"0 open; {len(accepted)} accepted, 3 of them conflicts; 1 value cannot be read"
    assert plan_headline(checked) == words
    risk = next(finding for finding in sample.checked.findings if finding.severity == "risk")
    some = replace(checked, findings=(risk,), accepted=accepted[:1])
    words = "No open conflict; 1 risk to agree on with the site; 1 accepted, 1 of them conflicts"
    assert plan_headline(some) == words


def test_what_was_not_checked(sample: Report, plan_folder: Path) -> None:
    """Gaps of the plan, its surveys and its proofs are listed."""
    gaps = not_checked(sample)
    assert "Subnet packing: no survey covers 10.62.30.0/24, so clashes there are unknown." in gaps
    assert "Ports not tested: filler-plc/cpu:1." in gaps
    assert any(gap.startswith("site-hosts.csv has rows that could not be used: 1;") for gap in gaps)
    assert any("conversations" in gap for gap in gaps)
    assert any(gap.startswith("No record of a proving run") for gap in not_checked(report_from(plan_folder)))


def test_a_missing_address_is_listed(plan_folder: Path) -> None:
    """An interface without an address is listed among what was not checked."""
    write_plan(plan_folder, plan_text().replace('  address = "10.62.20.72"\n', ""))
    assert "Interfaces without an address: separator-drive/lan." in not_checked(report_from(plan_folder))


@pytest.mark.parametrize("verdict", Verdict)
def test_every_verdict_has_a_meaning(verdict: Verdict) -> None:
    """Each verdict has its own meaning and a sign."""
    others = {meaning(other) for other in Verdict if other is not verdict}
    assert meaning(verdict)
    assert meaning(verdict) not in others
    assert (verdict_sign(verdict) == "✓") == (verdict is Verdict.PROVEN)


def test_the_report_names_what_a_proof_cannot_show() -> None:
    """The report names what a proof cannot show: a restart at that moment, a perfect impersonator, another cable."""
    text = " ".join(CANNOT_SHOW)
    assert all(word in text for word in ("restarted", "imitates", "Another cable"))
    assert "restarted at that moment" in EVIDENCE_WORDS["cable"]["inferred"]


# Own arithmetic: 1 / 4.1e-5 = 24390, to two digits 24,000.
@pytest.mark.parametrize(
    ("value", "text"),
    [
        (4.1e-5, "4.1e-05, 1 in 24,000"),
        (0.03125, "3.1e-02, 1 in 32"),
        (1.0, "1.0e+00, 1 in 1"),
        (1e-300, "1.0e-300, less than 1 in a thousand million"),
        (0.0, "0"),
        (-3.0, "-3"),
        (7.5, "7.5"),
    ],
    ids=str,
)
def test_chances_are_written_twice(value: float, text: str) -> None:
    """A probability is written as a power of ten and as odds; any other value is written unchanged."""
    assert chance(value) == text
