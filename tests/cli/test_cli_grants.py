"""Tests of requests to IT that were granted or refused, in the file of the requests."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from netcheck.plan.read import read_plan
from netcheck.plan.write.new_plan import new_workbook
from tests.cli.test_cli_answers import DAY, netcheck
from tests.report.made import write_plan

Row = dict[str, str]


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Return a folder with a plan and its requests."""
    write_plan(tmp_path / "p")
    assert netcheck(tmp_path, "report", "p", "--requests", "asked.csv").returncode == 0
    return tmp_path


def rows_of(file: Path) -> list[Row]:
    """Return the rows of a CSV file."""
    with file.open(newline="", encoding="utf-8-sig") as stream:
        return list(csv.DictReader(stream))


def answered(file: Path, rows: list[Row]) -> None:
    """Save the rows like a spreadsheet program."""
    with file.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)


def test_granted_reservations_go_into_the_plan(desk: Path) -> None:
    """A grant has name, date and ticket; the next requests show it, and reading the answers again changes nothing."""
    rows = rows_of(desk / "asked.csv")
    row = next(row for row in rows if row["subject"] == "filler-plc/cpu" and row["kind"] == "reservation")
    row.update({"granted": "x", "by": "site IT; network", "ticket": "CHG-118", "date": "20.11.2026"})
    answered(desk / "asked.csv", rows)
    result = netcheck(desk, "answers", "p", "asked.csv", "--format", "json")
    shape = json.loads(result.stdout)
    words = "by site IT network on 2026-11-20 ticket CHG-118"
    assert (result.returncode, shape["granted"], shape["written"]) == (0, {"filler-plc/cpu": words}, True)
    assert read_plan(desk / "p").interface_named["filler-plc/cpu"].granted == words
    assert netcheck(desk, "report", "p", "--requests", "again.csv").returncode == 0
    again = next(row for row in rows_of(desk / "again.csv") if row["subject"] == "filler-plc/cpu")
    assert f"granted by {words}" in again["note"] or words in again["note"]
    assert netcheck(desk, "answers", "p", "asked.csv").stderr == "nothing to write\n"


def test_a_granted_proposal_becomes_the_address(desk: Path) -> None:
    """The plan gets the requested address, and the conflict is gone."""
    rows = rows_of(desk / "asked.csv")
    row = next(row for row in rows if "proposed instead of" in row["note"])
    row.update({"granted": "yes", "by": "site IT"})
    answered(desk / "asked.csv", rows)
    assert netcheck(desk, "answers", "p", "asked.csv").returncode == 0
    interface = read_plan(desk / "p").interface_named[row["subject"]]
    assert interface.address is not None
    assert (interface.address.text, interface.granted) == (row["address"], f"by site IT on {DAY}")


def test_refused_and_contradictory_rows(desk: Path) -> None:
    """A refusal is reported and stores nothing; a row with both answers, or without a name, has a flaw."""
    rows = [row for row in rows_of(desk / "asked.csv") if row["kind"] == "reservation"]
    rows[0].update({"refused": "x", "by": "site IT", "ticket": "CHG-7"})
    rows[1].update({"refused": "x", "granted": "x", "by": "site IT"})
    rows[2].update({"granted": "x"})
    answered(desk / "asked.csv", rows)
    before = (desk / "p" / "plan.toml").read_bytes()
    result = netcheck(desk, "answers", "p", "asked.csv")
    assert result.returncode == 1
    assert "Refused: the plan has to change" in result.stdout
    assert "ticket CHG-7" in result.stdout
    assert "row 3: the request is granted and refused" in result.stdout
    assert "row 4: the column by is empty" in result.stdout
    assert (desk / "p" / "plan.toml").read_bytes() == before


def test_answered_requests_are_not_overwritten(desk: Path) -> None:
    """Writing the requests again does not delete the answers."""
    rows = rows_of(desk / "asked.csv")
    rows[0].update({"granted": "x", "by": "site IT"})
    answered(desk / "asked.csv", rows)
    result = netcheck(desk, "report", "p", "--requests", "asked.csv")
    assert (result.returncode, "it has answers, the first in row 2" in result.stderr) == (2, True)


def test_a_workbook_plan_takes_grants(tmp_path: Path) -> None:
    """The grant is in the column `granted` of the interfaces."""
    from datetime import date

    (tmp_path / "plan.xlsx").write_bytes(new_workbook("plan", ["too-near"], date(2026, 11, 2)))
    assert netcheck(tmp_path, "report", "plan.xlsx", "--requests", "asked.csv").returncode == 0
    rows = rows_of(tmp_path / "asked.csv")
    row = next(row for row in rows if row["kind"] == "reservation" and row["address"])
    row.update({"granted": "x", "by": "site IT"})
    answered(tmp_path / "asked.csv", rows)
    assert netcheck(tmp_path, "answers", "plan.xlsx", "asked.csv").returncode == 0
    assert read_plan(tmp_path / "plan.xlsx").interface_named[row["subject"]].granted == f"by site IT on {DAY}"


def test_granted_requests_of_all_kinds_are_kept_and_not_repeated(desk: Path) -> None:
    """A granted pool change, DNS pair, conversation and switch port are in the plan, with the day of the answer."""
    text = (desk / "p" / "plan.toml").read_text("utf-8")
    text = text.replace('name = "Tarn', 'domain = "creamery.example"\nname = "Tarn')
    text = text.replace(
        'address = "10.62.20.72"', 'address = "10.62.20.72"\nhost-name = "drive"\nswitch-port = "sw-1/3"'
    )
    talk = '[[conversation]]\nfrom = "filler-plc/cpu"\nto = "separator-drive/lan"\nservices = ["tcp 502", "udp 67"]\n'
    (desk / "p" / "plan.toml").write_text(text + talk, "utf-8")
    assert netcheck(desk, "report", "p", "--requests", "asked.csv").returncode == 0
    rows = rows_of(desk / "asked.csv")
    kinds = ["pool change", "DNS record", "DNS record", "conversation", "conversation", "switch port"]
    several = [row for row in rows if row["kind"] not in ("reservation", "caution")]
    assert [row["kind"] for row in several] == kinds
    for row in several[:4] + several[5:]:
        row.update({"granted": "x", "by": "site IT", "ticket": "CHG-9"})
    answered(desk / "asked.csv", rows)
    shape = json.loads(netcheck(desk, "answers", "p", "asked.csv", "--format", "json").stdout)
    assert (len(shape["noted"]), shape["granted"], shape["mend"], shape["written"]) == (5, {}, [], True)
    grants = read_plan(desk / "p").granted
    assert [one.kind for one in grants] == [*kinds[:4], "switch port"]
    assert {(one.by, one.ticket, str(one.decided)) for one in grants} == {("site IT", "CHG-9", DAY)}
    assert netcheck(desk, "answers", "p", "asked.csv", day="2026-12-24").stderr == "nothing to write\n"
    assert netcheck(desk, "report", "p", "--requests", "again.csv", "--out", "r.md").returncode == 0
    again = [row["note"] for row in rows_of(desk / "again.csv") if row["kind"] not in ("reservation", "caution")]
    said = [f"granted by site IT on {DAY} ticket CHG-9" in note for note in again]
    assert said == [True, True, True, True, False, True]
    needed = next(line for line in (desk / "r.md").read_text("utf-8").splitlines() if line.startswith("Needed from IT"))
    assert needed.endswith("10 reservations and 1 conversation")


def test_a_request_without_an_address_is_shown_without_a_gap(desk: Path) -> None:
    """The address of the interface cannot be read, so its request has none."""
    plan = desk / "p" / "plan.toml"
    plan.write_text(plan.read_text("utf-8").replace('  address = "10.62.', '  address = "1O.62.', 1), "utf-8")
    assert netcheck(desk, "report", "p", "--requests", "asked.csv").returncode == 0
    rows = rows_of(desk / "asked.csv")
    row = next(row for row in rows if row["kind"] == "reservation" and not row["address"])
    row.update({"refused": "x", "by": "site IT"})
    answered(desk / "asked.csv", rows)
    shown = netcheck(desk, "answers", "p", "asked.csv").stdout
    assert f"reservation of {row['subject']}: by site IT on {DAY}" in shown
