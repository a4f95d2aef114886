"""`walk`, `survey`, `identify`, `ready` and interrupted runs on a Windows computer, on real kernels."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.lab.commands import Result
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.lab.plants import usual
from tests.lab.technician import Request
from tests.lab.walks import Walk, WalkResult, walk
from tests.windows.stations import Prepare, as_job
from tests.windows.wine import Windows, windows_path

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
PORT = "alpha/cpu:1"
PIPES: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
MAC = "00-00-5E-00-53-14"
Outcome = Any  # the outcome of a job

WALK = Walk("windows: walk", ("beta", "alpha"), {"alpha": "proven", "beta": "proven"}, {}, lasts=100)


def walked(lab: Lab, folder: Path, prepare: Prepare) -> WalkResult:
    """Walk along two devices."""
    return walk(WALK, lab, folder, prepare)


@pytest.mark.parametrize("windows_job", [as_job("walk", walked, 110)], ids=str)
def test_a_walk_proves_both_devices(windows_job: Job, outcome: Outcome) -> None:
    """Both ports are proven, in the order in which they were pulled."""
    assert outcome.ended.verdicts == {"alpha/cpu:1": "proven", "beta/cpu:1": "proven"}, outcome.ended.text
    assert outcome.ended.code == 0


@dataclass(frozen=True)
class Rightless:
    """A situation on the link without rights.

    `verdicts` has several if the neighbour table decides which of two owners is seen. `says` are words of the sentence.
    """

    name: str
    build: Callable[[Plant], None]
    verdicts: tuple[str, ...]
    says: str = ""


RIGHTLESS = (
    Rightless("without rights: healthy", usual.healthy, ("unsettled",), "cannot hear a second owner"),
    Rightless("without rights: absent", usual.absent, ("silent",), "192.0.2.20"),
    Rightless("without rights: swapped", usual.swapped_pair, ("swapped",), "beta/cpu"),
    Rightless("without rights: never pulled", usual.never_pulled, ("still-answering",), "never fell silent"),
    Rightless("without rights: two owners", usual.two_owners, ("contested", "wrong-hardware", "unsettled")),
)


def proved_without_rights(case: Rightless, lab: Lab, folder: Path, prepare: Prepare) -> Result:
    """Prove with the system's own echo requests."""
    plant = Plant(lab, folder)
    case.build(plant)
    prepare(plant)
    return plant.start("--link", "unprivileged", "--only", "alpha/cpu", "--patience", "12").end()


@pytest.mark.parametrize(
    ("windows_job", "case"),
    [pytest.param(as_job(one.name, partial(proved_without_rights, one), 45), one, id=one.name) for one in RIGHTLESS],
)
def test_without_a_driver_nothing_is_proven_and_faults_are_found(
    windows_job: Job, case: Rightless, outcome: Outcome
) -> None:
    """The link by iphlpapi.dll names the fault, and never says more than `unsettled` of a sound port."""
    proof = outcome.proofs[PORT]
    print(f"{case.name:32} {proof['verdict']}: {proof['why']}")
    assert proof["verdict"] in case.verdicts, outcome.text
    assert case.says in proof["why"]
    assert outcome.code == 1


@dataclass(frozen=True)
class Stopped:
    """A run that was interrupted or killed, `verify` after it, and the run that continued its record."""

    ended: Result
    verified: Result
    resumed: Result


def stopped(number: signal.Signals, lab: Lab, folder: Path, prepare: Prepare) -> Stopped:
    """Stop a run of two ports while the second is under test, then start it again with the same record."""
    plant = Plant(lab, folder)
    usual.pair(plant)
    prepare(plant)
    command = plant.start()
    assert command.wait_for(lambda line: line.startswith("heard    beta/cpu:1"), 120)
    command.signal(number)
    ended = command.end(60)
    for device in plant.devices:
        plant.plug_in(device)
    return Stopped(ended, plant.verify(), plant.start().end())


@pytest.mark.parametrize(
    ("windows_job", "code"),
    [
        pytest.param(as_job("Ctrl-C", partial(stopped, signal.SIGINT), 80), 130, id="Ctrl-C"),
        pytest.param(as_job("killed", partial(stopped, signal.SIGKILL), 80), None, id="killed"),
    ],
)
def test_a_stopped_run_leaves_a_record_that_can_be_continued(
    windows_job: Job, code: int | None, outcome: Outcome
) -> None:
    """Ctrl-C ends with 130; after it, and after a kill, the record is valid, and proven ports are not proven again."""
    assert code is None or outcome.ended.code == code, outcome.ended.text
    assert "Traceback" not in outcome.ended.text
    assert outcome.verified.code == 0, outcome.verified.out
    assert outcome.resumed.verdicts == {PORT: "proven", "beta/cpu:1": "proven"}, outcome.resumed.text
    assert not any(line.text.startswith("do       alpha/") for line in outcome.resumed.lines)


def slept(lab: Lab, folder: Path, prepare: Prepare) -> Result:
    """Stop the process with the cable out; the next time suspend the computer; the third time do neither."""
    plant = Plant(lab, folder)
    usual.healthy(plant)
    prepare(plant)
    suspend = folder / "suspended"
    plant.environment["LABORATORY_SUSPEND"] = windows_path(suspend)
    pulls: list[Request] = []

    def technician(request: Request) -> None:
        plant.obey(request)
        if not request.pulls:
            return
        pulls.append(request)
        plant.pause(2)
        if len(pulls) == 1 and plant.command is not None:
            plant.command.signal(signal.SIGSTOP)
            plant.pause(4)
            plant.command.signal(signal.SIGCONT)
        elif len(pulls) == 2:
            suspend.touch()

    plant.technician = technician
    return plant.start("--only", "alpha/cpu").end()


@pytest.mark.parametrize("windows_job", [as_job("slept", slept, 100)], ids=str)
def test_a_phase_in_which_the_computer_slept_is_void(windows_job: Job, outcome: Outcome) -> None:
    """A stopped process and a suspended computer are both noticed, the phase is repeated, and the port is proven."""
    assert "netcheck itself was not running for" in outcome.text
    assert "this computer was suspended for 60 s" in outcome.text
    assert outcome.verdicts == {PORT: "proven"}, outcome.text


def unplugged(lab: Lab, folder: Path, prepare: Prepare) -> Result:
    """Unplug the station's adapter while the device's cable is out, and plug it in again."""
    plant = Plant(lab, folder)
    usual.healthy(plant)
    prepare(plant)
    gone = folder / "unplugged"
    plant.environment["LABORATORY_UNPLUGGED"] = windows_path(gone)
    pulls: list[Request] = []

    def technician(request: Request) -> None:
        plant.obey(request)
        if request.pulls and not pulls:
            pulls.append(request)
            plant.pause(2)
            gone.touch()
            plant.pause(3)
            gone.unlink()

    plant.technician = technician
    return plant.start("--only", "alpha/cpu").end()


@pytest.mark.parametrize("windows_job", [as_job("unplugged", unplugged, 90)], ids=str)
def test_an_adapter_that_is_unplugged_and_plugged_in_again(windows_job: Job, outcome: Outcome) -> None:
    """The phase does not count, the adapter is opened again, and the port is proven."""
    assert outcome.verdicts == {PORT: "proven"}, outcome.text
    assert "this computer's interface is down or gone" in outcome.text


@dataclass(frozen=True)
class OnSite:
    """The results of the short commands: exit code, standard output, standard error."""

    swept: tuple[int, str, str]
    listened: tuple[int, str, str]
    identified: tuple[int, str, str]
    ready: tuple[int, str, str]
    without_driver: tuple[int, str, str]
    nameless: tuple[int, str, str]
    ambiguous: tuple[int, str, str]


def on_site(lab: Lab, folder: Path, prepare: Prepare) -> OnSite:
    """Run the short commands one after the other, while a device sends frames from time to time."""
    plant = Plant(lab, folder)
    device, _ = usual.pair(plant)
    plant.plan()
    lab.veth((plant.station, "eth1"), (lab.namespace("office"), "eth0"))
    lab.run(plant.station, ["ip", "route", "add", "192.0.2.16/29", "dev", "eth1"])
    with Windows(plant.station) as computer:

        def run(*words: str, **settings: str) -> tuple[int, str, str]:
            ended = computer.netcheck(*words, cwd=folder, **settings)
            return ended.returncode, ended.stdout.decode(), ended.stderr.decode()

        permit = ("--permit", "laboratory")
        swept = run("survey", "sweep", "-i", "ETH0", "192.0.2.16/28", *permit, "--pace", "50", "--format", "json")
        with lab.inside(device.namespace), socket.socket(socket.AF_PACKET, socket.SOCK_RAW) as packets:
            packets.bind(("eth0", 0))
            announcement = bytes.fromhex(
                "ffffffffffff 00005e005314 0806 0001 0800 06 04 0001 00005e005314 c0000214 000000000000 c0000214"
            )
            listening = computer.start(
                "-m", "netcheck", "survey", "listen", "-i", "eth0", "--for", "6s", "--format", "json", **PIPES
            )
            identifying = computer.start(
                "-m", "netcheck", "identify", "-i", "eth0", "--for", "20s", "--plan", "plan", cwd=folder, **PIPES
            )
            while listening.poll() is None or identifying.poll() is None:
                packets.send(announcement)
                time.sleep(0.5)
            outcomes = []
            for process in (listening, identifying):
                out, said = process.communicate()
                outcomes.append((process.returncode, out.decode(), said.decode()))
        without = "winemenubuilder.exe,mscoree,mshtml,wpcap=d"
        return OnSite(
            swept=swept,
            listened=outcomes[0],
            identified=outcomes[1],
            ready=run("ready", "plan", "-i", "eth0"),
            without_driver=run("prove", "plan", "-i", "eth0", *permit, WINEDLLOVERRIDES=without),
            nameless=run("prove", "plan", *permit),
            ambiguous=run("prove", "plan", "-i", "eth", *permit),
        )


@pytest.mark.parametrize("windows_job", [as_job("on site", on_site, 60)], ids=str)
def test_short_commands_on_site(windows_job: Job, outcome: Outcome) -> None:
    """A sweep, a listener and `identify` find the devices; refusals say what is missing and what to do."""
    code, out, said = outcome.swept
    assert code == 0, said
    hosts = {host["address"]: host["mac"] for host in json.loads(out)["hosts"]}
    assert hosts == {"192.0.2.20": MAC, "192.0.2.21": "00-00-5E-00-53-15"}
    code, out, said = outcome.listened
    assert {host["address"]: host["mac"] for host in json.loads(out)["hosts"]}["192.0.2.20"] == MAC, said
    code, out, said = outcome.identified
    assert (code, "192.0.2.20" in out, "alpha/cpu" in out) == (0, True, True), out + said
    _, out, said = outcome.ready
    assert "eth0 can be opened (portable link)" in out, said
    assert "the route 192.0.2.16/29 sends line (192.0.2.0/24) through eth1" in " ".join(out.split())
    code, _, said = outcome.without_driver
    assert code == 3
    assert "no capture driver is installed" in said
    assert "--link unprivileged" in said
    code, _, said = outcome.nameless
    assert (code, "eth0 (cable, 192.0.2.1)" in said) == (2, True), said
    code, _, said = outcome.ambiguous
    assert (code, "eth0 and eth1" in said) == (3, True), said


WATCH = """
import sys, time
from netcheck.wire.links.open import open_link
from netcheck.wire.link import Carrier
with open_link(sys.argv[1], "eth0") as link:
    print("open", flush=True)
    until = link.now() + 8
    while link.now() < until:
        for news in link.receive(until):
            if isinstance(news, Carrier):
                print(news.up, time.time(), flush=True)
"""


def watched(kind: str, lab: Lab, folder: Path, prepare: Prepare) -> list[tuple[bool, float]]:
    """Take the far end of the cable down and up while a link is open; return each change and its delay."""
    plant = Plant(lab, folder, direct=True)
    usual.healthy_direct(plant)
    (device,) = plant.devices
    with Windows(plant.station) as computer, computer.start("-c", WATCH, kind, **PIPES) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"open\r\n"
        moved = []
        for move in (plant.pull, plant.plug_in):
            time.sleep(1.5)
            moved.append(time.time())
            move(device)
        told = [line.split() for line in process.stdout.read().decode().splitlines()]
    return [(up == "True", float(at) - then) for (up, at), then in zip(told, moved, strict=True)]


@pytest.mark.parametrize(
    "windows_job",
    [as_job(f"carrier, {kind}", partial(watched, kind), 20) for kind in ("portable", "unprivileged")],
    ids=str,
)
def test_carrier_changes_are_noticed_within_a_second(windows_job: Job, outcome: Outcome) -> None:
    """Pulling and plugging in a cable are each reported once, within a second."""
    assert [up for up, _ in outcome] == [False, True]
    assert all(late < 1 for _, late in outcome), outcome
