"""`netcheck suggest`: what it proposes is what `check` shows as fixes, and written into the plan it mends them."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PLANS = Path(__file__).parents[2] / "plans"
DAY = "2026-11-02"
FULL = """format = 1
[site]
name = "Example site"
keep-clear = %d
[[subnet]]
name = "process"
prefix = "10.62.20.0/30"
gateway = "10.62.20.1"
[[device]]
name = "filler-plc"
  [[device.interface]]
  name = "cpu"          # the only one
  subnet = "process"
  %s
[[survey]]
file = "site-hosts.csv"
covers = ["10.62.20.0/30"]
"""


def netcheck(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """Run the command line."""
    command = [sys.executable, "-m", "netcheck", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def small(folder: Path, keep_clear: int, address: str, host: str) -> Path:
    """A plan of one interface in a /30 whose gateway is .1, and one site host."""
    (folder / "plan.toml").write_text(FULL % (keep_clear, address), "utf-8")
    (folder / "site-hosts.csv").write_text(f"address\n{host}\n", "utf-8")
    return folder


@pytest.fixture
def creamery(tmp_path: Path) -> Path:
    """A copy of the invented creamery with its mistakes."""
    return Path(shutil.copytree(PLANS / "tarn-hollow", tmp_path / "tarn-hollow"))


def test_proposals_are_the_fixes_of_check(creamery: Path) -> None:
    """The same address for the same interface, in both commands."""
    checked = json.loads(netcheck("check", creamery, "--format", "json", "--today", DAY).stdout)
    fixes: dict[str, str] = {}
    for finding in checked["findings"]:
        if finding["fix"]:
            fixes |= finding["fix"].get("addresses") or {finding["subjects"][0]: finding["fix"]["address"]}
    result = netcheck("suggest", creamery, "--format", "json", "--today", DAY)
    assert result.returncode == 0
    assert {each["subject"]: each["address"] for each in json.loads(result.stdout)["suggestions"]} == fixes
    assert len(fixes) > 5


def test_written_they_mend_the_plan_and_keep_the_rest(creamery: Path) -> None:
    """After --write no finding has a fix any more, nothing is left to propose, and only addresses have changed."""
    before = {file.name: file.read_text("utf-8").splitlines() for file in creamery.iterdir()}
    assert netcheck("suggest", creamery, "--write", "--today", DAY).returncode == 0
    checked = json.loads(netcheck("check", creamery, "--format", "json", "--today", DAY).stdout)
    assert [finding["rule"] for finding in checked["findings"] if finding["fix"]] == []
    assert json.loads(netcheck("suggest", creamery, "--format", "json").stdout)["suggestions"] == []
    for file in creamery.iterdir():
        kept = [line for line in before[file.name] if "10.62." not in line]
        assert [line for line in file.read_text("utf-8").splitlines() if "10.62." not in line] == kept


@pytest.mark.parametrize("words", [(), ("--dry-run",)], ids=["default", "dry-run"])
def test_without_write_nothing_is_touched(creamery: Path, words: tuple[str, ...]) -> None:
    """Proposing only reads, says so, and says the same each time."""
    before = {file.name: file.read_bytes() for file in creamery.iterdir()}
    first, second = (netcheck("suggest", creamery, "--today", DAY, *words) for _ in range(2))
    assert {file.name: file.read_bytes() for file in creamery.iterdir()} == before
    assert "Nothing was written" in first.stdout
    assert first.stdout == second.stdout


def test_write_and_dry_run_exclude_each_other(creamery: Path) -> None:
    """Exit 2, nothing touched."""
    before = {file.name: file.read_bytes() for file in creamery.iterdir()}
    assert netcheck("suggest", creamery, "--write", "--dry-run").returncode == 2
    assert {file.name: file.read_bytes() for file in creamery.iterdir()} == before


def test_written_twice_is_written_once(creamery: Path) -> None:
    """The second --write finds nothing to do: every byte stays."""
    netcheck("suggest", creamery, "--write", "--today", DAY)
    before = {file.name: file.read_bytes() for file in creamery.iterdir()}
    again = netcheck("suggest", creamery, "--write", "--today", DAY)
    assert (again.returncode, {file.name: file.read_bytes() for file in creamery.iterdir()}) == (0, before)


def test_what_cannot_be_placed_is_said_and_is_1(tmp_path: Path) -> None:
    """A /30 with a gateway and a site host has no address left."""
    result = netcheck("suggest", small(tmp_path, 0, "", "10.62.20.2"))
    assert result.returncode == 1
    assert "no address of subnet process is free" in result.stdout


def test_nearer_than_keep_clear_where_nothing_else_is_free(tmp_path: Path) -> None:
    """An empty interface gets a near address, with the reason said; `check` offers none as a fix."""
    folder = small(tmp_path, 4, "", "10.62.20.1")
    result = netcheck("suggest", folder, "--format", "json")
    assert result.returncode == 0
    (only,) = json.loads(result.stdout)["suggestions"]
    assert only["address"] == "10.62.20.2"
    assert "nearer than 4" in only["why"]
    found = json.loads(netcheck("check", folder, "--format", "json").stdout)["findings"]
    assert [finding["fix"] for finding in found if finding["rule"] == "unplaced"] == [None]


def test_one_too_near_is_not_changed_for_another(tmp_path: Path) -> None:
    """An address that is only too near stays where every other one is too near as well."""
    folder = small(tmp_path, 4, 'address = "10.62.20.2"', "10.62.20.1")
    before = (folder / "plan.toml").read_bytes()
    result = netcheck("suggest", folder, "--write")
    assert result.returncode == 1
    assert (folder / "plan.toml").read_bytes() == before


def test_a_good_plan_needs_nothing() -> None:
    """The mended creamery: nothing to propose, exit 0."""
    result = netcheck("suggest", PLANS / "tarn-hollow-mended", "--today", DAY)
    assert result.returncode == 0
    assert "no finding asks for another one" in result.stdout


def test_a_reader_who_leaves_early_stops_no_writing(creamery: Path) -> None:
    """Both of the plan's files are written though nobody reads what is printed: nothing is left halfway."""
    words = [sys.executable, "-m", "netcheck", "suggest", str(creamery), "--write", "--today", DAY]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    assert process.stdout is not None
    process.stdout.close()
    process.wait(60)
    again = netcheck("suggest", creamery, "--format", "json", "--today", DAY)
    assert json.loads(again.stdout)["suggestions"] == []
