"""Tests of `netcheck rehearse PLAN`: a plan on the simulated bench."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from netcheck.app.keyboard import NoKeys
from netcheck.app.rehearse import Trainee
from netcheck.proof.events import Action, Event, Key, Press, What
from netcheck.rig.network import Jack, Rig

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
    """The port gets the verdict of its fault, the exit code is that of a proving run, and the record verifies."""
    record = tmp_path / "run.jsonl"
    words = [] if fault is None else ["--fault", f"{fault}={PORT}"]
    run = rehearse(PLANT, "--only", f"{PORT}:1", *words, "--record", record, "--format", "json")
    shown = json.loads(run.stdout)
    assert [proof["verdict"] for proof in shown["proofs"]] == [verdict]
    assert run.returncode == (0 if verdict == "proven" else 1)
    verified = subprocess.run([sys.executable, "-m", "netcheck", "verify", str(record)], check=False, stdout=-3)
    assert verified.returncode == 0


def test_the_listing_has_no_probabilities_and_the_record_has_them(tmp_path: Path) -> None:
    """After a keyed run no probability is printed; the record has all of them, and reports explain them."""
    record = tmp_path / "run.jsonl"
    run = rehearse(PLANT, "--only", f"{PORT}:1", "--only", "cip-plc/cpu:1", "--fault", f"impostor={PORT}", "--record",
                   record)  # fmt: skip
    assert "cable: confirmed by a key" in run.stdout
    assert not re.search(r"\de-\d\d|\bluck\b|connector: assumed", run.stdout)
    written = record.read_text("utf-8")
    assert re.search(r"luck: \d\.\de-\d\d by ARP", written)
    assert re.search(r'"luck":\d\.\d+e-\d\d', written)


def test_a_scripted_rehearsal_says_that_it_does_not_speak(tmp_path: Path) -> None:
    """Without a terminal the run takes no time, so `--say` only prints why nothing is spoken."""
    run = rehearse(PLANT, "--only", f"{PORT}:1", "--say", "--record", tmp_path / "run.jsonl")
    assert run.returncode == 0
    assert "--say: a scripted technician is faster than speech" in run.stderr


def proofs_in(record: Path) -> list[str]:
    """Return the subjects of all proofs in a record, in order."""
    lines = map(json.loads, record.read_text("utf-8").splitlines())
    found = [line["proof"] for line in lines if line["type"] == "proof"]
    return [f"{proof['interface']}:{proof['port']}" for proof in found]


def test_the_same_command_with_only_continues_the_record(tmp_path: Path) -> None:
    """Ports that the record has as proven are not proven again, but are in the result, as the README says.

    `--again` proves them again.
    """
    record = tmp_path / "run.jsonl"
    words = [PLANT, "--only", f"{PORT}:1", "--only", "cip-plc/cpu:1", "--record", record, "--format", "json"]
    both = [f"{PORT}:1", "cip-plc/cpu:1"]
    for _ in range(2):
        run = rehearse(*words)
        assert run.returncode == 0, run.stderr
        assert [proof["verdict"] for proof in json.loads(run.stdout)["proofs"]] == ["proven", "proven"]
        assert proofs_in(record) == both
    assert rehearse(*words, "--again").returncode == 0
    assert proofs_in(record) == both * 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "rehearse needs either a plan or --campaign N"),
        ([PLANT, "--campaign", 3], "either a plan or --campaign"),
        (["--campaign", 0], "--campaign 0"),
        (["--campaign", 3, "--seed", -1], "--seed -1"),
        ([PLANT, "--fault", "fire=alpha/cpu"], "not a fault"),
        ([PLANT, "--fault", "absent=alpha/nobody"], "alpha/nobody"),
        ([PLANT, "--fault", f"swapped={PORT}"], "swapped needs two"),
        ([PLANT, "--fault", f"swapped={PORT},{PORT}"], "swapped needs two"),
    ],
    ids=[
        "nothing",
        "both",
        "no sites",
        "bad seed",
        "unknown kind",
        "unknown interface",
        "one of two",
        "the same twice",
    ],
)
def test_bad_use_is_refused(words: list[object], said: str) -> None:
    """Bad use gives exit 2 with the reason."""
    run = rehearse(*words)
    assert run.returncode == 2
    assert said in run.stderr
    assert "Traceback" not in run.stderr


class OneEnter(NoKeys):
    """An operator who presses Enter once."""

    def __init__(self) -> None:
        self.left: list[Press] = [Key.ENTER]

    def pressed(self) -> list[Press]:
        """Return the keys pressed since the last call."""
        left, self.left = self.left, []
        return left


@pytest.mark.parametrize(("asked_again", "confirmed"), [(False, [Key.ENTER]), (True, [])], ids=["waits", "goes on"])
def test_enter_confirms_only_the_current_request(asked_again: bool, confirmed: list[Press]) -> None:
    """Enter moves the cable. It does not confirm another request that comes before that movement is confirmed."""
    rig, jack = Rig(1, [], []), Jack(1, plugged=False)
    trainee = Trainee(rig, {"alpha/cpu:1": jack}, {}, OneEnter())
    trainee.told(
        Event(
            at=rig.now(),
            what=What.DO,
            port="alpha/cpu:1",
            text="Plug the cable of alpha/cpu:1 in again",
            action=Action.PLUG,
        )
    )
    assert trainee.pressed() == []
    assert jack.plugged
    if asked_again:
        trainee.told(
            Event(
                at=rig.now(), what=What.DO, port="alpha/cpu:1", text="Pull the cable of alpha/cpu:1", action=Action.PULL
            )
        )
    rig.receive(rig.now() + 1.0)
    assert trainee.pressed() == confirmed
