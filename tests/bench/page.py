"""How soon a report of 5,000 findings and 2,000 proofs opens: `python tests/bench/page.py`, with Chromium.

Side by side in one run: the report, the same without deferred layout, and a page that holds nothing but the report's
text. Printed are seconds until the second frame, the least of two, and their ratios.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from playwright.sync_api import Browser, sync_playwright

from netcheck.report.html.page import to_html
from tests.bench.results import publish
from tests.report.made import large_report

ROUNDS = 2


def seconds(browser: Browser, path: Path) -> float:
    """Until the page has painted, from the request on."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    start = time.monotonic()
    page.goto(path.as_uri(), timeout=180_000)
    page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    took = time.monotonic() - start
    page.close()
    return took


def main() -> None:
    """Measure, and print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        start = time.monotonic()
        report = large_report(folder)
        made = time.monotonic()
        data = to_html(report)
        wrote = time.monotonic()
        pages = {
            "the report": data,
            "laid out whole": data.replace(b'<body class="many">', b"<body>"),
            "its text alone": b"<!DOCTYPE html><pre>" + re.sub(rb"<[^>]*>", b"", data.split(b"<main>")[1]),
        }
        for number, text in enumerate(pages.values()):
            (folder / f"{number}.html").write_bytes(text)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
            seconds(browser, folder / "2.html")
            took = {
                what: min(seconds(browser, folder / f"{number}.html") for _ in range(ROUNDS))
                for number, what in enumerate(pages)
            }
            browser.close()
    rows = [(what, f"{each:.2f} s", f"{each / took['the report']:.2f}") for what, each in took.items()]
    note = f"{len(data) / 1e6:.1f} MB; written in {wrote - made:.1f} s; gathered in {made - start:.1f} s"
    publish("Report page", ("page", "opened in", "of the report"), rows, note)


if __name__ == "__main__":
    main()
