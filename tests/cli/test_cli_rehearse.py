"""`netcheck rehearse PLAN`: a plan of one's own on the simulated bench."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

PLANT = Path(__file__).parents[2] / "plans" / "tarn-hollow-mended"
PORT = "palletiser-plc/cpu"


def rehearse(*words: object) -> subprocess.CompletedProcess[str]:
    """Run the command without a terminal: a scripted technician, in virtual time."""
    line = [sys.executable, "-m", "netcheck", "rehearse", *map(str, words)]
    return subprocess.run(line, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)


@pytest.mark.parametrize(
    ("fault", "verdict"),
    [(None, "proven"), ("impostor", "impostor"), ("absent", "silent"), ("lossy", "proven"), ("no-echo", "proven")],
)
def test_the_port_gets_the_verdict_of_its_fault(tmp_path: Path, fault: str | None, verdict: str) -> None:
    """What is wrong at the bench is what the run says; the exit code is that of a proving run, the record verifies."""
    record = tmp_path / "run.jsonl"
    words = [] if fault is None else ["--fault", f"{fault}={PORT}"]
    run = rehearse(PLANT, "--only", f"{PORT}:1", *words, "--record", record, "--format", "json")
    shown = json.loads(run.stdout)
    assert [proof["verdict"] for proof in shown["proofs"]] == [verdict]
    assert run.returncode == (0 if verdict == "proven" else 1)
    verified = subprocess.run([sys.executable, "-m", "netcheck", "verify", str(record)], check=False, stdout=-3)
    assert verified.returncode == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "rehearse needs a plan, or --campaign N"),
        ([PLANT, "--campaign", 3], "not both"),
        (["--campaign", 0], "--campaign 0"),
        (["--campaign", 3, "--seed", -1], "--seed -1"),
        ([PLANT, "--fault", "fire=alpha/cpu"], "not a fault"),
        ([PLANT, "--fault", "absent=alpha/nobody"], "alpha/nobody"),
        ([PLANT, "--fault", f"swapped={PORT}"], "swapped names two"),
    ],
    ids=["nothing", "both", "no sites", "bad seed", "unknown kind", "unknown interface", "one of two"],
)
def test_what_makes_no_sense_is_refused(words: list[object], said: str) -> None:
    """Bad use is exit 2 with what to do, and nothing is begun."""
    run = rehearse(*words)
    assert run.returncode == 2
    assert said in run.stderr
    assert "Traceback" not in run.stderr
