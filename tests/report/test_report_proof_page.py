"""Tests of the page of proof: its content in HTML and as text, and that no value becomes markup."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from netcheck.errors import UsageError
from netcheck.plan.model import row_hashes
from netcheck.plan.read import read_plan
from netcheck.proof.result import Verdict
from netcheck.record.model import Attachment, Run
from netcheck.record.write import Recorder
from netcheck.report.formats import further
from netcheck.report.html.page import to_html
from netcheck.report.json_report import to_json
from netcheck.report.model import Report
from netcheck.report.proof_page import HEADERS, local_moment, page_of_proof, to_text
from netcheck.report.proof_page import to_html as to_proof_page
from netcheck.report.text_report import to_markdown
from netcheck.report.text_report import to_text as report_to_text
from tests.report.made import clock_from, every_verdict, report_from

HOSTILE = "<img src=x onerror=alert(1)>\u202egnp.exe\x1b[2J"


class Words(HTMLParser):
    """A parser that collects the tags and the text of a page."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""
        self.feed(page.decode("utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.text += data


def signed(folder: Path, plan_folder: Path, *, simulated: bool = False, by: str = "A. Example, Example Ltd") -> Report:
    """Return the report on a run in a place two hours east of UTC, with remarks and a photograph."""
    plan = read_plan(plan_folder)
    run = Run(
        plan=plan.name, revision=plan.revision, sha256=plan.sha256, version="0.2.0", station="10.62.20.245/24",
        interface="eth0 (raw)", permit="work order 118", by=by, local="2026-11-19T11:14:03+02:00", simulated=simulated,
    )  # fmt: skip
    proofs = every_verdict()
    with Recorder.open(folder / "run.jsonl", run, row_hashes(plan), clock_from(), ()) as recorder:
        recorder.attach(Attachment("panel-3.jpg", 1234, "ab" * 32))
        for proof in proofs:
            recorder.proof(proof)
        recorder.remark("separator-drive/lan:1", "label missing")
        recorder.remark("", "rain in the hall")
        recorder.end({str(verdict): sum(p.verdict is verdict for p in proofs) for verdict in Verdict})
    return report_from(plan_folder, folder / "run.jsonl")


@pytest.mark.parametrize("write", [to_proof_page, to_text])
def test_the_page_has_names_verdicts_times_and_seals(
    write: Callable[[Report], bytes], plan_folder: Path, tmp_path: Path
) -> None:
    """The page has ports, verdicts, names, times with offsets, station, permit, seal, remarks, files and signatures."""
    report = signed(tmp_path, plan_folder)
    page = write(report)
    said = Words(page).text if write is to_proof_page else page.decode("utf-8")
    seal = report.records[0].verification.seal
    for port in report.ports:
        assert port.proof.subject in said
    for word in (
        "2 of 11 ports proven", "A. Example, Example Ltd", "2026-11-19 11:14 +02:00", "10.62.20.245/24",
        "work order 118", seal, "label missing", "rain in the hall", "panel-3.jpg", "ab" * 32, "signature",
        "received by (site)", "10.62.20.72", "impostor", "panel 3", report.plan.sha256,
    ):  # fmt: skip
        assert word in said, word
    assert "SIMULATED" not in said
    assert write(report) == page


@pytest.mark.parametrize("write", [to_html, to_markdown, report_to_text, to_json])
def test_every_report_names_who_proved_each_port(
    write: Callable[[Report], bytes], plan_folder: Path, tmp_path: Path
) -> None:
    """Each record and each port names who proved it, because several technicians can share one plan."""
    page = write(signed(tmp_path, plan_folder, by="QQZ"))
    (tmp_path / "plain").mkdir()
    plain = write(signed(tmp_path / "plain", plan_folder, by=""))
    assert page.count(b"QQZ") > len(every_verdict())
    assert b"QQZ" not in plain


@pytest.mark.parametrize("write", [to_proof_page, to_text])
def test_a_simulated_run_is_marked(write: Callable[[Report], bytes], plan_folder: Path, tmp_path: Path) -> None:
    """The headline, every proven row and a warning say that it is simulated."""
    said = write(signed(tmp_path, plan_folder, simulated=True)).decode("utf-8")
    assert "2 of 11 ports proven (SIMULATED)" in said
    assert "a simulated bench was proven, not a site" in said
    assert said.count("proven (SIMULATED)") >= 3


def test_no_value_becomes_markup_or_a_control_sequence(plan_folder: Path, tmp_path: Path) -> None:
    """A hostile name of a technician in a record stays text in both forms."""
    report = signed(tmp_path, plan_folder, by=HOSTILE)
    page = Words(to_proof_page(report))
    assert "img" not in page.tags
    assert "script" not in page.tags
    for said in (to_proof_page(report).decode("utf-8"), to_text(report).decode("utf-8")):
        assert not set(said) & set("\u202e\x1b")


def test_without_a_record_the_page_says_so(plan_folder: Path) -> None:
    """The page has no rows, and says that no record was given."""
    report = report_from(plan_folder)
    assert page_of_proof(report).rows == ()
    assert b"0 of 0 ports" in to_proof_page(report)
    assert b"No record was given" in to_text(report)


def test_a_row_has_every_column(plan_folder: Path, tmp_path: Path) -> None:
    """A row has as many cells as there are titles, and numbers begin with 1."""
    rows = page_of_proof(signed(tmp_path, plan_folder)).rows
    assert {len(row) for row in rows} == {len(HEADERS)}
    assert [row[0] for row in rows] == [str(number) for number in range(1, 12)]


@pytest.mark.parametrize(
    ("local", "expected"),
    [
        ("2026-11-19T11:14:03+02:00", "2026-11-19 11:14 +02:00"),
        ("2026-11-18T22:14:03-11:00", "2026-11-18 22:14 -11:00"),
        ("", "2026-11-19 09:14 +00:00"),
        ("soon", "2026-11-19T09:14:03.000Z"),
    ],
)
def test_times_are_local_with_their_offset(local: str, expected: str) -> None:
    """A recorded UTC time is shown as local time of its run, or as UTC if the run has no local time."""
    run = replace(Run(plan="x", revision="", sha256="", version=""), local=local)
    assert local_moment("2026-11-19T09:14:03.000Z", run) == expected


def test_the_ending_chooses_the_form(tmp_path: Path) -> None:
    """HTML and text are written; another ending, and a name that another option has, are refused."""
    page, sheet = tmp_path / "proof.html", tmp_path / "sheet.html"
    assert [kind.ending for _, kind in further([], None, sheet, None, page)] == [".html", ".html"]
    assert [kind.ending for _, kind in further([], None, None, None, tmp_path / "proof.txt")] == [".txt"]
    with pytest.raises(UsageError, match=r"does not end in \.html or \.txt"):
        further([], None, None, None, tmp_path / "proof.pdf")
    with pytest.raises(UsageError, match="named twice"):
        further([], None, page, None, page)
