"""Tests of `netcheck answers` from the command line: check, report, answer, read the answers, check again."""

from __future__ import annotations

import csv
import json
import subprocess
from collections.abc import Callable
from datetime import date
from difflib import ndiff
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from netcheck.answers.table import NEVER_ACCEPTED, PLAN_COLUMN, REPORT_COLUMNS
from netcheck.plan.read import read_plan
from netcheck.plan.write.new_plan import new_workbook
from tests import command_line
from tests.programs import need
from tests.report.made import plan_text, write_plan

DAY = "2026-11-20"
Row = dict[str, str]


def netcheck(folder: Path, *words: str, day: str = DAY) -> subprocess.CompletedProcess[str]:
    """Run the command line in a folder, with the date *day*."""
    return command_line.netcheck(*words, "--today", day, cwd=folder)


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Return a folder with a plan, and its findings as CSV and as a workbook."""
    write_plan(tmp_path / "p")
    result = netcheck(tmp_path, "report", "p", "--out", "a.csv", "--out", "a.xlsx")
    assert (result.returncode, result.stderr) == (0, "")
    return tmp_path


def answered(file: Path, answer: Callable[[Row], None], **form: str) -> None:
    """Answer a CSV file and save it in the given form, like another program."""
    with file.open(newline="", encoding="utf-8-sig") as stream:
        rows = list(csv.DictReader(stream))
    for row in rows:
        answer(row)
    with file.open("w", newline="", encoding=form.get("encoding", "utf-8")) as stream:
        writer = csv.DictWriter(stream, list(rows[0])[:: -1 if "turned" in form else 1], delimiter=form.get("by", ","))
        writer.writeheader()
        writer.writerows(rows)


def accept_until_december(row: Row) -> None:
    """Accept the conflict about the camera's address until the end of the year."""
    if row["rule"] == "taken-on-site":
        row.update(decision="live with it as it is", remark="the camera goes", by="site IT", until="31.12.2026")


def accept_until_june(row: Row) -> None:
    """Accept the same conflict until the middle of the next year."""
    accept_until_december(row)
    row.update(until="2027-06-30" if row["decision"] else "")


def checked(folder: Path, plan: str = "p", day: str = DAY) -> tuple[list[str], list[str]]:
    """Return the rules of the open and of the accepted findings on a day."""
    shape = json.loads(netcheck(folder, "check", plan, "--format", "json", day=day).stdout)
    return [one["rule"] for one in shape["findings"]], [one["rule"] for one in shape["accepted"]]


@pytest.mark.parametrize(
    "form",
    [{}, {"by": ";", "encoding": "utf-8-sig", "turned": ""}, {"by": "\t", "encoding": "utf-16"}],
    ids=["plain", "semicolon-bom-turned", "tab-utf-16"],
)
def test_an_accepted_conflict_is_open_again_after_its_last_day(form: dict[str, str], desk: Path) -> None:
    """An accepted conflict stays accepted up to its last day and is open again on the next day."""
    before = (desk / "p" / "plan.toml").read_text(encoding="utf-8")
    assert "taken-on-site" in checked(desk)[0]
    answered(desk / "a.csv", accept_until_december, **form)
    result = netcheck(desk, "answers", "p", "a.csv", "--write")
    assert (result.returncode, result.stderr) == (0, f"written: {Path('p/plan.toml')}\n")
    after = (desk / "p" / "plan.toml").read_text(encoding="utf-8")
    changed = [line for line in ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-"]
    assert {line[0] for line in changed} == {"+"}
    assert "+ [[accepted]]" in changed
    for day in (DAY, "2026-12-31"):
        assert "taken-on-site" in checked(desk, day=day)[1]
    findings, accepted = checked(desk, day="2027-01-01")
    assert "taken-on-site" in findings
    assert "taken-on-site" not in accepted
    again = netcheck(desk, "answers", "p", "a.csv")
    assert (again.returncode, again.stderr) == (0, "nothing to write\n")
    assert (desk / "p" / "plan.toml").read_text(encoding="utf-8") == after


def test_answers_for_another_state_of_the_plan_are_named(desk: Path) -> None:
    """The file of a page has the hash of its plan; a warning names a different hash.

    Each row is applied by its finding.
    """
    now = read_plan(desk / "p").sha256

    def with_hash(sha256: str) -> None:
        with (desk / "a.csv").open(newline="", encoding="utf-8-sig") as stream:
            rows = [row[: len(REPORT_COLUMNS)] for row in csv.reader(stream)]
        with (desk / "a.csv").open("w", newline="", encoding="utf-8") as stream:
            csv.writer(stream).writerows([[*rows[0], PLAN_COLUMN], *([*row, sha256] for row in rows[1:])])

    answered(desk / "a.csv", accept_until_december)
    with_hash(now.upper())
    assert netcheck(desk, "answers", "p", "a.csv", "--dry-run").stderr == f"would be written: {Path('p/plan.toml')}\n"
    with_hash("ab" * 32)
    result = netcheck(desk, "answers", "p", "a.csv")
    assert result.returncode == 0
    assert result.stderr == (
        f"netcheck: 1 answer was given for another state of the plan (SHA-256 {'ab' * 6}\u2026, now {now[:12]}\u2026). "
        "Only answers whose finding or request is still the same are applied\n"
        f"written: {Path('p/plan.toml')}\n"
    )
    assert "taken-on-site" in checked(desk)[1]


def test_an_expired_acceptance_is_renewed(desk: Path) -> None:
    """A second answer renews the entry of an expired acceptance, and the plan has one entry for it."""
    answered(desk / "a.csv", accept_until_december)
    assert netcheck(desk, "answers", "p", "a.csv").returncode == 0
    assert netcheck(desk, "report", "p", "--out", "b.csv", day="2027-01-01").returncode == 0
    answered(desk / "b.csv", accept_until_june)
    assert netcheck(desk, "answers", "p", "b.csv", day="2027-01-01").returncode == 0
    text = (desk / "p" / "plan.toml").read_text(encoding="utf-8")
    assert text.count('rule = "taken-on-site"') == 1
    assert "until = 2027-06-30" in text
    assert "taken-on-site" in checked(desk, day="2027-06-30")[1]


def test_another_host_is_a_conflict_again(desk: Path) -> None:
    """An acceptance is valid only for its host: another host at the address is a conflict again."""
    answered(desk / "a.csv", accept_until_december)
    assert netcheck(desk, "answers", "p", "a.csv").returncode == 0
    hosts = desk / "p" / "site-hosts.csv"
    hosts.write_text(hosts.read_text().replace("00-00-5E-00-53-90,camera-7", "00-00-5E-00-53-99,laptop"))
    findings, accepted = checked(desk)
    assert "taken-on-site" in findings
    assert "taken-on-site" not in accepted
    assert "accepted-unused" in findings


def test_rows_to_correct_give_exit_1_and_the_others_are_written(desk: Path) -> None:
    """A conflict without a remark and a row without a finding are reported with their rows.

    The exit code is 1, and the good row is written.
    """

    def answer(row: Row) -> None:
        accept_until_december(row)
        if row["rule"] == "inside-pool":
            row.update(decision="live with it as it is", by="site IT")
        if row["rule"] == "not-surveyed":
            row.update(decision="live with it as it is", by="site IT", key="not-surveyed-000000000000")

    answered(desk / "a.csv", answer)
    result = netcheck(desk, "answers", "p", "a.csv")
    assert result.returncode == 1
    assert "row 3: inside-pool is a conflict, which is never accepted without a remark" in result.stdout
    assert "row 5: this plan no longer has a finding not-surveyed of packing with key not-surv" in result.stdout
    assert "1 accepted, 0 to change, 0 in question, 2 to correct, 2 not answered" in result.stdout
    text = (desk / "p" / "plan.toml").read_text(encoding="utf-8")
    assert ('rule = "taken-on-site"' in text, 'rule = "inside-pool"' in text) == (True, False)


def test_a_dry_run_writes_nothing(desk: Path) -> None:
    """A dry run reports the same outcome, as text or as JSON, and does not write the plan."""
    answered(desk / "a.csv", accept_until_december)
    before = (desk / "p" / "plan.toml").read_bytes()
    result = netcheck(desk, "answers", "p", "a.csv", "--dry-run", "--format", "json")
    shape = json.loads(result.stdout)
    assert (result.returncode, shape["written"]) == (0, False)
    assert shape["accepted"] == [
        {
            "row": 2,
            "rule": "taken-on-site",
            "subject": "pasteuriser-plc/cpu",
            "address": "10.62.20.61",
            "with": "00-00-5E-00-53-90",
            "by": "site IT",
            "because": "the camera goes",
            "until": "2026-12-31",
        }
    ]
    assert result.stderr == f"would be written: {Path('p/plan.toml')}\n"
    assert (desk / "p" / "plan.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("p", "missing.csv"), "netcheck: missing.csv: the file is not there"),
        (("nowhere", "a.csv"), "netcheck: nowhere: there is no such file or folder"),
        (("p", "p/site-hosts.csv"), "netcheck: site-hosts.csv: it has no row of titles"),
        (("p", "a.csv", "--write", "--dry-run"), "netcheck: --write and --dry-run exclude each other"),
        (("p", "a.csv", "--format", "xml"), "netcheck: Invalid value for '--format'"),
    ],
    ids=["no-file", "no-plan", "no-findings", "both", "format"],
)
def test_bad_use_is_reported_without_a_traceback(words: tuple[str, ...], message: str, desk: Path) -> None:
    """Bad use gives exit 2 and one line, and nothing is written."""
    before = (desk / "p" / "plan.toml").read_bytes()
    result = netcheck(desk, "answers", *words)
    assert (result.returncode, result.stdout) == (2, "")
    assert result.stderr.startswith(message)
    assert (desk / "p" / "plan.toml").read_bytes() == before


def test_answers_are_written_into_a_workbook(tmp_path: Path) -> None:
    """The answer is written to the sheet `accepted` of a workbook, and the next check applies it."""
    file = tmp_path / "plan.xlsx"
    file.write_bytes(new_workbook("plan", ["mask-differs"], date(2026, 11, 2)))
    book = openpyxl.load_workbook(file)
    titles = [cell.value for cell in book["interfaces"][1]]
    book["interfaces"].cell(2, titles.index("mask") + 1, "255.255.255.128")
    book.save(file)
    assert netcheck(tmp_path, "report", "plan.xlsx", "--out", "a.xlsx").returncode == 0
    answered_book(
        tmp_path / "a.xlsx", 2, decision="live with it as it is", remark="=1+1", by="site IT", until=date(2026, 12, 31)
    )
    result = netcheck(tmp_path, "answers", "plan.xlsx", "a.xlsx")
    assert (result.returncode, result.stderr) == (0, "written: plan.xlsx\n")
    assert checked(tmp_path, "plan.xlsx") == ([], ["mask-differs"])
    before = file.read_bytes()
    assert netcheck(tmp_path, "answers", "plan.xlsx", "a.xlsx").stderr == "nothing to write\n"
    assert file.read_bytes() == before
    findings, accepted = checked(tmp_path, "plan.xlsx", "2027-01-01")
    assert ("mask-differs" in findings, accepted) == (True, [])


def answered_book(file: Path, *rows: int, **cells: Any) -> None:
    """Answer rows of a workbook; strings stay text, even if they look like formulas."""
    book = openpyxl.load_workbook(file)
    sheet = book["findings"]
    titles = [cell.value for cell in sheet[1]]
    for row in rows:
        for title, value in cells.items():
            cell = sheet.cell(row, titles.index(title) + 1, value)
            cell.data_type = "s" if isinstance(value, str) else cell.data_type
    book.save(file)


# Device names that begin like formulas or contain separators, quotes or markup; the worked examples of the OWASP page
# on CSV injection; and names that a spreadsheet program takes for dates or numbers.
LIVE = "live with it as it is"
NAMES = ("=1+2'\" ;,=1+2", '=1+2";=1+2', "@SUM(A1)", "+1", "-1", "'=x", '<b>&"', "3", "1e5", "a, b", "k\u00e4se\u202e")


def hostile_plan(folder: Path) -> None:
    """Write a plan in which two interfaces of each hostile device share an address: its findings name two subjects."""
    devices = (
        f"[[device]]\nname = {json.dumps(name)}\n"
        + "".join(
            f'  [[device.interface]]\n  name = "{port}"\n  subnet = "process"\n  mask = "/16"\n'
            f'  address = "10.62.20.{120 + 2 * number}"\n'
            for port in ("7", "8")
        )
        for number, name in enumerate(NAMES)
    )
    write_plan(folder, plan_text() + "".join(devices))


@pytest.fixture
def office(tmp_path: Path) -> Callable[[Path, str, str], Path]:
    """Return a function that opens a file in a spreadsheet program and saves it as another kind."""
    program = need("soffice", "libreoffice")
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"

    def convert(file: Path, kind: str, name: str) -> Path:
        told = [f"--infilter={IN}"] if file.suffix == ".csv" else []
        out = file.parent / "saved"
        words = [program, profile, "--headless", *told, "--convert-to", kind, "--outdir", str(out), str(file)]
        result = subprocess.run(words, capture_output=True, text=True, timeout=120, check=False)
        assert (out / name).is_file(), result.stderr
        return out / name

    return convert


# Tokens 1 to 3 of the filter: separator, quote, character set (76 is UTF-8, 65535 UTF-16); from the program's guide.
IN = "CSV:44,34,76,1"
SEMICOLONS = "csv:Text - txt - csv (StarCalc):59,34,65535"


@pytest.mark.slow
def test_files_saved_by_a_spreadsheet_program_are_read(
    tmp_path: Path, office: Callable[[Path, str, str], Path]
) -> None:
    """A spreadsheet program saves the workbook as CSV (semicolons, UTF-16) and the CSV as a workbook.

    Both files have every finding of the hostile plan with its answer.
    """
    hostile_plan(tmp_path / "p")
    assert netcheck(tmp_path, "report", "p", "--out", "a.csv", "--out", "b.xlsx").returncode == 0

    def answer(row: Row) -> None:
        decision = LIVE if LIVE in row["choices"] else "question"
        row.update(decision=decision, remark="'=remark", by="site IT", until="2026-12-31")

    answered(tmp_path / "a.csv", answer)
    shape = json.loads(netcheck(tmp_path, "check", "p", "--format", "json").stdout)
    count = len(shape["findings"])
    assert count > 3 * len(NAMES)
    cells = {"remark": "=remark", "by": "site IT", "until": date(2026, 12, 31)}
    for row, finding in enumerate(shape["findings"], 2):
        decision = "question" if finding["rule"] in NEVER_ACCEPTED else LIVE
        answered_book(tmp_path / "b.xlsx", row, decision=decision, **cells)
    workbook = office(tmp_path / "a.csv", "xlsx", "a.xlsx")
    table = office(tmp_path / "b.xlsx", SEMICOLONS, "b.csv")
    assert table.read_bytes().startswith(b"\xff\xfe")
    for saved in (workbook, table):
        result = netcheck(tmp_path, "answers", "p", str(saved), "--dry-run", "--format", "json")
        shape = json.loads(result.stdout)
        assert (result.returncode, shape["mend"]) == (0, [])
        assert len(shape["accepted"]) + len(shape["question"]) == count
        assert {(one["because"], one["until"]) for one in shape["accepted"]} == {("=remark", "2026-12-31")}
    assert netcheck(tmp_path, "answers", "p", str(table)).returncode == 0
    assert set(checked(tmp_path)[0]) <= NEVER_ACCEPTED | {"question-without-reply"}


def test_the_proposal_and_the_given_address_are_written(desk: Path) -> None:
    """The proposal and the given address are written into the plan, and the conflicts are gone."""
    rows: list[Row] = []

    def answer(row: Row) -> None:
        rows.append(dict(row))
        if row["rule"] == "taken-on-site":
            row.update({"decision": "use the proposal", "by": "site IT"})
        elif row["rule"] == "inside-pool":
            row.update({"decision": "change it to", "change-to": "10.62.20.77", "by": "site IT"})

    answered(desk / "a.csv", answer)
    result = netcheck(desk, "answers", "p", "a.csv")
    assert (result.returncode, result.stderr) == (0, "written: p/plan.toml\n")
    proposal = next(row["fix"] for row in rows if row["rule"] == "taken-on-site")
    text = (desk / "p" / "plan.toml").read_text("utf-8")
    assert f'address = "{proposal}"' in text
    assert 'address = "10.62.20.77"' in text
    left = json.loads(netcheck(desk, "check", "p", "--format", "json").stdout)["findings"]
    assert not [finding for finding in left if finding["rule"] in ("taken-on-site", "inside-pool")]
    again = json.loads(netcheck(desk, "answers", "p", "a.csv", "--format", "json").stdout)
    assert (len(again["done"]), again["mend"], again["written"]) == (2, [], False)


def test_the_help_names_the_table_of_questions(desk: Path) -> None:
    """The terminal shows two brackets as text."""
    assert "[[remark]]" in netcheck(desk, "answers", "--help").stdout
