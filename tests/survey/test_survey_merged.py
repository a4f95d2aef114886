"""A merged file keeps the kinds, records, sources and unread rows of its lists."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from pathlib import Path

import openpyxl
import pytest

from netcheck.plan.model import Position, SurveyEntry
from netcheck.rules.catalogue import RULES
from netcheck.rules.engine import Checked, check
from netcheck.survey.model import Survey
from netcheck.survey.read import read_site, read_survey

PLAN = """format = 1
[site]
name = "Tarn Hollow creamery"
domain = "plant.example"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
[[device]]
name = "filler-plc"
  [[device.interface]]
  name = "cpu"
  subnet = "process"
  address = "10.62.20.61"
  host-name = "filler-plc"
[[device]]
name = "capper-plc"
  [[device.interface]]
  name = "cpu"
  subnet = "process"
  address = "10.62.20.62"
  host-name = "capper-plc"
[[device]]
name = "labeller"
  [[device.interface]]
  name = "cpu"
  subnet = "process"
  address = "10.62.20.63"
  mac = "00-00-5E-00-53-63"
"""
LISTS = {
    "plant.zone": "$ORIGIN plant.example.\nfiller-plc A 10.62.20.61\ncapper-plc A 10.62.20.99\n"
    "hmi CNAME filler-plc\nold A 10.62.20.256\n",
    "leases.txt": "lease 10.62.20.63 { binding state active; hardware ethernet 00:00:5e:00:53:99; }\n",
    "arp.txt": "? (10.62.20.70) at 00:00:5e:00:53:63 [ether] on eth0\n",
    "list.csv": "address,name,seen\n10.62.20.62,camera,2026-10-01\n10.62.20.061,x,\n10.62.20.64,=1+1,someday\n",
}


@pytest.fixture
def lists(tmp_path: Path) -> Path:
    """Write the lists and a workbook into a folder with the plan."""
    for name, text in LISTS.items():
        (tmp_path / name).write_text(text)
    book = openpyxl.Workbook()
    book.worksheets[0].title = "Process"
    for row in (["IP", "Name"], ["10.62.20.80", "scale"], ["10.62.20.800", "bad"]):
        book.worksheets[0].append(row)
    book.save(tmp_path / "list.xlsx")
    return tmp_path


def merged(folder: Path, *files: str, out: str = "merged.csv") -> Path:
    """Write the merged file of some lists."""
    command = [sys.executable, "-m", "netcheck", "survey", "read", *files, "--out", out]
    run = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert run.returncode in (0, 1), run.stderr
    return folder / out


def checked(folder: Path, *files: str) -> Checked:
    """Return the findings of the plan with these surveys."""
    entries = "".join(f'[[survey]]\nfile = "{file}"\ntaken = 2026-11-01\n' for file in files)
    (folder / "plan.toml").write_text(PLAN + entries)
    return check(*read_site(folder), date(2026, 11, 2))


def names(*files: str) -> tuple[str, ...]:
    """Return the names of the lists and the workbook."""
    return (*LISTS, "list.xlsx", *files)


def test_the_merged_file_gives_the_findings_of_its_lists(lists: Path) -> None:
    """Rules, subjects, addresses and reasons are the same; unread rows are a finding in both."""
    apart = checked(lists, *names()).findings
    merged(lists, *names())
    together = checked(lists, "merged.csv").findings
    expected = [(one.rule, one.subjects, one.address, one.message) for one in apart if one.rule != "unreadable-value"]
    assert {"dns-name-elsewhere", "taken-on-site", "mac-elsewhere"} <= {rule for rule, *_ in expected}
    rest = [(one.rule, one.subjects, one.address, one.message) for one in together if one.rule != "unreadable-value"]
    assert sorted(rest) == sorted(expected)
    (unread,) = [one for one in together if one.rule == "unreadable-value"]
    assert unread.message.startswith("3 rows cannot be read")
    assert {one.rule for one in apart} <= {rule.slug for rule in RULES}


def survey_of(file: Path) -> Survey:
    """Return a survey file as read."""
    return read_survey(SurveyEntry(file=file.name, position=Position("plan.toml")), file.parent)


def test_what_a_merged_file_keeps(lists: Path) -> None:
    """It keeps kind, file and row of each host, the records of the zone, and every remark with its position."""
    survey = survey_of(merged(lists, *names()))
    assert [(str(host.address), host.where, survey.kinds[host.file]) for host in survey.hosts if host.mac] == [
        ("10.62.20.63", "leases.txt: line 1", "leases"),
        ("10.62.20.70", "arp.txt: line 1", "neighbours"),
    ]
    assert [(one.kind, one.name, one.absolute, str(one.position)) for one in survey.records] == [
        ("A", "filler-plc.plant.example", True, "plant.zone: line 2"),
        ("A", "capper-plc.plant.example", True, "plant.zone: line 3"),
    ]
    assert [(one.name, one.target, one.absolute, str(one.position)) for one in survey.aliases] == [
        ("hmi.plant.example", "filler-plc.plant.example", True, "plant.zone: line 4"),
    ]
    assert [str(one.position) for one in survey.skipped.first] == [
        "plant.zone: line 5",
        "list.csv: row 3",
        "list.xlsx, sheet Process: row 3",
    ]
    assert [str(one) for one in survey.unread.first] == ["list.csv: row 4: 'someday' is not a day such as 2026-10-28"]


def test_merging_a_merged_file_again_changes_nothing(lists: Path) -> None:
    """A merged file can be an input of a merge."""
    first = merged(lists, *names())
    again = merged(lists, "merged.csv", out="again.csv")
    before = first.read_text().replace("list.xlsx: sheet Process,", "list.xlsx, sheet Process:")
    assert sorted(again.read_text().splitlines()) == sorted(before.splitlines())


def test_counts_of_unread_rows_stay(tmp_path: Path) -> None:
    """One row gives the number of the remarks that are not stored."""
    (tmp_path / "list.csv").write_text("address\n10.62.20.1\n" + "10.62.20.256\n" * 1000)
    assert survey_of(merged(tmp_path, "list.csv")).skipped.count == 1000


def test_a_row_that_was_edited_by_hand(tmp_path: Path) -> None:
    """A row without a source is a host of the merged file; a row with a broken address is a remark on that file."""
    text = "address,mac,name,note,seen,source,kind\n10.62.20.5,,camera,,,,\n10.62.20.500,,x,,,list.csv: row 3,csv\n"
    (tmp_path / "merged.csv").write_text(text)
    survey = survey_of(tmp_path / "merged.csv")
    assert [host.where for host in survey.hosts] == ["merged.csv: row 2"]
    assert [str(one.position) for one in survey.skipped.first] == ["merged.csv: row 3"]
