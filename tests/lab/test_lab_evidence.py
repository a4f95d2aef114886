"""`netcheck prove` on a direct cable with the optional evidence: the device's settings, its identity, LLDP."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from scapy.contrib.lldp import (
    LLDPDUChassisID,
    LLDPDUEndOfLLDPDU,
    LLDPDUPortID,
    LLDPDUSystemName,
    LLDPDUTimeToLive,
)
from scapy.layers.l2 import Ether

from netcheck.record.verify import read_record
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.plans import BENCH, device

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]
SERVER = Path(__file__).parents[1] / "field" / "identity_server.py"
DEVICE = "00-00-5E-00-53-14"
PLAN = BENCH + device("alpha", "cpu", subnet="line", address="192.0.2.20", mac=DEVICE) + 'ports = ["1", "2"]\n'


@dataclass(frozen=True)
class Case:
    """The device's settings, the frames that it sends, and the expected proof."""

    name: str
    typed: str = "192.0.2.20/24"
    gateway: str = "192.0.2.254"
    own: bool = True  # the station has its own address
    reverse: int = 0
    words: tuple[str, ...] = ("--settings", "--ask-modbus", "--only", "alpha/cpu:1")
    modbus: str = ""  # the kind of its server; "" for no server
    lldp: str = ""  # the port that it announces as the port of the cable
    verdict: str = "proven"
    connector: str = "assumed"
    evidence: dict[str, str] = field(default_factory=dict)
    said: str = ""  # words of a line during the run


RIGHT = {"mask": "mask as planned", "gateway": "gateway is 192.0.2.254, as planned"}
QUIET = {"modbus": "not known: nothing listens on its TCP port 502"}
SAID = {
    "modbus vendor": "Company identification", "modbus product": "Product code XX", "modbus revision": "V2.11",
}  # fmt: skip
CASES = (
    Case("all as planned", modbus="answer", evidence=RIGHT | SAID),
    Case(
        "mask too short, no gateway", "192.0.2.20/16", "", verdict="wrong-settings", evidence=QUIET
        | {"mask": "mask is /16, planned /24", "gateway": "no gateway set, planned 192.0.2.254"},
        said="mask is /16, planned /24; no gateway set, planned 192.0.2.254",
    ),
    Case(
        "another gateway, borrowed address", gateway="192.0.2.9", own=False, verdict="wrong-settings",
        evidence={
            "mask": "mask as planned", "gateway": "gateway is 192.0.2.9, planned 192.0.2.254",
            "modbus": "not asked: this computer has no address of its own in subnet line",
        },
    ),
    Case(
        "mask too long: deaf to the station", "192.0.2.20/28", "192.0.2.17", reverse=1, own=False,
        verdict="wrong-settings", words=("--settings", "--only", "alpha/cpu:1"),
        evidence={"mask": "mask is /28, planned /24", "gateway": "gateway is 192.0.2.17, planned 192.0.2.254"},
    ),
    Case(
        "mask too long, no gateway: answers nothing at all", "192.0.2.20/28", "", reverse=1, own=False,
        verdict="silent", words=("--settings", "--only", "alpha/cpu:1", "--patience", "4"),
        evidence={"mask": "mask is /28, planned /24", "gateway": "no gateway set, planned 192.0.2.254"},
    ),
    Case("nothing asked", words=("--only", "alpha/cpu:1")),
    Case(
        "second port, named by LLDP", words=("--only", "alpha/cpu:2"), lldp="Port 2", connector="lldp",
        evidence={"lldp system name": "pasteuriser", "lldp port": "Port 2"},
    ),
    Case(
        "second port, LLDP names the first", words=("--only", "alpha/cpu:2"), lldp="1", verdict="unsettled",
        evidence={"lldp system name": "pasteuriser", "lldp port": "1"},
    ),
)  # fmt: skip


def announcement(port: str) -> bytes:
    """Return an LLDP frame by scapy with chassis, port, lifetime and system name."""
    frame = (
        Ether(dst="01:80:c2:00:00:0e", src=DEVICE.replace("-", ":"), type=0x88CC)
        / LLDPDUChassisID(subtype=7, id=b"pasteuriser")
        / LLDPDUPortID(subtype=7, id=port.encode())
        / LLDPDUTimeToLive(ttl=120)
        / LLDPDUSystemName(system_name=b"pasteuriser")
        / LLDPDUEndOfLLDPDU()
    )
    return bytes(frame).ljust(60, b"\0")


class Bench:
    """A station, a device on a direct cable, and a technician who obeys the command's lines."""

    def __init__(self, lab: Lab, case: Case, folder: Path) -> None:
        self.lab, self.case, self.folder = lab, case, folder
        self.lines: list[str] = []
        self.done = threading.Event()
        self.station, self.device = lab.namespace("station"), lab.namespace("device")
        lab.veth((self.station, "eth0"), (self.device, "eth0"), macs=("00-00-5E-00-53-01", DEVICE))
        lab.reverse_path(self.device, case.reverse)
        lab.arp_strict(self.device)
        lab.address(self.device, "eth0", case.typed)
        if case.own:
            lab.address(self.station, "eth0", "192.0.2.1/24")
        self.plug()
        (folder / "plan.toml").write_text(PLAN, encoding="utf-8")

    def plug(self) -> None:
        """Plug the device's cable in, and set its gateway again: this kernel deletes it when the link goes down."""
        self.lab.up(self.device, "eth0")
        if self.case.gateway:
            self.lab.run(self.device, ["ip", "route", "replace", "default", "via", self.case.gateway])

    def prove(self) -> tuple[int, dict[str, Any]]:
        """Run the command to its end."""
        if self.case.modbus:
            words = [sys.executable, str(SERVER), self.case.typed.split("/")[0], self.case.modbus]
            self.lab.start(self.device, words, stdout=subprocess.DEVNULL)
        command = [
            *(sys.executable, "-m", "netcheck", "prove", str(self.folder), "-i", "eth0", "--hands-free", "--direct"),
            *("--permit", "laboratory", "--format", "json", "--record", str(self.folder / "run.jsonl")),
            *self.case.words,
        ]
        process = self.lab.start(
            self.station, command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        helpers = [threading.Thread(target=self._listen, args=(process,)), threading.Thread(target=self._announce)]
        for helper in helpers:
            helper.start()
        assert process.stdout is not None
        out = process.stdout.read().decode()
        code = process.wait()
        self.done.set()
        for helper in helpers:
            helper.join(5)
        return code, json.loads(out) if out.strip() else {}

    def _listen(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stderr is not None
        for raw in process.stderr:
            line = raw.decode(errors="replace").rstrip()
            self.lines.append(line)
            if line.startswith("do ") and "Pull" in line:
                time.sleep(0.5)
                self.lab.down(self.device, "eth0")
            elif line.startswith("do ") and "Plug" in line:
                time.sleep(0.5)
                self.plug()

    def _announce(self) -> None:
        if not self.case.lldp:
            return
        with self.lab.inside(self.device):
            speaker = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        with speaker:
            speaker.bind(("eth0", 0))
            while not self.done.wait(0.5):
                try:
                    speaker.send(announcement(self.case.lldp))
                except OSError:
                    continue  # its cable is out


@dataclass(frozen=True)
class Ended:
    """The result of one case: exit code, JSON, lines on standard error, folder and seconds."""

    code: int
    out: dict[str, Any]
    lines: list[str]
    folder: Path
    seconds: float


def run(case: Case, lab: Lab, folder: Path) -> Ended:
    """Build one case and run it."""
    bench = Bench(lab, case, folder)
    began = time.monotonic()
    code, out = bench.prove()
    return Ended(code, out, bench.lines, folder, time.monotonic() - began)


@pytest.mark.parametrize(
    ("job", "case"),
    [pytest.param(Job(f"evidence: {case.name}", partial(run, case), 80), case, id=case.name) for case in CASES],
)
def test_evidence_of_a_direct_cable(job: Job, case: Case, outcome: Ended) -> None:
    """The proof has the expected verdict, connector and evidence, and the record has the same proof."""
    said = "\n".join(outcome.lines)
    proof = outcome.out["proofs"][0]
    print(f"{case.name:50} {outcome.seconds:5.1f} s  {proof['verdict']}  {proof['evidence']}")
    assert (proof["verdict"], proof["connector"]) == (case.verdict, case.connector), said + proof["why"]
    assert proof["evidence"] == case.evidence, said
    assert case.said in said
    assert outcome.code == (0 if case.verdict == "proven" else 1)
    recorded = read_record(outcome.folder / "run.jsonl").content.proofs
    assert [dict(one.proof.evidence) for one in recorded] == [case.evidence]
