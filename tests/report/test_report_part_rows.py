"""Tests of the parts that all kinds of report share: vocabulary, numbers, tables, cautions and the hash recipe."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from markupsafe import Markup

from netcheck.caution import CAUTION
from netcheck.plan.model import Position, SiteRemark
from netcheck.report.build import report_of
from netcheck.report.csv_tables import requests_to_csv, to_csv
from netcheck.report.html.page import to_html
from netcheck.report.html.setting_sheet import to_sheet
from netcheck.report.json_report import to_json
from netcheck.report.model import Report
from netcheck.report.part_rows import asked_parts, hash_part, island_part, said_part
from netcheck.report.text_report import to_markdown, to_text
from netcheck.report.words import titles_of
from netcheck.report.workbook import to_xlsx
from netcheck.rules.engine import check
from netcheck.survey.read import read_site
from tests.programs import need
from tests.report.made import TODAY, plan_text, write_plan

INSIDE = """
[[subnet]]
name = "inside"
prefix = "192.168.10.0/24"
island = "machine-1"
[[translation]]
outside = "10.62.20.99"
inside = "192.168.10.20"
island = "machine-1"
at = "cell-router"
[[router]]
name = "cell-router"
interfaces = ["10.62.20.98/24"]
[[device]]
name = "cell-plc"
  [[device.interface]]
  name = "cpu"
  subnet = "inside"
  address = "192.168.10.20"
  mac = "00-00-5E-00-53-40"
  switch-port = "cell/1"
[[conversation]]
from = "filler-plc/cpu"
to = "cell-plc/cpu"
services = ["tcp 502"]
starts = "from"
[[remark]]
rule = "inside-pool"
subject = "line-panel/lan"
address = "10.62.20.205"
decision = "question"
by = "site IT"
remark = "since when?"
decided = 2026-11-12
reply = "since 2019"
[[remark]]
rule = "planned-twice"
subject = "line-panel/lan"
decision = "change it to"
change-to = "10.62.20.205"
by = "site IT"
"""


@pytest.fixture
def cells(tmp_path: Path) -> Report:
    """Return a report on a plan with a machine's island, a conversation into it, and two remarks of the site."""
    plan, surveys = read_site(write_plan(tmp_path / "cells", plan_text() + INSIDE))
    return report_of(check(plan, surveys, TODAY), surveys, (), TODAY)


def texts_of(data: bytes) -> str:
    """Return the text of every cell of a workbook."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    return "\n".join(
        str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell is not None
    )


WRITERS: dict[str, Callable[[Report], str]] = {
    "text": lambda report: to_text(report).decode(),
    "markdown": lambda report: re.sub(r"\\(.)", r"\1", to_markdown(report).decode()),
    "page": lambda report: Markup(to_html(report).decode()).striptags(),
    "workbook": lambda report: texts_of(to_xlsx(report)),
    "requests": lambda report: requests_to_csv(report.checked).decode("utf-8-sig"),
    "setting sheet": lambda report: Markup(to_sheet(report.checked, report.today).decode()).striptags(),
}


@pytest.mark.parametrize("since", [False, True], ids=["whole", "since"])
@pytest.mark.parametrize("kind", WRITERS)
def test_the_cautions_are_in_every_kind_of_report(kind: str, since: bool, cells: Report) -> None:
    """Every file has the cautions, also a file that shows only changes."""
    report = cells
    if since:
        before = replace(cells.checked, plan=replace(cells.plan, revision="B"))
        report = report_of(cells.checked, cells.surveys, (), TODAY, before, cells.surveys)
    text = WRITERS[kind](report)
    assert [line for line in CAUTION if line not in text] == []


def test_a_finding_has_the_same_number_in_every_format(cells: Report) -> None:
    """Open findings are numbered in the report's order, accepted ones after them."""
    findings = [*cells.checked.findings, *(each.finding for each in cells.checked.accepted)]
    numbers = {finding.key: str(number) for number, finding in enumerate(findings, 1)}
    shape = json.loads(to_json(cells))
    assert {one["key"]: str(one["number"]) for one in [*shape["findings"], *shape["accepted"]]} == numbers
    rows = list(csv.DictReader(io.StringIO(to_csv(cells).decode("utf-8-sig"))))
    assert [row["number"] for row in rows] == [numbers[row["key"]] for row in rows]
    sheet = openpyxl.load_workbook(io.BytesIO(to_xlsx(cells)))["findings"]
    titles, *lines = sheet.iter_rows(values_only=True)
    assert {line[titles.index("key")]: line[titles.index("number")] for line in lines} == numbers
    text = to_text(cells).decode()
    for number, finding in enumerate(findings, 1):
        assert re.search(rf"^{number} +{finding.rule} +{re.escape(finding.subjects[0])}", text, re.MULTILINE)


def test_islands_are_in_every_table(cells: Report) -> None:
    """Rows name their island; a machine's own address is not requested, but its outside address is."""
    parts = {part.title: part for part in asked_parts(cells)}
    reserved = parts["Addresses to reserve"]
    at = reserved.columns.index("island")
    assert {row[at] for row in reserved.rows} == {"site"}
    assert "10.62.20.99" in {row[reserved.columns.index("address")] for row in reserved.rows}
    assert not [row for part in parts.values() for row in part.rows if "192.168.10.20" in row]
    assert island_part(cells).rows[1] == (
        "machine-1",
        "the machine: not requested",
        "inside",
        "1",
        "10.62.20.99 for 192.168.10.20 at cell-router",
    )
    text = to_text(cells).decode()
    assert re.search(r"^no\. +rule +subject +island", text, re.MULTILINE)


def test_a_firewall_row_has_protocol_port_and_side(cells: Report) -> None:
    """Each service of a conversation is one row with both addresses as the firewall sees them."""
    part = next(each for each in asked_parts(cells) if each.title == "Conversations to let through")
    (row,) = (dict(zip(part.columns, row, strict=True)) for row in part.rows)
    assert (row["from-address"], row["to-address"]) == ("10.62.30.70", "10.62.20.99")
    assert (row["protocol"], row["port"], row["opened-by"]) == ("tcp", "502", "filler-plc/cpu")


def test_host_reservations_are_in_address_order(cells: Report) -> None:
    """The table for a DHCP server has MAC, address and name, by subnet and address."""
    part = next(each for each in asked_parts(cells) if each.title.startswith("Host reservations"))
    rows = [dict(zip(part.columns, row, strict=True)) for row in part.rows]
    order = [tuple(map(int, row["address"].split("."))) for row in rows]
    assert order == sorted(order)
    assert {row["set-by"] for row in rows} == {"in the device"}
    assert rows[0]["mac"].startswith("00-00-5E-00-53-")


def test_questions_and_replies_are_in_every_format(cells: Report) -> None:
    """The next revision shows the site's questions with the replies; a remark without its finding is resolved."""
    first, second = (dict(zip(said_part(cells).columns, row, strict=True)) for row in said_part(cells).rows)
    assert (first["remark"], first["reply"], first["state"]) == ("since when?", "since 2019", "open")
    assert (second["decision"], second["number"], second["state"]) == ("change it to", "", "resolved")
    for kind in ("text", "markdown", "workbook", "page"):
        text = WRITERS[kind](cells)
        assert [word for word in ("since when?", "since 2019", "2026-11-12") if word not in text] == [], kind
    (row,) = (each for each in csv.DictReader(io.StringIO(to_csv(cells).decode())) if each["rule"] == "inside-pool")
    assert row["earlier-answers"] == "question by site IT on 2026-11-12: since when?; reply: since 2019"
    said = json.loads(to_json(cells))["site_remarks"]
    assert [(one["number"], one["reply"]) for one in said] == [(int(first["number"]), "since 2019"), (None, None)]


def test_titles_of_columns_are_unique_words() -> None:
    """Titles of columns are lower-case words or abbreviations, and no two columns of a table have one title."""
    assert titles_of(("host-name", "mac", "vlan", "number")) == ("host name", "MAC", "VLAN", "no.")


def test_the_hash_is_made_with_standard_tools(tmp_path: Path) -> None:
    """The recipe of the report, run by a shell in the plan's folder, prints the hash (sha256sum of GNU coreutils)."""
    need("sha256sum")
    folder = tmp_path / "hashed"
    shutil.copytree(Path(__file__).parents[2] / "plans" / "tarn-hollow", folder)
    (folder / "site-hosts.csv").rename(folder / "site hosts' list.csv")
    text = (folder / "plan.toml").read_text("utf-8").replace("site-hosts.csv", "site hosts' list.csv")
    (folder / "plan.toml").write_text(text, "utf-8")
    (folder / "plant.zone").write_text("$INCLUDE more.zone\n", "utf-8")
    (folder / "more.zone").write_text("panel.example. IN A 10.62.30.7\n", "utf-8")
    with (folder / "plan.toml").open("a", encoding="utf-8") as stream:
        stream.write('\n[[survey]]\nfile = "plant.zone"\ntaken = 2026-11-18\ncovers = []\n')
    plan, surveys = read_site(folder)
    report = report_of(check(plan, surveys, TODAY), surveys, (), TODAY)
    assert plan.files[0] == "plan.toml"
    assert set(plan.files) == {path.name for path in folder.iterdir()}
    (command,) = (line.removeprefix("Linux: ") for line in hash_part(report).lines if line.startswith("Linux: "))
    done = subprocess.run(["sh", "-c", command], cwd=folder, capture_output=True, text=True, check=True)
    assert done.stdout.split()[0] == plan.sha256
    assert plan.sha256 in to_text(report).decode()


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Report, int], str]:
    """Return a function that prints a workbook on a paper size with a spreadsheet program, and reads the pages."""
    program, paper, words = need("soffice", "libreoffice"), need("pdfinfo"), need("pdftotext")
    folder = tmp_path_factory.mktemp("print")

    def printed(report: Report, size: int) -> str:
        book = openpyxl.load_workbook(io.BytesIO(to_xlsx(report)))
        for sheet in book:
            sheet.page_setup.paperSize = size
        file = folder / f"{size}.xlsx"
        book.save(file)
        told = [program, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless", "--convert-to", "pdf"]
        subprocess.run([*told, "--outdir", str(folder), str(file)], capture_output=True, timeout=120, check=True)
        out = str(file.with_suffix(".pdf"))
        info = subprocess.run([paper, out], capture_output=True, text=True, check=True).stdout
        text = subprocess.run([words, "-layout", out, "-"], capture_output=True, text=True, check=True).stdout
        return info + text

    return printed


@pytest.mark.slow
@pytest.mark.parametrize(("size", "points"), [(9, "841.89 x 595.304"), (1, "792 x 612")], ids=["A4", "Letter"])
def test_the_workbook_prints(size: int, points: str, cells: Report, pages: Callable[[Report, int], str]) -> None:
    """Each page has the titles, the plan, its hash and its number; no table is wider than a page."""
    report = replace(cells, today=date(2026, 11, 20))
    text = pages(report, size)
    info, _, rest = text.partition("Page size:")
    assert rest.strip().startswith(points), rest[:60]
    count = int(re.search(r"Pages: +(\d+)", info)[1])  # type: ignore[index]
    several = text.split("\f")[:count]
    sheets = len(openpyxl.load_workbook(io.BytesIO(to_xlsx(report))).sheetnames)
    assert sheets <= count <= sheets + 6
    for number, page in enumerate(several, 1):
        assert f"page {number} of {count}" in page
        assert report.plan.sha256 in page
        assert "Tarn Hollow creamery, revision C" in page
    found = next(page for page in several if "decision" in page and "subjects" in page)
    assert all(title in found for title in ("number", "change-to", "remark", "until", "severity"))


def test_a_remark_has_the_number_of_its_own_finding(cells: Report) -> None:
    """The number is that of the finding with the rule, subject and address of the remark."""
    other = SiteRemark(
        rule="inside-pool", subject="line-panel/lan", decision="question", position=Position(""), address="10.62.20.206"
    )
    plan = replace(cells.plan, remarks=(other,))
    report = replace(cells, checked=replace(cells.checked, plan=plan))
    assert said_part(report).rows[0][0] == ""
