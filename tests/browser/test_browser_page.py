"""Tests of the report's page in a real browser.

They cover filters, anchors, requests and errors, a phone, paper, accessibility and size.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page

from netcheck.proof.result import Verdict
from netcheck.report.html.page import to_html
from tests.programs import need
from tests.report.made import clock_from, large_report, plan_text, proof_of, report_from, write_plan, write_record

DESK, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
LIMIT = 10_000_000  # bytes of the large report


@contextmanager
def open_page(browser: Browser, path: Path, size: dict[str, int], *, script: bool = True) -> Iterator[Page]:
    """Open the page in a window; at the end, assert that only the file was requested and that nothing was logged."""
    context = browser.new_context(viewport=size, java_script_enabled=script)  # type: ignore[arg-type]
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(path.as_uri())
    yield page
    context.close()
    assert {url.partition("#")[0] for url in asked} == {path.as_uri()}
    assert said == []


def shown(page: Page, selector: str) -> int:
    """Return the number of visible elements."""
    return page.locator(selector).filter(visible=True).count()


def test_findings_are_filtered_by_text_and_severity(chromium: Browser, page_file: Path) -> None:
    """Text and severity filter the rows, empty groups are hidden, and the count is shown.

    A link to a hidden row shows the row again.
    """
    with open_page(chromium, page_file, DESK) as page:
        all_of_them = shown(page, ".finding")
        page.locator("#findings input[type=search]").fill("LINE-PANEL/lan")
        few = shown(page, ".finding")
        assert 0 < few < all_of_them
        assert page.locator("#findings output").inner_text() == f"{few} of {all_of_them} shown"
        assert shown(page, "#findings tr.rule") < page.locator("#findings tr.rule").count()
        page.locator("#findings input[type=search]").fill("")
        page.locator("#findings select").select_option("risk")
        kinds = page.locator(".finding").filter(visible=True).evaluate_all("rows => rows.map(row => row.dataset.kind)")
        assert set(kinds) == {"risk"}
        hidden = page.locator(".finding[hidden]").first.get_attribute("id")
        page.evaluate("id => { location.hash = id; }", hidden)
        page.wait_for_function("document.querySelectorAll('.finding[hidden]').length === 0")
        assert shown(page, ".finding") == all_of_them


def test_ports_are_filtered_by_verdict(chromium: Browser, page_file: Path) -> None:
    """The filter by verdict shows the rows of that verdict, and the full entry of each of their ports."""
    with open_page(chromium, page_file, DESK) as page:
        page.locator("#proofs select").select_option("impostor")
        rows = page.locator(".port-row").filter(visible=True)
        assert rows.count() == shown(page, ".port") == page.locator("[data-kind=impostor]").count() > 0
        assert all("impostor" in text for text in page.locator(".port").filter(visible=True).all_inner_texts())


def test_everything_is_visible_without_scripts(chromium: Browser, page_file: Path) -> None:
    """Without scripts, all rows and maps are visible and there are no filters."""
    with open_page(chromium, page_file, DESK, script=False) as page:
        assert shown(page, ".filter") == 0
        assert shown(page, ".finding") == page.locator(".finding").count() > 3
        assert shown(page, ".port") == page.locator(".port").count() == 11 + 1
        assert shown(page, "svg.map") == page.locator("svg.map").count()


def test_every_anchor_resolves(chromium: Browser, page_file: Path) -> None:
    """Every link leads to an element of the page, and a block of a map leads to the map of its /24."""
    with open_page(chromium, page_file, DESK) as page:
        lost = page.evaluate(
            "[...document.querySelectorAll('a')].map(a => a.getAttribute('href'))"
            ".filter(to => !to.startsWith('#') || !document.getElementById(to.slice(1)))"
        )
        assert lost == []
        block = page.get_by_role("link", name=re.compile(r"10\.63\.9\.64-10\.63\.9\.79: 1 planned"))
        sheet = (block.get_attribute("href") or "#")[1:]
        block.click()
        assert page.locator(f"svg[id='{sheet}'] > title").text_content() == "Map of 10.63.9.0/24"
        planned = page.locator(f"svg[id='{sheet}'] title", has_text="10.63.9.77")
        assert planned.text_content() == "10.63.9.77: planned cellar-plc/cpu"


def test_the_keyboard_reaches_the_content_first(chromium: Browser, page_file: Path) -> None:
    """The first tab stop is the link that skips the contents; it is visible with the focus and has an outline."""
    with open_page(chromium, page_file, DESK) as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.getAttribute('href')") == "#summary"
        assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


@pytest.mark.parametrize("width", [320, 390, 768], ids=str)
def test_no_sideways_scrolling(chromium: Browser, page_file: Path, width: int) -> None:
    """The page is not wider than the window, down to 320 pixels (WCAG 2.2 success criterion 1.4.10)."""
    with open_page(chromium, page_file, {"width": width, "height": 844}) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width


BROKEN_WORDS = """() => {
    const broken = new Set(), range = document.createRange();
    const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (texts.nextNode()) {
        const node = texts.currentNode;
        const holder = node.parentElement;
        if (!holder.checkVisibility() || holder.closest("svg, .hash, .unseen, script, style")) continue;
        for (const found of node.data.matchAll(/(?<![^\\s(])[A-Za-z][a-z-]{1,13}(?![^\\s.,;:)])/g)) {
            range.setStart(node, found.index);
            range.setEnd(node, found.index + found[0].length);
            const lines = new Set([...range.getClientRects()].map(box => Math.round(box.top)));
            if (lines.size > found[0].split("-").length) broken.add(found[0]);
        }
    }
    return [...broken];
}"""


# Addresses, and the parts of names between hyphens and slashes, that stand on two lines.
BROKEN_PIECES = """selector => {
    const broken = new Set(), range = document.createRange();
    for (const holder of document.querySelectorAll(selector)) {
        if (!holder.checkVisibility() || holder.textContent.length > 28) continue;
        const texts = document.createTreeWalker(holder, NodeFilter.SHOW_TEXT);
        while (texts.nextNode()) {
            const node = texts.currentNode;
            for (const found of node.data.matchAll(/[0-9A-F]{2}(?:-[0-9A-F]{2}){5}|[^\\s/-]+/g)) {
                range.setStart(node, found.index);
                range.setEnd(node, found.index + found[0].length);
                if (new Set([...range.getClientRects()].map(box => Math.round(box.top))).size > 1) broken.add(found[0]);
            }
        }
    }
    return [...broken];
}"""


@pytest.mark.parametrize("width", [320, 390, 768, 1280], ids=str)
def test_no_short_word_is_broken(chromium: Browser, page_file: Path, width: int) -> None:
    """No word of up to 14 letters stands on two lines, except at its hyphens."""
    with open_page(chromium, page_file, {"width": width, "height": 844}) as page:
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        assert page.evaluate(BROKEN_WORDS) == []


@pytest.mark.parametrize("width", [880, 980, 1280], ids=str)
def test_no_short_text_of_a_request_is_broken(chromium: Browser, draft_file: Path, width: int) -> None:
    """No address and no word of a request stands on two lines while the column of notes has room.

    An address and a MAC stay whole; a name is broken only after a hyphen or a slash.
    """
    with open_page(chromium, draft_file, {"width": width, "height": 900}) as page:
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator(".requests .part").count() > 100
        assert page.evaluate(BROKEN_PIECES, ".requests .part, .ip-list td") == []
        assert page.evaluate(BROKEN_WORDS) == []


@pytest.mark.parametrize("width", [320, 390, 768, 900, 1100, 1280], ids=str)
def test_the_page_to_sign_breaks_no_word(chromium: Browser, proof_file: Path, width: int) -> None:
    """The columns of ports and places do not shrink to a few letters, and the page is not wider than the window."""
    with open_page(chromium, proof_file, {"width": width, "height": 900}) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(BROKEN_PIECES, ".ports td") == []
        assert page.evaluate(BROKEN_WORDS) == []


@pytest.mark.parametrize("width", [320, 768, 1280], ids=str)
@pytest.mark.parametrize("media", ["screen", "print"])
def test_the_facts_of_a_port_do_not_overlap(
    chromium: Browser, page_file: Path, media: Literal["screen", "print"], width: int
) -> None:
    """The name of each fact ends before its value begins: `Second owner unheard` is the longest name."""
    with open_page(chromium, page_file, {"width": width, "height": 900}) as page:
        page.emulate_media(media=media)
        over = """() => [...document.querySelectorAll('.pairs dt')].filter(dt => {
            const range = document.createRange();
            range.selectNodeContents(dt);
            return range.getBoundingClientRect().right + 4 > dt.nextElementSibling.getBoundingClientRect().left;
        }).map(dt => dt.textContent)"""
        assert page.locator(".pairs dt", has_text="Second owner unheard").count() > 0
        assert page.evaluate(over) == []
        lines = """() => Math.max(...[...document.querySelectorAll('.phases td')]
            .filter(td => td.textContent.includes(' of ')).map(td => {
                const range = document.createRange();
                range.selectNodeContents(td);
                return range.getClientRects().length;
            }))"""
        assert page.evaluate(lines) == 1  # "18 of 18" stays on one line


def test_the_page_to_sign_on_a_phone(chromium: Browser, proof_file: Path) -> None:
    """The table of ports scrolls in its own box: the page is not wider than the window, and no word is broken."""
    with open_page(chromium, proof_file, PHONE) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        assert page.evaluate(BROKEN_WORDS) == []


def test_no_sideways_scrolling_with_very_long_names(chromium: Browser, tmp_path: Path) -> None:
    """The page is not wider than a phone, even with names of 10,000 characters and markup in every text."""
    word = "<b>=\u202e" + "\u6f22x" * 5000
    text = plan_text()
    text = text.replace('"10.62.20.73"', f'"{word}"\n  switch-port = "{word}"\n  host-name = "{word}"')
    for name in ("process", "Tarn Hollow creamery", "panel 3", "site IT", "the camera is taken down in week 50"):
        text = text.replace(f'"{name}"', f'"{name}{word}"')
    plan = write_plan(tmp_path / "tarn-hollow", text)
    proofs = (proof_of("line-panel/lan:1", Verdict.PROVEN, word, vendor=word, notes=(word,), evidence=((word, word),)),)
    report = report_from(plan, write_record(tmp_path / "run.jsonl", plan, proofs, clock_from()))
    path = tmp_path / "report.html"
    path.write_bytes(to_html(report))
    with open_page(chromium, path, PHONE) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert page.locator("main :text('<b>')").count() > 10
        assert page.locator("b", has_text=word[:3]).locator("b").count() == 0


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_everything_is_printed(chromium: Browser, page_file: Path, tmp_path: Path, paper: str) -> None:
    """On paper, every finding and port is printed, even if filtered out; table heads repeat, and no row is cut."""
    pdftotext = need("pdftotext")
    path = tmp_path / "report.pdf"
    with open_page(chromium, page_file, DESK) as page:
        page.locator("#findings input[type=search]").fill("nothing of this")
        assert shown(page, ".finding") == 0
        path.write_bytes(page.pdf(format=paper))
        subjects = page.locator(".port-row th").all_text_contents()
        findings = page.locator(".finding").count()
    text = subprocess.run([pdftotext, "-layout", str(path), "-"], capture_output=True, text=True, check=True).stdout
    sheets = text.split("\f")
    assert [subject for subject in subjects if subject.strip() not in text] == []
    assert text.count("question") >= findings
    assert "Skip to the summary" not in text
    assert "Save answers" not in text
    rules = [sheet for sheet in sheets if "RFC" in sheet and "our own rule" in sheet and "Reported when" in sheet]
    assert len(rules) >= 2  # the table of rules is longer than one sheet of paper


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_printed_page_names_the_plan(
    chromium: Browser, page_file: Path, sheet_file: Path, tmp_path: Path, paper: str
) -> None:
    """Every printed page has plan, revision, hash and number, and more text than one sentence.

    No address, MAC, name or hash is broken at the end of a line.
    """
    pdftotext = need("pdftotext")
    for file in (page_file, sheet_file):
        path = tmp_path / "printed.pdf"
        with open_page(chromium, file, DESK) as page:
            path.write_bytes(page.pdf(format=paper))
            whole = page.locator(".w:visible, .address:visible, .hash:visible").all_inner_texts()
            sha256 = page.locator("footer .hash, header .hash").last.inner_text()
        text = subprocess.run([pdftotext, "-layout", str(path), "-"], capture_output=True, text=True, check=True).stdout
        sheets = text.split("\f")[:-1]
        for number, sheet in enumerate(sheets, 1):
            assert "Tarn Hollow creamery, revision C" in sheet
            assert f"Plan SHA-256 {sha256}" in sheet
            assert re.search(rf"page +{number} +of +{len(sheets)}", sheet)
            assert len([line for line in sheet.splitlines() if line.strip()]) > 6
        assert [one for one in set(whole) if one.strip() not in text] == []
        assert re.findall(r"(?:[0-9A-F]{2}-){1,5}(?=\s)|[0-9]{4}-(?:[0-9]{2}-)?(?=\s)", text) == []  # MACs and dates


def test_no_printed_page_has_only_the_footer(chromium: Browser, page_file: Path, draft_file: Path) -> None:
    """The footer is not printed: it would stand alone on a last page. The first page has its date and version."""
    for file in (page_file, draft_file):
        with open_page(chromium, file, DESK) as page:
            written = page.locator("body > footer").inner_text()
            assert re.search(r"by netcheck \S+ on", written)
            page.emulate_media(media="print")
            assert shown(page, "body > footer") == 0
            checked = page.locator("#summary dt", has_text="Checked on").locator("+ dd").inner_text()
            assert re.fullmatch(r"\d{4}-\d\d-\d\d, by netcheck \S+", checked)


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_first_screen_says_what_it_must_do(chromium: Browser, draft_file: Path, size: dict[str, int]) -> None:
    """Whether the plan can be installed, what is needed by when, and who sent it are visible without scrolling."""
    with open_page(chromium, draft_file, size) as page:
        for said in (
            "Do not install as drafted",
            "Needed from IT by 4 December 2026",
            "26 decisions",
            "Line integration",
        ):
            box = page.locator("#summary").get_by_text(said).first.bounding_box()
            assert box is not None
            assert box["y"] + box["height"] <= size["height"]


def test_a_draft_with_many_findings_is_short_on_a_phone(chromium: Browser, draft_file: Path) -> None:
    """The page of 26 findings is at most 16 screens long on a phone.

    Cards are compact, sections for reference are folded, and a link from the contents opens its section.
    """
    with open_page(chromium, draft_file, PHONE) as page:
        assert page.locator(".finding").count() == 26
        assert page.evaluate("document.documentElement.scrollHeight") <= 16 * PHONE["height"]
        assert shown(page, "#asked table") == shown(page, "#rules table") == 0
        page.locator("nav a[href='#asked']").click()
        page.wait_for_function("document.querySelector('#asked details').open")
        assert shown(page, "#asked table") > 3


def test_proofs_come_first_if_there_is_a_record(chromium: Browser, page_file: Path, draft_file: Path) -> None:
    """If there is a record, the proofs stand before the findings; otherwise there is no section of proofs."""
    for file, expected in (
        (page_file, ["changes", "proofs", "findings", "asked"]),
        (draft_file, ["findings", "asked"]),
    ):
        with open_page(chromium, file, DESK) as page:
            order = page.locator("main > section").evaluate_all("all => all.map(one => one.id)")
        assert order[1 : 1 + len(expected)] == expected


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_block_of_the_setting_sheet_is_cut(chromium: Browser, sheet_file: Path, tmp_path: Path, paper: str) -> None:
    """No block and no label is cut.

    Each page has one box for initials and one address for each interface that begins on it.
    """
    pdftotext = need("pdftotext")
    path = tmp_path / "sheet.pdf"
    with open_page(chromium, sheet_file, DESK) as page:
        path.write_bytes(page.pdf(format=paper))
        interfaces, labels = page.locator(".face").count(), page.locator(".label").count()
    text = subprocess.run([pdftotext, "-layout", str(path), "-"], capture_output=True, text=True, check=True).stdout
    sheets = [sheet for sheet in text.split("\f") if "initials" in sheet]
    assert len(sheets) > 3
    for sheet in sheets:
        begun = re.findall(r"interface (?:\S+/)?\w+(?:, slot \d+)?, connector", sheet)
        assert sheet.count("initials") == len(begun) == sheet.count("MAC on the nameplate")
    assert text.count("initials") == interfaces
    strip = text[text.index("Labels to cut out") :]
    assert len(re.findall(r"\S+/\w+:\w+", strip)) == labels > 10


def test_the_setting_sheet_on_a_screen(chromium: Browser, sheet_file: Path) -> None:
    """On a phone, the setting sheet is not wider than the window, and axe-core reports no violation."""
    checker = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    with open_page(chromium, sheet_file, PHONE) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        assert page.evaluate(BROKEN_WORDS) == []
        # All blocks and labels have the same form, and checking each takes time, so most are removed.
        page.evaluate(
            "document.querySelectorAll('.device:nth-of-type(n + 4), .label:nth-of-type(n + 4)')"
            ".forEach(each => each.remove())"
        )
        page.evaluate(checker)
        found: dict[str, Any] = page.evaluate("axe.run()")
    assert [each["id"] for each in found["violations"]] == []
    assert len(found["passes"]) > 10


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_accessibility(
    chromium: Browser, page_file: Path, scheme: Literal["light", "dark"], size: dict[str, int]
) -> None:
    """axe-core, a general-purpose checker, reports no violation, including contrast (WCAG 2.2, 1.4.3, AA)."""
    checker = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    with open_page(chromium, page_file, size) as page:
        page.emulate_media(color_scheme=scheme)
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        page.locator(".finding").first.scroll_into_view_if_needed()
        page.locator(".finding input[type=radio]").first.check()
        assert shown(page, "#changes table") > 0
        assert shown(page, "#asked table") > 0
        page.evaluate(checker)
        # All cells of the maps, rows and ports have the same form, and checking each takes time, so most are removed.
        alike = "svg.map > g:nth-of-type(n + 9), tr:not(.rule):nth-of-type(n + 6), .port:nth-of-type(n + 4)"
        page.evaluate("alike => document.querySelectorAll(alike).forEach(each => each.remove())", alike)
        found: dict[str, Any] = page.evaluate("axe.run()")
    assert [(each["id"], [node["html"][:200] for node in each["nodes"][:3]]) for each in found["violations"]] == []
    assert len(found["passes"]) > 20
    assert "color-contrast" in {each["id"] for each in found["passes"]}


def test_a_large_report_opens_at_once(chromium: Browser, tmp_path: Path) -> None:
    """A report with 5,000 findings and 2,000 proofs is below 10 MB; the browser lays out only parts near the window.

    `tests/bench/page.py` measures the seconds.
    """
    data = to_html(large_report(tmp_path))
    assert len(data) < LIMIT
    path = tmp_path / "report.html"
    path.write_bytes(data)
    with open_page(chromium, path, DESK) as page:
        page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        laid_out = """selector => [...document.querySelectorAll(selector)].filter(
            one => one.checkVisibility({contentVisibilityAuto: true})).length"""
        assert page.locator(".finding").count() == 5000
        assert page.evaluate(laid_out, ".finding") <= 600
        assert page.evaluate(laid_out, ".port h4") <= 100
        page.locator("#findings input[type=search]").fill("machine-4321/lan")
        assert page.locator("#findings output").inner_text() == "2 of 5000 shown"
