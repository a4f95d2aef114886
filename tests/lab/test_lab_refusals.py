"""Tests of the refusals of `prove` and `walk` on real kernels: exit code, message, and no frame sent."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.lab.commands import as_a_user
from tests.lab.netns import Lab
from tests.lab.plant import Plant

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]
PERMIT = ("--permit", "laboratory")
HANDS_FREE = ("--hands-free", *PERMIT)


@dataclass(frozen=True)
class Refusal:
    """A call that must be refused. `says` are words of the message."""

    name: str
    words: tuple[str, ...]
    code: int
    says: tuple[str, ...]
    before: Callable[[Plant], None] = lambda plant: None
    wrapper: Callable[[], tuple[str, ...]] = tuple
    command: str = "prove"


def bare_plant(lab: Lab, folder: Path) -> Plant:
    """Build a station with an address and a second interface, and one device."""
    plant = Plant(lab, folder)
    plant.device("alpha", 20)
    other = lab.namespace("office")
    lab.veth((plant.station, "eth9"), (other, "eth0"))
    plant.plan()
    return plant


def own_address_is_planned(plant: Plant) -> None:
    """The station's operating system has the address of the device."""
    plant.lab.address(plant.station, "eth0", "192.0.2.20/24")


def station_is_planned(plant: Plant) -> None:
    """The plan's station has the address of the device."""
    text = (plant.folder / "plan/plan.toml").read_text(encoding="utf-8")
    (plant.folder / "plan/plan.toml").write_text(text.replace("192.0.2.240/24", "192.0.2.20/24"), encoding="utf-8")


def another_plans_record(plant: Plant) -> None:
    """The record belongs to a plan with another name."""
    path = plant.folder / "plan/plan.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"Bench"', '"Elsewhere"'), encoding="utf-8")
    plant.lab.down(plant.devices[0].namespace, "eth0")
    plant.start("--patience", "1").end(60)
    path.write_text(text, encoding="utf-8")


def unreadable_plan(plant: Plant) -> None:
    """The plan is not TOML."""
    (plant.folder / "plan/plan.toml").write_text('format = 1\n[site\nname = "Bench"\n', encoding="utf-8")


def unknown_key(plant: Plant) -> None:
    """The plan has a table that no plan has."""
    path = plant.folder / "plan/plan.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n[sites]\nx = 1\n", encoding="utf-8")


def down(plant: Plant) -> None:
    """The interface is switched off."""
    plant.lab.down(plant.station, "eth0")


def planned_elsewhere(interface: str) -> Callable[[Plant], None]:
    """Return a step that gives the device's address to another interface of the station."""
    return lambda plant: plant.lab.address(plant.station, interface, "192.0.2.20/32")


def bridge_member(plant: Plant) -> None:
    """The interface is a port of a bridge of the station.

    The bridge is down, because the kernel would send frames from it.
    """
    plant.lab.run(plant.station, ["ip", "link", "add", "br7", "type", "bridge"])
    plant.lab.run(plant.station, ["ip", "link", "set", "eth0", "master", "br7"])


ON = ("plan", "-i", "eth0")
REFUSALS = (
    Refusal("interface absent", ("plan", "-i", "eth7", *HANDS_FREE), 3, ("'eth7'", "eth0", "eth9")),
    Refusal("interface down", (*ON, *HANDS_FREE), 3, ("eth0", "switched off", "ip link set dev eth0 up"), down),
    Refusal("loopback", ("plan", "-i", "lo", *HANDS_FREE), 3, ("lo", "loopback")),
    Refusal("no interface named", ("plan", *HANDS_FREE), 2, ("-i", "eth0", "eth9")),
    Refusal("no right", (*ON, *HANDS_FREE), 3, ("no right", "--link unprivileged"), wrapper=as_a_user),
    Refusal(
        "no right, portable",
        (*ON, *HANDS_FREE, "--link", "portable"),
        3,
        ("no right", "--link unprivileged"),
        wrapper=as_a_user,
    ),
    Refusal(
        "no right for echo either",
        (*ON, *HANDS_FREE, "--link", "unprivileged"),
        3,
        ("ping_group_range",),
        wrapper=as_a_user,
    ),
    Refusal("station has a planned address", (*ON, *HANDS_FREE), 3, ("192.0.2.20", "planned"), own_address_is_planned),
    Refusal("plan's station is planned", (*ON, *HANDS_FREE), 3, ("192.0.2.20", "planned"), station_is_planned),
    Refusal(
        "another interface has a planned address",
        (*ON, *HANDS_FREE),
        3,
        ("192.0.2.20", "eth9"),
        planned_elsewhere("eth9"),
    ),
    Refusal("loopback has a planned address", (*ON, *HANDS_FREE), 3, ("192.0.2.20",), planned_elsewhere("lo")),
    Refusal("member of a bridge", (*ON, *HANDS_FREE), 3, ("eth0", "br7"), bridge_member),
    Refusal("walk: member of a bridge", (*ON, *PERMIT), 3, ("eth0", "br7"), bridge_member, command="walk"),
    Refusal(
        "walk: another interface has a planned address",
        (*ON, *PERMIT),
        3,
        ("192.0.2.20", "eth9"),
        planned_elsewhere("eth9"),
        command="walk",
    ),
    Refusal("no permit", (*ON, "--hands-free"), 2, ("permit", "--permit TEXT")),
    Refusal("empty permit", (*ON, "--hands-free", "--permit", "  "), 2, ("permit", "--permit TEXT")),
    Refusal("unknown subject", (*ON, *HANDS_FREE, "--only", "omega/cpu"), 2, ("omega/cpu", "alpha/cpu")),
    Refusal("unknown port", (*ON, *HANDS_FREE, "--only", "alpha/cpu:7"), 2, ("alpha/cpu:7", "alpha/cpu:1")),
    Refusal("no plan", ("nowhere", "-i", "eth0", *HANDS_FREE), 2, ("nowhere",)),
    Refusal("unreadable plan", (*ON, *HANDS_FREE), 2, ("plan.toml",), unreadable_plan),
    Refusal("unknown key", (*ON, *HANDS_FREE), 2, ("plan.toml", "sites"), unknown_key),
    Refusal("record of another plan", (*ON, *HANDS_FREE), 2, ("Elsewhere", "Bench"), another_plans_record),
    Refusal("record is a folder", (*ON, *HANDS_FREE, "--record", "plan"), 2, ("plan", "record")),
    Refusal("bad patience", (*ON, *HANDS_FREE, "--patience", "nan"), 2, ("--patience",)),
    Refusal("bad pace", (*ON, *HANDS_FREE, "--pace", "0"), 2, ("--pace",)),
    Refusal("unknown link", (*ON, *HANDS_FREE, "--link", "wireless"), 2, ("--link",)),
    Refusal("unknown option", (*ON, *HANDS_FREE, "--force"), 2, ("--force",)),
    Refusal("walk: interface absent", ("plan", "-i", "eth7", *PERMIT), 3, ("'eth7'", "eth0", "eth9"), command="walk"),
    Refusal("walk: no permit", ON, 2, ("permit", "--permit TEXT"), command="walk"),
    Refusal("walk: bad duration", (*ON, *PERMIT, "--for", "0"), 2, ("--for",), command="walk"),
)


@pytest.fixture
def plant(lab: Lab) -> Iterator[Plant]:
    """A new plant for each refusal; its folder is open to a user without rights."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o777)
        yield bare_plant(lab, Path(folder))


def sent(plant: Plant) -> int:
    """Return the number of frames that the station has sent, as the kernel counts them."""
    shown = plant.lab.run(plant.station, ["cat", "/sys/class/net/eth0/statistics/tx_packets"])
    return int(shown.stdout)


@pytest.mark.parametrize("refusal", REFUSALS, ids=lambda refusal: refusal.name)
def test_refusals(refusal: Refusal, plant: Plant) -> None:
    """Exit code and message are as expected, there is no traceback, no frame is sent, and a record is unchanged."""
    refusal.before(plant)
    before, record = sent(plant), plant.folder / "run.jsonl"
    kept = record.read_bytes() if record.exists() else b""
    words = [*refusal.wrapper(), sys.executable, "-m", "netcheck", refusal.command, *refusal.words]
    record_words = [] if "--record" in words else ["--record", "run.jsonl"]
    done = subprocess.run(
        ["ip", "netns", "exec", plant.station, *words, *record_words],
        cwd=plant.folder,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == refusal.code, done.stderr
    complaint = " ".join(line for line in done.stderr.splitlines() if line.startswith("netcheck: "))
    assert all(word in complaint for word in refusal.says), done.stderr
    assert "Traceback" not in done.stderr
    assert sent(plant) == before
    after = record.read_bytes() if record.exists() else b""
    assert after == kept or (refusal.code == 3 and b'"proof"' not in after)
