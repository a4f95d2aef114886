"""Optional evidence of a proof on a direct cable, on a Windows computer: settings, identity, capture."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.lab.commands import Result
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.lab.plants import usual
from tests.windows.build import ROOT
from tests.windows.stations import Prepare, as_job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
SERVER = ROOT / "tests" / "field" / "identity_server.py"
PORT = "alpha/cpu:1"
WORDS = ("--direct", "--settings", "--ask-modbus", "--capture", "frames.pcapng", "--only", "alpha/cpu")


def proved(lab: Lab, folder: Path, prepare: Prepare) -> tuple[Result, bytes]:
    """Prove a device that reports its identity, and also return the capture."""
    plant = Plant(lab, folder, direct=True)
    usual.healthy_direct(plant)
    (device,) = plant.devices
    prepare(plant)
    words = [sys.executable, str(SERVER), device.address, "answer"]
    lab.start(device.namespace, words, stdout=subprocess.DEVNULL)
    ended = plant.start(*WORDS).end()
    return ended, (folder / "frames.pcapng").read_bytes()


@pytest.mark.parametrize("windows_job", [as_job("evidence", proved, 60)], ids=str)
def test_evidence_on_a_direct_cable(windows_job: Job, outcome: Any) -> None:
    """Mask, gateway and identity are found as on Linux, and the capture has the frames of both directions."""
    ended, capture = outcome
    assert ended.verdicts == {PORT: "proven"}, ended.text
    print(ended.proofs[PORT]["evidence"])
    assert capture.startswith(bytes.fromhex("0a0d0d0a"))  # a pcapng section: draft-ietf-opsawg-pcapng
    assert capture.count(bytes.fromhex("00005e005314 00005e005301 0800")) > 10
    assert capture.count(bytes.fromhex("00005e005301 00005e005314 0800")) > 10
    assert "Company identification" in str(ended.proofs[PORT]["evidence"])
    assert "as planned" in str(ended.proofs[PORT]["evidence"])
