"""Tests of `map`: what free means; and of `map --who`: every address in use, in the terminal and as a file."""

from __future__ import annotations

import csv
import subprocess
from pathlib import Path

import openpyxl
import pytest

from tests import command_line

PLAN = """format = 1
[site]
name = "Example"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"
pools = ["10.62.20.200-10.62.20.239"]
[[device]]
name = "=cmd|' /C calc'!A0"
place = "panel 3"
[[device.interface]]
name = "cpu"
subnet = "process"
address = "10.62.20.61"
mac = "00-00-5E-00-53-21"
host-name = "filler-plc"
switch-port = "sw-3/7"
[[station]]
name = "laptop"
address = "10.62.20.245/24"
[[survey]]
file = "hosts.csv"
"""
HOSTS = "address,mac,name\n10.62.20.80,00-00-5E-00-53-99,gate-camera\n10.62.21.1,,elsewhere\n"
WANTED = [
    ("10.62.20.1", "gateway or router"),
    ("10.62.20.61", "planned"),
    ("10.62.20.80", "site host"),
    ("10.62.20.200-10.62.20.239", "pool (DHCP)"),
    ("10.62.20.245", "station"),
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the plan."""
    (tmp_path / "plan.toml").write_text(PLAN, "utf-8")
    (tmp_path / "hosts.csv").write_text(HOSTS, "utf-8")
    return tmp_path


def netcheck(*words: object) -> subprocess.CompletedProcess[str]:
    """Run `netcheck map`."""
    return command_line.netcheck("map", *words)


def test_a_map_says_what_free_means(folder: Path) -> None:
    """The maps end with a sentence on free addresses; the list of addresses in use has none."""
    words = " ".join(netcheck(folder, "process").stdout.split())
    assert words.endswith(
        "A free address is in neither the plan nor its surveys, but it may be in use. Ask IT before you use it."
    )
    assert "A free address" not in netcheck(folder, "process", "--who").stdout


def test_the_list_in_the_terminal(folder: Path) -> None:
    """The terminal shows every use in the subnet in address order, with the known facts about its user."""
    lines = netcheck(folder, "process", "--who").stdout.splitlines()[3:]
    assert [tuple(part.strip() for part in line.split("  ") if part.strip())[:2] for line in lines] == WANTED
    planned = next(line for line in lines if line.startswith("10.62.20.61 "))
    assert all(text in planned for text in ("filler-plc", "00-00-5E-00-53-21", "sw-3/7", "panel 3", "plan.toml"))


def test_the_list_as_csv(folder: Path) -> None:
    """The CSV has the same rows with titles, and a name that looks like a formula is guarded."""
    run = netcheck(folder, "--who", "--out", folder / "list.csv")
    assert (run.returncode, run.stderr) == (0, "")
    with (folder / "list.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [(row["address"], row["use"]) for row in rows] == WANTED
    assert rows[1]["who"] == "'=cmd|' /C calc'!A0/cpu"


def test_the_list_as_a_workbook(folder: Path) -> None:
    """The workbook has the same rows, and every cell is text, so no name is read as a formula."""
    assert netcheck(folder, "--who", "--out", folder / "list.xlsx").returncode == 0
    sheet = openpyxl.load_workbook(folder / "list.xlsx")["addresses"]
    rows = list(sheet.iter_rows(min_row=2))
    assert [(row[1].value, row[2].value) for row in rows] == WANTED
    assert rows[1][3].value == "=cmd|' /C calc'!A0/cpu"
    assert {cell.data_type for row in rows for cell in row if cell.value} == {"s"}


@pytest.mark.parametrize(("name", "words"), [("list.pdf", ".csv or .xlsx"), ("hosts.csv", "overwrite")])
def test_bad_output_files_are_refused(name: str, words: str, folder: Path) -> None:
    """A file with an unknown ending, and a file of the plan, are refused."""
    run = netcheck(folder, "--who", "--out", folder / name)
    assert run.returncode == 2
    assert words in run.stderr
    assert (folder / "hosts.csv").read_text("utf-8") == HOSTS
