"""Tests of answering the report on its page in a real browser: the saved file goes through `netcheck answers`."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Dialog, Locator, Page

from netcheck.answers.read import from_file
from netcheck.answers.table import COLUMNS, TO_ANSWER
from netcheck.answers.table import row_of as cells_of
from netcheck.app.answers import apply_answers
from netcheck.plan.read import read_plan
from netcheck.report.html.page import ANSWER_COLUMNS, to_html
from tests.browser.test_browser_page import DESK, PHONE, open_page
from tests.report.made import TODAY, report_from

PLANT = Path(__file__).parents[2] / "plans" / "tarn-hollow"
REMARK = '=HYPERLINK("x"), "quoted"\nsecond line; \u00fc'


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Return a folder with the plan of the demonstration and its report."""
    shutil.copytree(PLANT, tmp_path / "p")
    (tmp_path / "report.html").write_bytes(to_html(report_from(tmp_path / "p")))
    return tmp_path


def row_of(page: Page, subject: str, words: str) -> Locator:
    """Return the row of the finding of a subject whose text contains these words, scrolled into view."""
    row = page.locator(".finding", has=page.locator("th b", has_text=subject)).filter(has_text=words)
    row.scroll_into_view_if_needed()
    row.locator("input[type=radio]").first.wait_for()
    return row


def choose(row: Locator, decision: str, remark: str = "") -> None:
    """Choose a decision and write a remark."""
    row.get_by_role("radio", name=decision).check()
    if remark:
        row.get_by_label("remark").fill(remark)


def saved(page: Page, folder: Path, name: str = "Site IT, network team") -> Path:
    """Write the name, save the answers and return the file."""
    page.get_by_label("Your name").fill(name)
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save answers").click()
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path


def fill_in(page: Page) -> None:
    """Give every kind of answer, to findings and to requests."""
    choose(row_of(page, "silo-io/bus", "inside the reserved range"), "use the proposal")
    choose(row_of(page, "case-packer-io/bus", "3 away from"), "live with it as it is", REMARK)
    moved = row_of(page, "water-io/bus", "directed-broadcast")
    choose(moved, "change it to")
    moved.get_by_label("new value").fill("10.62.40.80")
    choose(row_of(page, "checkweigher/lan", "host name scales-1"), "question", "Which scales are meant?")
    request = page.locator("tr.request", has_text="filler-plc/cpu").filter(has_text="10.62.30.70").first
    request.scroll_into_view_if_needed()
    request.get_by_role("radio", name="granted").check()
    request.get_by_label("ticket").fill("=CHG-118")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_answers_given_on_the_page_reach_the_plan(
    chromium: Browser, desk: Path, size: dict[str, int], capsys: pytest.CaptureFixture[str]
) -> None:
    """Decisions, grants and remarks of the saved file go into the plan unchanged, and the page sends nothing."""
    with open_page(chromium, desk / "report.html", size) as page:
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        fill_in(page)
        file = saved(page, desk)
        assert file.name == "p-C-answers.csv"
        assert "5 of " in page.locator("#answers output").inner_text()
    with file.open(newline="", encoding="utf-8-sig") as stream:
        rows = list(csv.DictReader(stream))
    assert tuple(rows[0]) == ANSWER_COLUMNS
    assert {row["plan-sha256"] for row in rows} == {read_plan(desk / "p").sha256}
    assert {row["by"] for row in rows} == {"Site IT, network team"}
    assert next(row["remark"] for row in rows if row["address"] == "10.62.30.97").startswith("'=HYPERLINK")
    assert apply_answers(desk / "p", file, TODAY, "", write=True, as_json=True) == 0
    told = json.loads(capsys.readouterr().out)
    plan = read_plan(desk / "p")
    places = {subject: plan.interface_named[subject].address for subject in ("silo-io/bus", "water-io/bus")}
    assert {subject: str(cell.value) for subject, cell in places.items() if cell} == {
        "silo-io/bus": "10.62.20.78",
        "water-io/bus": "10.62.40.80",
    }
    accepted = next(each for each in plan.accepted if each.subject == "case-packer-io/bus")
    assert (accepted.rule, accepted.by) == ("too-near", "Site IT, network team")
    assert accepted.because == " ".join(REMARK.split())
    assert [one["subjects"] for one in told["question"]] == [["checkweigher/lan"]]
    granted = plan.interface_named["filler-plc/cpu"].granted
    assert granted == f"by Site IT network team on {date.today()} ticket =CHG-118"
    assert list(told["requests"]["granted"]) == ["filler-plc/cpu"]


def test_every_row_of_the_saved_file_names_its_finding(chromium: Browser, desk: Path) -> None:
    """The cells of a saved row equal those of the CSV report, so that a person can read the file too."""
    findings = report_from(desk / "p").checked.findings
    with open_page(chromium, desk / "report.html", DESK) as page:
        page.evaluate(
            """async () => {
                for (const row of document.querySelectorAll(".finding")) {
                    row.scrollIntoView();
                    while (!row.querySelector("input[value=question]")) await new Promise(requestAnimationFrame);
                    row.querySelector("input[value=question]").click();
                }
            }"""
        )
        file = saved(page, desk)
    with file.open(newline="", encoding="utf-8-sig") as stream:
        rows = {row["key"]: row for row in csv.DictReader(stream)}
    assert len(rows) == len(findings) == len(from_file(file))
    for finding in findings:
        cells = dict(zip(COLUMNS, cells_of(finding), strict=True))
        for title in set(COLUMNS) - set(TO_ANSWER):
            assert rows[finding.key][title].lstrip("'") == " ".join(cells[title].replace("`", "").split()), title


def test_nothing_is_lost_on_reload(chromium: Browser, desk: Path) -> None:
    """After a reload the answers are still there, and leaving the page with unsaved answers asks first."""
    with open_page(chromium, desk / "report.html", DESK) as page:
        choose(row_of(page, "silo-io/bus", "inside the reserved range"), "question", "Reserved for what?")
        asked: list[str] = []

        def accept(dialog: Dialog) -> None:
            asked.append(dialog.type)
            dialog.accept()

        page.on("dialog", accept)
        page.reload()
        row = row_of(page, "silo-io/bus", "inside the reserved range")
        assert row.get_by_role("radio", name="question").is_checked()
        assert row.get_by_label("remark").input_value() == "Reserved for what?"
        assert "1 of " in page.locator("#answers output").inner_text()
        saved(page, desk)
        page.reload()
        assert asked == ["beforeunload"]


def test_missing_answers_are_reported_before_and_after_saving(chromium: Browser, desk: Path) -> None:
    """Without a name nothing is saved; the message names each conflict that was accepted without a reason."""
    with open_page(chromium, desk / "report.html", DESK) as page:
        row = row_of(page, "silo-io/bus", "inside the reserved range")
        choose(row, "live with it as it is")
        page.get_by_role("button", name="Save answers").click()
        assert "Write your name first" in page.locator("#answers output").inner_text()
        saved(page, desk)
        number = row.locator(".number").inner_text()
        assert f"A remark or value is missing for finding {number}." in page.locator("#answers output").inner_text()
        page.emulate_media(media="print")  # paper shows the cross in the box, and no empty date
        box = row.get_by_role("radio", name="live with it as it is")
        assert box.evaluate("box => getComputedStyle(box).printColorAdjust") == "exact"
        assert row.get_by_label("until").is_hidden()
        page.emulate_media(media="screen")
        row.get_by_role("radio", name="live with it as it is").click()
        assert "0 of " in page.locator("#answers output").inner_text()


def test_all_requests_of_a_table_are_granted_at_once(chromium: Browser, desk: Path) -> None:
    """One button marks a whole table; a refused request stays refused."""
    with open_page(chromium, desk / "report.html", DESK) as page:
        first = page.locator("table.reservations tr.request").first
        first.scroll_into_view_if_needed()
        first.get_by_role("radio", name="refused").check()
        page.locator(".grant-all[data-table=reservations]").click()
        count = page.locator("table.reservations tr.request").count()
        assert page.locator("table.reservations input[value=granted]:checked").count() == count - 1
        file = saved(page, desk)
    with file.open(newline="", encoding="utf-8-sig") as stream:
        rows = list(csv.DictReader(stream))
    assert (sum(row["granted"] == "x" for row in rows), sum(row["refused"] == "x" for row in rows)) == (count - 1, 1)
