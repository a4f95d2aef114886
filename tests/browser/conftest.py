"""A headless Chromium for the report's page.

Without Chromium the tests are skipped; in continuous integration they fail.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from netcheck.report.html.page import to_html
from netcheck.report.html.setting_sheet import to_sheet
from netcheck.report.proof_page import to_html as to_proof_page
from tests.programs import need
from tests.report.made import clock_from, every_verdict, plan_text, proof_of, report_from, write_plan, write_record

# These options stop requests of the browser itself while a page is examined.
ARGUMENTS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
)
# Subnets that the sample lacks: one is drawn by blocks, one is a list, one has two addresses.
SUBNETS = """
[[subnet]]
name = "cellar"
prefix = "10.63.0.0/20"
gateway = "10.63.0.1"
pools = ["10.63.4.0-10.63.5.255"]

[[subnet]]
name = "tunnel"
prefix = "2001:db8:20::/64"
gateway = "2001:db8:20::1"

[[subnet]]
name = "link"
prefix = "10.64.0.0/31"

[[device]]
name = "cellar-plc"
  [[device.interface]]
  name = "cpu"
  subnet = "cellar"
  address = "10.63.9.77"
  host-name = "cellar-plc"
  switch-port = "sw-9/1"

[[conversation]]
from = "cellar-plc/cpu"
to = "line-panel/lan"
"""


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Start the browser once."""
    path = need("chromium", "chromium-browser")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the report on a plan with every kind of subnet and two records, and return its path."""
    folder = tmp_path_factory.mktemp("page")
    plan = write_plan(folder / "tarn-hollow", plan_text() + SUBNETS)
    first = write_record(folder / "run.jsonl", plan, every_verdict(), clock_from())
    later = (proof_of("line-panel/lan:1", every_verdict()[0].verdict, "Seen again."),)
    second = write_record(folder / "second.jsonl", plan, later, clock_from(3600))
    path = folder / "report.html"
    before = write_plan(folder / "earlier", plan_text().replace("10.62.20.205", "10.62.20.206"))
    path.write_bytes(to_html(report_from(plan, first, second, before=before)))
    return path


@pytest.fixture(scope="session")
def proof_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the page to sign for a record with every verdict and return its path."""
    folder = tmp_path_factory.mktemp("proof")
    plan = write_plan(folder / "tarn-hollow", plan_text())
    record = write_record(folder / "run.jsonl", plan, every_verdict(), clock_from())
    path = folder / "proof.html"
    path.write_bytes(to_proof_page(report_from(plan, record)))
    return path


@pytest.fixture(scope="session")
def draft_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the report on the draft of the demonstration's plan, with sender and day of the reply; return its path."""
    report = report_from(Path(__file__).parents[2] / "plans" / "tarn-hollow")
    path = tmp_path_factory.mktemp("draft") / "report.html"
    path.write_bytes(to_html(replace(report, reply_by=date(2026, 12, 4), sent_by="Line integration, extension 118")))
    return path


@pytest.fixture(scope="session")
def sheet_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the setting sheet of the same plan and return its path.

    The interfaces of one device do not fit on a page.
    """
    folder = tmp_path_factory.mktemp("sheet")
    interfaces = (
        f'  [[device.interface]]\n  name = "lan{n}"\n  subnet = "cellar"\n  address = "10.63.1.{n}"\n'
        for n in range(1, 15)
    )
    text = plan_text() + SUBNETS + '[[device]]\nname = "rack"\n' + "".join(interfaces)
    report = report_from(write_plan(folder / "tarn-hollow", text))
    path = folder / "sheet.html"
    path.write_bytes(to_sheet(report.checked, report.today))
    return path
