"""Tests of `netcheck survey read`: lists are merged; counts, disagreements and gaps of the plan's surveys are shown."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from netcheck.cli.main import build
from netcheck.errors import NetcheckError
from netcheck.plan.model import Position, SurveyEntry
from netcheck.plan.read import read_plan
from netcheck.survey.read import read_survey

LEASES = 'lease 10.62.20.20 { binding state active; hardware ethernet 00:00:5e:00:53:14; client-hostname "hmi-a"; }\n'
ARP = "10.62.20.20 dev eth0 lladdr 00:00:5e:00:53:14 REACHABLE\n10.62.20.21 dev eth0 lladdr 00:00:5e:00:53:15 STALE\n"
PLAN = """format = 1
[site]
name = "Tarn Hollow creamery"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
[[subnet]]
name = "packing"
prefix = "10.62.30.0/24"
[[subnet]]
name = "office"
prefix = "10.62.40.0/24"
[[survey]]
file = "hosts.csv"
taken = 2026-10-28
covers = ["10.62.20.0/24", "10.62.30.0/25"]
columns = { address = "Real" }
"""


@pytest.fixture
def lists(tmp_path: Path) -> Path:
    """Return a folder with lists of several kinds and a plan."""
    (tmp_path / "leases.txt").write_text(LEASES)
    (tmp_path / "arp.txt").write_text(ARP)
    (tmp_path / "hosts.csv").write_text("IP,Real,MAC\n10.62.20.1,10.62.20.22,00-00-5E-00-53-16\n")
    (tmp_path / "odd.csv").write_text("ip,mac,name\n10.62.20.21,00-00-5E-00-53-99,=1+2\n10.62.20.05,,x\n")
    (tmp_path / "plan.toml").write_text(PLAN)
    return tmp_path


def run(*words: str | Path) -> Result:
    """Run `netcheck survey read` with these arguments."""
    return CliRunner().invoke(build(["survey"]), ["survey", "read", *map(str, words)])


def shown(*words: str | Path) -> dict[str, object]:
    """Return the JSON output of `netcheck survey read`."""
    result = run(*words, "--format", "json")
    value = json.loads(result.stdout)
    assert isinstance(value, dict)
    return value


def test_the_counts_of_each_file(lists: Path) -> None:
    """The kind and counts of every file and their sum are shown; lists that agree give exit 0."""
    result = run(lists / "leases.txt", lists / "arp.txt")
    assert result.exit_code == 0, result.stdout
    rows = [line.split()[1:] for line in result.stdout.splitlines()[2:4]]
    assert rows == [["leases", "1", "0", "0"], ["neighbours", "2", "0", "0"]]
    assert "2 addresses from 2 files; 0 not read; 0 disagreements" in result.stdout


def test_disagreements_and_unreadable_rows(lists: Path) -> None:
    """Disagreements and unreadable rows are shown with file and line, in text and in JSON, and give exit 1."""
    files = lists / "arp.txt", lists / "odd.csv"
    result = run(*files)
    assert result.exit_code == 1
    text = result.stdout
    assert f"{lists / 'odd.csv'}: row 3: '10.62.20.05' has an octet with a leading zero" in text
    assert "10.62.20.21 has the MACs 00-00-5E-00-53-15" in text
    assert "00-00-5E-00-53-99" in text
    value = shown(*files)
    assert value["disagreeing"] == 1
    assert value["disagreements"] == [
        {
            "address": "10.62.20.21",
            "what": "MAC",
            "said": [
                {"value": "00-00-5E-00-53-15", "where": f"{lists / 'arp.txt'}: line 2"},
                {"value": "00-00-5E-00-53-99", "where": f"{lists / 'odd.csv'}: row 2"},
            ],
            "more": 0,
        }
    ]


def test_the_merged_list_reads_back(lists: Path) -> None:
    """The merged list has every host with all its sources and can be read again; a name like a formula is guarded."""
    out = lists / "merged.csv"
    result = run(lists / "leases.txt", lists / "arp.txt", lists / "odd.csv", "--out", out)
    assert result.exit_code == 1
    assert 'file = "merged.csv"' in result.stdout
    with out.open(newline="") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == ["address", "mac", "name", "note", "seen", "source", "kind"]
    assert [row[:2] for row in rows[1:]] == [
        ["10.62.20.20", "00-00-5E-00-53-14"],
        ["10.62.20.21", "00-00-5E-00-53-15"],
        ["10.62.20.21", "00-00-5E-00-53-99"],
        ["", ""],
    ]
    assert rows[4][6] == "row not read"
    assert rows[1][5] == f"{lists / 'leases.txt'}: line 1; {lists / 'arp.txt'}: line 1"
    assert rows[3][2] == "'=1+2"
    again = read_survey(SurveyEntry(file="merged.csv", position=Position("plan.toml")), lists)
    assert [host.name for host in again.hosts] == ["hmi-a", "", "=1+2"]
    before = out.read_bytes()
    assert run(out, "--out", lists / "again.csv").exit_code == 1  # one address still has two MACs
    assert (lists / "again.csv").read_bytes().count(b"\r\n") == before.count(b"\r\n")


def test_the_subnets_that_the_lists_cover(lists: Path) -> None:
    """For a survey file of the plan its columns, day and coverage apply; other files cover no prefix."""
    value = shown(lists / "hosts.csv", lists / "arp.txt", "--plan", lists)
    assert value["subnets"] == [
        {
            "subnet": "process", "prefix": "10.62.20.0/24", "hosts": 3, "covered": "wholly", "uncovered": [],
            "files": [str(lists / "hosts.csv"), str(lists / "arp.txt")],
        },
        {
            "subnet": "packing", "prefix": "10.62.30.0/24", "hosts": 0, "covered": "partly",
            "uncovered": ["10.62.30.128/25"], "files": [str(lists / "hosts.csv")],
        },
        {
            "subnet": "office", "prefix": "10.62.40.0/24", "hosts": 0, "covered": "no",
            "uncovered": ["10.62.40.0/24"], "files": [],
        },
    ]  # fmt: skip
    text = run("--plan", lists).stdout  # the plan's own surveys
    assert "1 address from 1 file" in text
    assert "10.62.30.128/25" in text


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "there is no file to read"),
        (("leases.txt", "--out", "x.xlsx"), "written as CSV"),
        (("leases.txt", "--out", "none/x.csv"), "cannot be written there"),
        (("missing.txt",), "missing.txt: the file is not there"),
        (("leases.txt", "-"), "standard input is not read. Save its text as a file"),
    ],
    ids=["nothing", "workbook", "no-folder", "missing", "standard-input"],
)
def test_bad_use_is_refused(lists: Path, words: tuple[str, ...], message: str) -> None:
    """Bad use is refused with exit code 2, and nothing is written."""
    paths = [lists / word if "." in word else word for word in words]
    with pytest.raises(NetcheckError, match=message) as caught:
        CliRunner().invoke(build(["survey"]), ["survey", "read", *map(str, paths)], catch_exceptions=False)
    assert caught.value.exit_code == 2


def test_an_unreadable_file_is_a_row_of_the_list(lists: Path) -> None:
    """A file that cannot be read does not stop the others, and the merged list says that it is missing."""
    (lists / "empty.csv").write_text("")
    result = run(lists / "leases.txt", lists / "empty.csv", "--out", lists / "merged.csv")
    assert isinstance(result.exception, NetcheckError)
    assert "1 address from 1 file" in result.stdout
    assert f"no host of this list is known,,{lists / 'empty.csv'}: row 0,row not read" in (
        lists / "merged.csv"
    ).read_text("utf-8")


def test_escapes_do_not_reach_the_terminal(lists: Path) -> None:
    """Escapes in names of hosts and files do not reach the terminal."""
    (lists / "e\x1b[2J.csv").write_text("ip,name\n10.62.20.21,\x1b]0;x\x07a\n10.62.20.21,b\n")
    result = run(lists / "e\x1b[2J.csv")
    assert result.exit_code == 1
    assert "\x1b" not in result.stdout
    assert "\\x1b]0;x" in result.stdout


def test_the_entry_names_the_file_as_the_plan_does(tmp_path: Path) -> None:
    """A list that is written into the folder of a plan is named from that folder, so that the entry can be pasted."""
    (tmp_path / "leases").write_text(LEASES, "utf-8")
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.partition("[[survey]]")[0], "utf-8")
    result = run(tmp_path / "leases", "--out", tmp_path / "site.csv")
    entry = result.stdout.partition("for the plan:")[2].strip()
    assert entry.splitlines()[1] == 'file = "site.csv"'
    assert "write the prefixes in which it lists every host" in entry.splitlines()[-1]
    plan.write_text(plan.read_text("utf-8") + entry + "\n", "utf-8")
    assert [survey.file for survey in read_plan(plan).surveys] == ["site.csv"]
