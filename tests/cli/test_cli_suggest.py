"""Tests of `netcheck suggest`: its proposals are the fixes of `check`, and `--write` resolves the findings."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.command_line import netcheck

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


def small(folder: Path, keep_clear: int, address: str, host: str) -> Path:
    """Return the plan of one interface in a /30 with the gateway .1, and one site host."""
    (folder / "plan.toml").write_text(FULL % (keep_clear, address), "utf-8")
    (folder / "site-hosts.csv").write_text(f"address\n{host}\n", "utf-8")
    return folder


@pytest.fixture
def creamery(tmp_path: Path) -> Path:
    """Return a copy of the invented creamery with its mistakes."""
    return Path(shutil.copytree(PLANS / "tarn-hollow", tmp_path / "tarn-hollow"))


def test_proposals_are_the_fixes_of_check(creamery: Path) -> None:
    """`suggest` and `check` give the same address to the same interface."""
    checked = json.loads(netcheck("check", creamery, "--format", "json", "--today", DAY).stdout)
    fixes: dict[str, str] = {}
    for finding in checked["findings"]:
        if finding["fix"]:
            fixes |= finding["fix"].get("addresses") or {finding["subjects"][0]: finding["fix"]["address"]}
    result = netcheck("suggest", creamery, "--format", "json", "--today", DAY)
    assert result.returncode == 1  # one address of this plan cannot be read
    assert {each["subject"]: each["address"] for each in json.loads(result.stdout)["suggestions"]} == fixes
    assert len(fixes) > 5


def test_write_resolves_the_findings_and_changes_only_addresses(creamery: Path) -> None:
    """After --write no finding has a fix, there is no further proposal, and only addresses have changed."""
    before = {file.name: file.read_text("utf-8").splitlines() for file in creamery.iterdir()}
    assert netcheck("suggest", creamery, "--write", "--today", DAY).returncode == 1
    checked = json.loads(netcheck("check", creamery, "--format", "json", "--today", DAY).stdout)
    assert [finding["rule"] for finding in checked["findings"] if finding["fix"]] == []
    assert json.loads(netcheck("suggest", creamery, "--format", "json").stdout)["suggestions"] == []
    for file in creamery.iterdir():
        kept = [line for line in before[file.name] if "10.62." not in line]
        assert [line for line in file.read_text("utf-8").splitlines() if "10.62." not in line] == kept


@pytest.mark.parametrize("words", [(), ("--dry-run",)], ids=["default", "dry-run"])
def test_without_write_no_file_changes(creamery: Path, words: tuple[str, ...]) -> None:
    """Without --write, no file changes, the output says so, and two runs print the same."""
    before = {file.name: file.read_bytes() for file in creamery.iterdir()}
    first, second = (netcheck("suggest", creamery, "--today", DAY, *words) for _ in range(2))
    assert {file.name: file.read_bytes() for file in creamery.iterdir()} == before
    assert "Nothing was written" in first.stdout
    assert first.stdout == second.stdout


def test_write_and_dry_run_exclude_each_other(creamery: Path) -> None:
    """`--write` with `--dry-run` gives exit 2 and changes no file."""
    before = {file.name: file.read_bytes() for file in creamery.iterdir()}
    assert netcheck("suggest", creamery, "--write", "--dry-run").returncode == 2
    assert {file.name: file.read_bytes() for file in creamery.iterdir()} == before


def test_a_second_write_changes_nothing(creamery: Path) -> None:
    """A second --write changes no byte."""
    netcheck("suggest", creamery, "--write", "--today", DAY)
    before = {file.name: file.read_bytes() for file in creamery.iterdir()}
    again = netcheck("suggest", creamery, "--write", "--today", DAY)
    assert (again.returncode, {file.name: file.read_bytes() for file in creamery.iterdir()}) == (1, before)


def test_a_full_subnet_gives_exit_1(tmp_path: Path) -> None:
    """A full subnet gives exit 1 and a message."""
    result = netcheck("suggest", small(tmp_path, 0, "", "10.62.20.2"))
    assert result.returncode == 1
    assert "no address of subnet process is free" in result.stdout


@pytest.mark.parametrize("form", ["text", "json"])
def test_an_address_that_cannot_be_read_gives_exit_1(tmp_path: Path, form: str) -> None:
    """The message names the interface, its address does not change, and the exit code is 1."""
    folder = small(tmp_path, 0, 'address = "10.62.20.02"', "10.62.20.1")
    before = (folder / "plan.toml").read_bytes()
    result = netcheck("suggest", folder, "--write", "--format", form)
    assert (result.returncode, (folder / "plan.toml").read_bytes()) == (1, before)
    if form == "json":
        assert json.loads(result.stdout)["summary"] == {"placed": 0, "left": 1}
    else:
        assert "Every interface has an address" not in result.stdout
        assert "filler-plc/cpu is left as it is: its address cannot be read" in result.stdout
        assert f"1 interface could not be placed: correct it in the plan, then run: netcheck suggest {folder}" in (
            result.stdout
        )


def test_a_near_address_is_proposed_if_no_other_is_free(tmp_path: Path) -> None:
    """An interface without an address gets an address that is too near; `check` does not offer it as a fix."""
    folder = small(tmp_path, 4, "", "10.62.20.1")
    result = netcheck("suggest", folder, "--format", "json")
    assert result.returncode == 0
    (only,) = json.loads(result.stdout)["suggestions"]
    assert only["address"] == "10.62.20.2"
    assert "nearer than 4" in only["why"]
    found = json.loads(netcheck("check", folder, "--format", "json").stdout)["findings"]
    assert [finding["fix"] for finding in found if finding["rule"] == "unplaced"] == [None]


def test_a_near_address_is_not_changed_for_another_near_one(tmp_path: Path) -> None:
    """An address that is only too near does not change if every other address is also too near."""
    folder = small(tmp_path, 4, 'address = "10.62.20.2"', "10.62.20.1")
    before = (folder / "plan.toml").read_bytes()
    result = netcheck("suggest", folder, "--write")
    assert result.returncode == 1
    assert (folder / "plan.toml").read_bytes() == before


def test_a_good_plan_needs_nothing() -> None:
    """The corrected creamery needs no proposal and gives exit 0."""
    result = netcheck("suggest", PLANS / "tarn-hollow-mended", "--today", DAY)
    assert result.returncode == 0
    assert "no finding requires another address" in result.stdout


def test_a_closed_output_does_not_stop_the_writing(creamery: Path) -> None:
    """All files of the plan are written even if nobody reads the output."""
    words = [sys.executable, "-m", "netcheck", "suggest", str(creamery), "--write", "--today", DAY]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    assert process.stdout is not None
    process.stdout.close()
    process.wait(60)
    again = netcheck("suggest", creamery, "--format", "json", "--today", DAY)
    assert json.loads(again.stdout)["suggestions"] == []
