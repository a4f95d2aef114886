"""Tests of `netcheck report` from the command line: files, exit codes and refusals."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from tests import command_line
from tests.report.made import clock_from, every_verdict, plan_text, write_plan, write_record


def netcheck(folder: Path, *words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run `netcheck report` in a folder; in a new process if it needs another environment."""
    if not environment:
        return command_line.netcheck("report", *words, cwd=folder)
    program = [sys.executable, "-c", "from netcheck.cli.main import run; run()", "report"]
    env = {**os.environ, **environment}
    return subprocess.run(
        [*program, *words], capture_output=True, text=True, timeout=60, check=False, cwd=folder, env=env
    )


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Return a folder with the plan, its record, and a record of another plan."""
    plan = write_plan(tmp_path / "tarn-hollow")
    write_record(tmp_path / "run.jsonl", plan, every_verdict(), clock_from())
    other = write_plan(tmp_path / "other", plan_text().replace("Tarn Hollow creamery", "Elsewhere"))
    write_record(tmp_path / "other.jsonl", other, (), clock_from())
    return tmp_path


ALL = ("tarn-hollow", "--record", "run.jsonl", "--today", "2026-11-20")


def test_all_formats_in_one_call(desk: Path) -> None:
    """Each file is written once with the same findings, and the exit code is 0 although the plan has conflicts."""
    result = netcheck(desk, *ALL, "--out", "r.html", "--out", "r.csv", "--out", "r.JSON")
    assert (result.returncode, result.stderr) == (0, "")
    assert result.stdout == "wrote r.html\nwrote r.csv\nwrote r.JSON\n"
    shape = json.loads((desk / "r.JSON").read_text())
    page = (desk / "r.html").read_text(encoding="utf-8")
    with (desk / "r.csv").open(newline="", encoding="utf-8") as stream:
        keys = [row["key"] for row in csv.DictReader(stream)]
    assert keys == [finding["key"] for finding in shape["findings"]]
    assert all(f'id="{key}"' in page for key in keys)
    assert shape["verdicts"]["proven"] == 2
    assert shape["records"][0]["seal"] in page


def test_the_same_day_gives_the_same_bytes(desk: Path) -> None:
    """With `--today` a report is reproducible byte for byte, and another day gives other findings."""
    odd = {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "LC_ALL": "C"}
    kinds = ("html", "csv", "xlsx", "json", "md", "txt")
    for name, environment in (("a", {"PYTHONHASHSEED": "1", "TZ": "UTC"}), ("b", odd)):
        out = [word for kind in kinds for word in ("--out", f"{name}.{kind}")]
        asked = ("--requests", f"{name}-asked.csv", "--sheet", f"{name}-sheet.html", "--since", "other")
        assert netcheck(desk, *ALL, *out, *asked, **environment).returncode == 0
    files = [*(f".{kind}" for kind in kinds), "-asked.csv", "-sheet.html"]
    assert [end for end in files if (desk / f"a{end}").read_bytes() != (desk / f"b{end}").read_bytes()] == []
    later = ("tarn-hollow", "--today", "2027-06-01", "--out", "later.json")
    assert netcheck(desk, *later).returncode == 0
    rules = [finding["rule"] for finding in json.loads((desk / "later.json").read_text())["findings"]]
    assert "survey-stale" in rules


def test_a_damaged_record_gives_exit_1_and_a_report(desk: Path) -> None:
    """A damaged record gives exit 1, and the report is written and names the damage."""
    record = desk / "run.jsonl"
    record.write_bytes(record.read_bytes().replace(b"inferred", b"operator"))
    result = netcheck(desk, *ALL, "--out", "r.html")
    assert result.returncode == 1
    assert "chain broken at line 5" in (desk / "r.html").read_text(encoding="utf-8")


REFUSED = [
    pytest.param((*ALL,), "no file to write was named", id="no-out"),
    pytest.param((*ALL, "--out", "r.pdf"), "--out r.pdf has an unknown ending. Name it with .html, .csv", id="pdf"),
    pytest.param((*ALL, "--out", "report"), "--out report has an unknown ending", id="no-ending"),
    pytest.param((*ALL, "--out", "r.html", "--out", "./r.html"), "named twice", id="twice"),
    pytest.param(
        (*ALL, "--out", "r.html", "--out", "none/r.csv"), "none/r.csv: its folder does not exist", id="folder"
    ),
    pytest.param((*ALL, "--out", "tarn-hollow/site-hosts.csv"), "would overwrite one of its inputs", id="survey"),
    pytest.param((*ALL, "--record", "other.jsonl", "--out", "r.html"), "other.jsonl: line 1: this record", id="other"),
    pytest.param(
        (*ALL, "--record", "none.jsonl", "--out", "r.html"), "none.jsonl: the file is not there", id="missing"
    ),
    pytest.param(
        (*ALL, "--record", "tarn-hollow/plan.toml", "--out", "r.html"), "this is not a record", id="no-record"
    ),
    pytest.param(("nowhere", "--out", "r.html"), "nowhere", id="no-plan"),
    pytest.param((*ALL[:3], "--today", "2026-13-01", "--out", "r.html"), "'2026-13-01' is not a date", id="day"),
]


@pytest.mark.parametrize(("words", "said"), REFUSED)
def test_a_refused_call_writes_nothing(words: tuple[str, ...], said: str, desk: Path) -> None:
    """A refused call gives exit 2 with the reason, and no file is written, not even a valid one."""
    before = contents(desk)
    result = netcheck(desk, *words)
    assert result.returncode == 2
    assert said in result.stderr
    assert "Traceback" not in result.stderr
    assert contents(desk) == before


def contents(folder: Path) -> dict[str, bytes]:
    """Return the bytes of all files below a folder, by path."""
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_linked_input_is_not_overwritten(desk: Path) -> None:
    """An output that links to an input is refused."""
    os.link(desk / "run.jsonl", desk / "hard.json")
    (desk / "soft.json").symlink_to("run.jsonl")
    before = (desk / "run.jsonl").read_bytes()
    for name in ("hard.json", "soft.json"):
        result = netcheck(desk, *ALL, "--out", name)
        assert result.returncode == 2
        assert "would overwrite" in result.stderr
    assert (desk / "run.jsonl").read_bytes() == before


def test_help_shows_an_example(desk: Path) -> None:
    """`--help` shows an example."""
    result = netcheck(desk, "--help")
    assert result.returncode == 0
    assert "netcheck report plans/tarn-hollow --record run.jsonl" in " ".join(result.stdout.split())


def test_requests_sheet_and_since(desk: Path) -> None:
    """The requests, the sheet and the changes since the older revision are written with the other files or alone."""
    result = netcheck(
        desk, *ALL, "--requests", "asked.csv", "--sheet", "sheet.html", "--out", "r.json", "--since", "other"
    )
    assert (result.returncode, result.stderr) == (0, "")
    assert set(result.stdout.splitlines()) == {"wrote r.json", "wrote asked.csv", "wrote sheet.html"}
    with (desk / "asked.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert rows == []  # the other revision has the same requests
    assert netcheck(desk, *ALL, "--requests", "all.csv").returncode == 0
    with (desk / "all.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert {row["kind"] for row in rows} == {"reservation", "pool change", "caution"}
    shape = json.loads((desk / "r.json").read_text())
    assert [one["subject"] for one in shape["asked"]] == [row["subject"] for row in rows[:-1]]
    assert shape["changes"]["since"]["name"] == "Elsewhere"
    assert shape["changes"]["interfaces"] == []
    assert "separator-drive" in (desk / "sheet.html").read_text(encoding="utf-8")
    assert netcheck(desk, *ALL, "--sheet", "alone.html").returncode == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--requests", "asked.txt"), "--requests asked.txt does not end in .csv"),
        (("--sheet", "sheet.pdf"), "--sheet sheet.pdf does not end in .html"),
        (("--out", "a.csv", "--requests", "a.csv"), "--requests a.csv is named twice"),
        (("--requests", "tarn-hollow/site-hosts.csv"), "would overwrite one of its inputs"),
        (("--since", "nowhere", "--out", "r.html"), "nowhere: there is no such file or folder (in --since nowhere)"),
        (("--since", "other", "--sheet", "none/s.html"), "none/s.html: its folder does not exist. Create"),
    ],
)
def test_bad_further_files_are_refused(words: tuple[str, ...], told: str, desk: Path) -> None:
    """Each bad file is refused with the reason and what to do, and nothing is written."""
    before = sorted(desk.iterdir())
    result = netcheck(desk, *ALL, *words)
    assert result.returncode == 2
    assert told in result.stderr
    assert "Traceback" not in result.stderr
    assert sorted(desk.iterdir()) == before


@pytest.mark.parametrize("name", ["answers.xlsx", "answers.csv"])
def test_a_file_with_answers_is_not_overwritten(desk: Path, name: str) -> None:
    """A report without answers is overwritten; a report with any answer of the reviewer is not."""
    assert netcheck(desk, *ALL, "--out", name).returncode == 0
    assert netcheck(desk, *ALL, "--out", name).returncode == 0
    if name.endswith(".xlsx"):
        book = openpyxl.load_workbook(desk / name)
        sheet = book["findings"]
        titles = [cell.value for cell in sheet[1]]
        sheet.cell(3, titles.index("remark") + 1, "which camera?")
        book.save(desk / name)
    else:
        with (desk / name).open(newline="", encoding="utf-8") as stream:
            rows = list(csv.reader(stream))
        head = next(at for at, row in enumerate(rows) if "remark" in row)
        rows[head + 2][rows[head].index("remark")] = "which camera?"
        with (desk / name).open("w", newline="", encoding="utf-8") as stream:
            csv.writer(stream).writerows(rows)
    before = (desk / name).read_bytes()
    result = netcheck(desk, *ALL, "--out", name, "--out", "r.html")
    assert result.returncode == 2
    assert f"{name}: it has answers, the first in row 3, and is not overwritten" in result.stderr
    assert ((desk / name).read_bytes(), (desk / "r.html").exists()) == (before, False)


def test_the_verifier_is_a_file(desk: Path) -> None:
    """The verifier of the page is written as a program that runs; another ending is refused."""
    assert netcheck(desk, *ALL, "--verifier", "verify.py").returncode == 0
    ended = subprocess.run(
        [sys.executable, "-I", "verify.py", "run.jsonl"], cwd=desk, capture_output=True, text=True, check=False
    )
    assert ended.stdout.startswith("intact, seal ")
    refused = netcheck(desk, *ALL, "--verifier", "verify.txt")
    assert (refused.returncode, "--verifier verify.txt does not end in .py" in refused.stderr) == (2, True)


def test_who_sends_the_report_and_when_the_answers_are_due(desk: Path) -> None:
    """`--reply-by` and the sender are in the JSON and on the page; `--by` replaces the plan's contact."""
    plan = desk / "tarn-hollow" / "plan.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace('revision = "C"', 'revision = "C"\ncontact = "Line integration"'), encoding="utf-8")
    day = ("--today", "2026-11-20")
    assert netcheck(desk, "tarn-hollow", *day, "--out", "plain.json").returncode == 0
    due = ("--reply-by", "2026-12-04", "--by", "Night shift")
    assert netcheck(desk, "tarn-hollow", *day, *due, "--out", "due.json", "--out", "due.html").returncode == 0
    plain, given = (json.loads((desk / name).read_text()) for name in ("plain.json", "due.json"))
    assert (plain["reply_by"], plain["sent_by"]) == (None, "Line integration")
    assert (given["reply_by"], given["sent_by"]) == ("2026-12-04", "Night shift")
    page = (desk / "due.html").read_text(encoding="utf-8")
    assert "4 December 2026" in page
    assert "Night shift" in page


@pytest.mark.parametrize("words", ["next week", "2026-11-19"], ids=["no date", "past"])
def test_an_impossible_reply_date_is_refused(desk: Path, words: str) -> None:
    """For a text that is not a date, or a day before the report, the message has the value and what to write."""
    result = netcheck(desk, "tarn-hollow", "--today", "2026-11-20", "--reply-by", words, "--out", "r.html")
    assert result.returncode == 2
    assert f"--reply-by {words}" in result.stderr.replace("'", "")
    assert not (desk / "r.html").exists()
