"""Tests of `netcheck demo` and `netcheck map` from the command line, and of the plants in the wheel."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
import zipfile
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


# Runs the demonstration with the first netcheck on the path, and prints the place of that package.
DEMO = """
from pathlib import Path
import netcheck
from netcheck.app.demo import demonstrate
demonstrate(Path("there"))
print(netcheck.__file__)
"""


def netcheck(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the command line in a folder."""
    return subprocess.run([sys.executable, "-m", "netcheck", *words], cwd=folder, capture_output=True, text=True)


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Return the folder of one demonstration, and its output."""
    folder = tmp_path_factory.mktemp("demo")
    run = netcheck("demo", "--out", "there", folder=folder)
    assert run.returncode == 0, run.stderr
    return folder / "there", run.stdout


def proofs_in(record: Path) -> dict[str, str]:
    """Return the verdicts by port, read from the record."""
    lines = [json.loads(line) for line in record.read_text(encoding="utf-8").splitlines()]
    proofs = [line["proof"] for line in lines if line["type"] == "proof"]
    return {f"{proof['interface']}:{proof['port']}": proof["verdict"] for proof in proofs}


def test_demo_shows_the_planted_faults(shown: tuple[Path, str]) -> None:
    """An impostor, two swapped devices and a link with loss get their verdicts, and the other ports are proven."""
    verdicts = proofs_in(shown[0] / "run.jsonl")
    assert verdicts["palletiser-plc/cpu:1"] == "impostor"
    assert verdicts["pasteuriser-panel/lan:1"] == verdicts["cip-panel/lan:1"] == "swapped"
    assert verdicts["boiler-panel/lan:1"] == "proven"
    assert Counter(verdicts.values())["proven"] >= 25


def test_demo_applies_every_fix(shown: tuple[Path, str]) -> None:
    """After the suggestions, no finding with a fix is left, and the printed counts are right."""
    run = netcheck("check", "plan", "--format", "json", folder=shown[0])
    findings = json.loads(run.stdout)["findings"]
    assert findings
    assert [finding for finding in findings if finding["fix"]] == []
    before, after = re.search(r"(\d+) conflicts before, (\d+) now", shown[1]).groups()  # type: ignore[union-attr]
    assert int(before) >= 15
    assert int(after) == sum(finding["severity"] == "conflict" for finding in findings)


def test_demo_writes_files_that_the_other_commands_read(shown: tuple[Path, str]) -> None:
    """The record verifies, and the report and the CSV have the expected content."""
    folder = shown[0]
    assert netcheck("verify", "run.jsonl", folder=folder).returncode == 0
    assert (folder / "report.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    rows = list(csv.DictReader((folder / "findings.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert {"rule", "severity", "key", "decision", "remark", "by"} <= set(rows[0])


@pytest.mark.slow
def test_demo_overwrites_only_its_own_folder(shown: tuple[Path, str], tmp_path: Path) -> None:
    """The demonstration overwrites only its own folder, and refuses a folder with other files."""
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    refused = netcheck("demo", "--out", ".", folder=tmp_path)
    assert refused.returncode == 2
    assert "other files" in refused.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    assert netcheck("demo", "--out", str(shown[0]), folder=tmp_path).returncode == 0


@pytest.mark.slow
def test_wheel_holds_both_plants(tmp_path: Path) -> None:
    """The demonstration runs from the files of the wheel."""
    words = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(tmp_path), str(ROOT)]
    built = subprocess.run(words, capture_output=True, text=True)
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
        archive.extractall(tmp_path / "installed")
    for plant in ("tarn-hollow", "tarn-hollow-mended"):
        assert f"netcheck/demo-plans/{plant}/plan.toml" in names
    assert "netcheck/report/html/templates/report.html" in names
    words = [sys.executable, "-P", "-c", f"import sys; sys.path.insert(0, {str(tmp_path / 'installed')!r})\n{DEMO}"]
    shown = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120)
    assert shown.returncode == 0, shown.stderr
    assert shown.stdout.splitlines()[-1] == str(tmp_path / "installed" / "netcheck" / "__init__.py")
    assert proofs_in(tmp_path / "there" / "run.jsonl")["palletiser-plc/cpu:1"] == "impostor"


def test_map_draws_one_subnet_or_names_the_known_ones() -> None:
    """The map marks each address with the letter of its use; for an unknown subnet the message names the subnets."""
    run = netcheck("map", "plans/tarn-hollow", "services", folder=ROOT)
    assert run.returncode == 0
    first, _, row = run.stdout.splitlines()[:3]
    assert first == "services  10.62.40.0/25"
    assert row.split() == ["10.62.40.0", *"-Xrrrrrrrr......"]  # network, the planned gateway, reserved
    refused = netcheck("map", "plans/tarn-hollow", "nowhere", folder=ROOT)
    assert refused.returncode == 2
    assert "process" in refused.stderr
