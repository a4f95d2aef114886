"""Tests of each readiness check with a table of facts, and of the command on a real kernel."""

from __future__ import annotations

import ipaddress
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from netcheck.errors import Problem
from netcheck.field.readiness import judge
from netcheck.field.readiness_facts import (
    Facts,
    Level,
    ReadinessCheck,
    RecordFact,
    RecordState,
    SystemTime,
    synchronised,
)
from netcheck.plan.read import read_plan
from netcheck.proof.probing.scheduler import Pace
from netcheck.proof.result import Proof, Verdict
from netcheck.proof.targets import Net, Scope, Target, scope_of
from netcheck.record.model import Run
from netcheck.record.write import Recorder
from netcheck.report.text.readiness import to_text
from netcheck.wire.link import NetworkInterface
from netcheck.wire.linux.netlink import MAIN, KernelRoute
from tests.lab.netns import Lab
from tests.plans import BENCH, device


def ip(text: str) -> int:
    """Return an address as a number, by the standard library."""
    return int(ipaddress.IPv4Address(text))


def interface(name: str, index: int, *addresses: str, **changes: Any) -> NetworkInterface:
    """Return an Ethernet interface with a cable and these addresses."""
    held = tuple((int(one.ip), one.network.prefixlen) for one in map(ipaddress.IPv4Interface, addresses))
    fine = NetworkInterface(
        index=index,
        name=name,
        mac=0x00005E005300 + index,
        up=True,
        carrier=True,
        ethernet=True,
        loopback=False,
        addresses=held,
    )
    return replace(fine, **changes)


def route(to: str, index: int, metric: int = 0, table: int = MAIN) -> KernelRoute:
    """Return a route for a prefix."""
    prefix = ipaddress.IPv4Network(to)
    return KernelRoute(int(prefix.network_address), prefix.prefixlen, index, 0, metric, table)


LO = interface("lo", 1, "127.0.0.1/8", ethernet=False, loopback=True)
ETH0 = interface("eth0", 2, "192.0.2.1/24")
TUN = interface("tun0", 7, "10.8.0.2/24", ethernet=False)
TARGETS = tuple(
    Target(
        interface=f"plc-{last}/cpu",
        port="1",
        device=f"plc-{last}",
        address=ip(f"192.0.2.{last}"),
        address_text=f"192.0.2.{last}",
        subnet="line",
        mac=last,
    )
    for last in (20, 21)
)
LINE = Net("line", ip("192.0.2.0"), 24, station=ip("192.0.2.240"))
AIM = Scope(targets=TARGETS, asked=TARGETS, nets=(LINE,), stations=frozenset({ip("192.0.2.240")}))
ROUTES = (route("192.0.2.0/24", 2), route("0.0.0.0/0", 2))
FINE = Facts(
    interface="eth0",
    kind="raw",
    interfaces=(LO, ETH0),
    aim=AIM,
    clock=SystemTime(datetime(2026, 11, 2, 9, 14, tzinfo=UTC), True),
    record=RecordFact("run.jsonl", RecordState.NEW),
    routes=ROUTES,
    surveyed=(date(2026, 10, 28),),
)


def told(facts: Facts, *levels: Level) -> list[ReadinessCheck]:
    """Return the lines of these levels; by default those that are not `ok`, without the note about suspend, which is
    always present.
    """
    wanted = levels or (Level.FIX, Level.NOTE)
    return [line for line in judge(facts) if line.level in wanted and line.about != "suspend"]


def test_all_is_well() -> None:
    """Fourteen subjects are checked, each is `ok`, and the summary says so."""
    lines = judge(FINE)
    assert [line.about for line in lines] == [
        *("interface", "right", "address", "own address", "other interface"),
        *("route", "VPN", "wireless", "pace", "MAC", "ring", "suspend", "clock", "record"),
    ]
    assert told(FINE) == []
    assert to_text(lines).endswith("\nready")


NO_OWN = interface("eth0", 2)
NO_STATION = replace(AIM, nets=(replace(LINE, station=None),), stations=frozenset())


@pytest.mark.parametrize(
    ("changes", "level", "about", "what", "do"),
    [
        pytest.param({"interface": "eth9"}, "fix", "interface", "there is no interface 'eth9'", "eth0", id="absent"),
        pytest.param({"interface": "lo"}, "fix", "interface", "lo is not Ethernet", "cable", id="loopback"),
        pytest.param(
            {"interfaces": (LO, replace(ETH0, up=False, carrier=False)), "refusal": Problem("off")},
            *("fix", "interface", "eth0 is switched off", "ip link set dev eth0 up"),
            id="off",
        ),
        pytest.param(
            {"interfaces": (LO, replace(ETH0, carrier=False))},
            *("fix", "interface", "eth0 has no carrier", "Plug its cable in"),
            id="no carrier",
        ),
        pytest.param(
            {"interfaces": (LO, replace(ETH0, master=8, member_of="bridge"), interface("br0", 8))},
            *("fix", "interface", "eth0 belongs to the bridge br0", "-i br0"),
            id="member of a bridge",
        ),
        pytest.param(
            {"aim": replace(AIM, asked=(TARGETS[0], replace(TARGETS[1], mac=None)))},
            *("note", "MAC", "1 of 2 ports have no planned MAC", "announced order"),
            id="a port without a MAC",
        ),
        pytest.param(
            {"aim": replace(AIM, asked=(TARGETS[0], replace(TARGETS[1], ports=2)))},
            *("note", "ring", "1 interfaces have two or more ports", "--out-for 60, which costs 52.5 s a port"),
            id="a port that may be in a ring",
        ),
        pytest.param(
            {"wireless": frozenset({"eth0"})}, "fix", "interface", "eth0 is wireless", "wired", id="proving by radio"
        ),
        pytest.param(
            {"refusal": Problem("no right to send and receive frames", do="Run it as root")},
            *("fix", "right", "no right", "root"),
            id="no right",
        ),
        pytest.param(
            {"interfaces": (LO, NO_OWN), "aim": NO_STATION},
            *("fix", "address", "no address in subnet line (192.0.2.0/24), and the plan no station", "[[station]]"),
            id="no address, no station",
        ),
        pytest.param(
            {"interfaces": (LO, NO_OWN), "kind": "unprivileged"},
            *("fix", "address", "cannot borrow one", "--link raw"),
            id="cannot borrow",
        ),
        pytest.param(
            {"interfaces": (LO, interface("eth0", 2, "192.0.2.1/16"))},
            *(
                "note",
                "address",
                "192.0.2.1/16 of this computer is in subnet line (192.0.2.0/24), with another mask",
                "",
            ),
            id="another mask",
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, interface("eth1", 3, "192.0.2.20/32"))},
            *("fix", "own address", "192.0.2.20 on eth1 is planned for plc-20/cpu", "Take it off"),
            id="own address is planned",
        ),
        pytest.param(
            {"aim": replace(AIM, stations=frozenset({ip("192.0.2.21")}))},
            *("fix", "own address", "station address 192.0.2.21 is planned for plc-21/cpu", "in the plan"),
            id="station address is planned",
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, interface("eth1", 3, "192.0.3.9/22"))},
            *("fix", "other interface", "eth1 has 192.0.3.9/22, which overlaps line (192.0.2.0/24)", "Unplug eth1"),
            id="overlapping subnet",
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, interface("eth1", 3)), "routes": (*ROUTES, route("192.0.2.16/28", 3))},
            *("fix", "route", "the route 192.0.2.16/28 sends line (192.0.2.0/24) through eth1", "Remove it"),
            id="route elsewhere",
        ),
        pytest.param(
            {"interfaces": (LO, NO_OWN, interface("eth1", 3)), "routes": (route("0.0.0.0/0", 3),)},
            *("note", "route", "the route 0.0.0.0/0 sends line (192.0.2.0/24) through eth1", "ping by hand"),
            id="default route elsewhere, address borrowed",
        ),
        pytest.param({"routes": None}, "note", "route", "routes are not read", "VPN", id="routes not known"),
        pytest.param(
            {"interfaces": (LO, ETH0, TUN), "routes": (*ROUTES, route("0.0.0.0/1", 7), route("128.0.0.0/1", 7))},
            *("fix", "VPN", "the tunnel tun0 has a route for 0.0.0.0/1 and 128.0.0.0/1", "Disconnect"),
            id="VPN by halves",
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, TUN), "routes": (*ROUTES, route("0.0.0.0/0", 7, table=51820))},
            *("fix", "VPN", "the tunnel tun0 has a route for 0.0.0.0/0", "Disconnect"),
            id="VPN by a table of its own",
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, TUN), "routes": (*ROUTES, route("192.0.0.0/16", 7))},
            *("fix", "VPN", "the tunnel tun0 has a route for 192.0.0.0/16", "Disconnect"),
            id="VPN for the plant",
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, TUN), "routes": (*ROUTES, route("10.8.0.0/24", 7))},
            *("note", "VPN", "tun0 is up, with no route for a planned address", "Disconnect"),
            id="VPN for something else",
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, interface("wlan0", 4)), "wireless": frozenset({"wlan0"})},
            *("note", "wireless", "wlan0 is wireless and switched on", "Switch it off"),
            id="wireless on",
        ),
        pytest.param(
            {"clock": SystemTime(datetime(2025, 11, 2, tzinfo=UTC), True)},
            *(
                "fix",
                "clock",
                "2025-11-02 00:00 UTC, and a survey of the plan was taken on 2026-10-28",
                "Set the clock",
            ),
            id="clock a year behind",
        ),
        pytest.param(
            {"clock": SystemTime(FINE.clock.now, False)},
            "note",
            "clock",
            "no time server",
            "watch",
            id="clock runs free",
        ),
        pytest.param(
            {"clock": SystemTime(FINE.clock.now, None)},
            "note",
            "clock",
            "2026-11-02 09:14",
            "watch",
            id="clock not known",
        ),
        pytest.param(
            {"record": RecordFact("r.jsonl", RecordState.OTHER_PLAN, "'Mill', not 'Bench'", "Give another --record")},
            *("fix", "record", "r.jsonl belongs to another plan: 'Mill', not 'Bench'", "--record"),
            id="record of another plan",
        ),
        pytest.param(
            {"record": RecordFact("r.jsonl", RecordState.TORN, "the last line is torn")},
            *("note", "record", "torn", ""),
            id="record torn",
        ),
        pytest.param(
            {"record": RecordFact("r.jsonl", RecordState.UNUSABLE, "the disk is full")},
            *("fix", "record", "r.jsonl cannot be written: the disk is full", ""),
            id="record cannot be written",
        ),
    ],
)
def test_one_fault_is_found(changes: dict[str, Any], level: str, about: str, what: str, do: str) -> None:
    """The check of the fault is not `ok`, and says what is wrong and what to do."""
    lines = told(replace(FINE, **changes))
    wrong = [line for line in lines if line.about == about]
    assert [(str(line.level), line.about) for line in wrong] == [(level, about)]
    assert what in wrong[0].what
    assert do in wrong[0].do


@pytest.mark.parametrize(
    ("changes", "about", "what"),
    [
        pytest.param({"interfaces": (LO, NO_OWN)}, "address", "192.0.2.240 will be borrowed", id="borrowed"),
        pytest.param(
            {"routes": (*ROUTES, route("192.0.2.0/24", 3, metric=600))}, "route", "none sends", id="worse metric"
        ),
        pytest.param(
            {"interfaces": (LO, ETH0, interface("eth1", 3, "192.0.2.9/24", up=False))},
            *("other interface", "none overlaps"),
            id="the overlapping one is off",
        ),
        pytest.param(
            {"record": RecordFact("r.jsonl", RecordState.GOES_ON, "3 proofs in it")},
            *("record", "r.jsonl is there and will be taken up: 3 proofs in it"),
            id="record goes on",
        ),
    ],
)
def test_facts_without_a_fault(changes: dict[str, Any], about: str, what: str) -> None:
    """These facts need no action."""
    facts = replace(FINE, **changes)
    assert told(facts) == []
    assert any(line.about == about and what in line.what for line in judge(facts))


def test_only_subnets_of_the_ports_to_prove_are_checked() -> None:
    """A subnet without a station is no fault if the run proves none of its ports."""
    far = Target(
        interface="far/cpu",
        port="1",
        device="far",
        address=ip("198.51.100.9"),
        address_text="198.51.100.9",
        subnet="far",
        mac=9,
    )
    nets = (LINE, Net("far", ip("198.51.100.0"), 24))
    assert told(replace(FINE, aim=replace(AIM, targets=(*TARGETS, far), nets=nets))) == []
    everything = told(replace(FINE, aim=replace(AIM, targets=(*TARGETS, far), asked=(*TARGETS, far), nets=nets)))
    assert [line.about for line in everything] == ["address"]


def test_lines_that_are_always_present() -> None:
    """The pace compared with ARP inspection and the effect of a suspend are always listed, and never as `fix`."""
    lines = {line.about: line for line in judge(FINE)}
    assert f"at most {Pace().broadcast:g} broadcasts a second" in lines["pace"].what
    assert "15 ARP packets a second" in lines["pace"].what
    assert (lines["suspend"].level, "Disable suspend" in lines["suspend"].do) == (Level.NOTE, True)


def test_hostile_names_are_harmless() -> None:
    """Interface and plan names come from outside and are made safe."""
    evil = "e\x1b[31m\u202e"
    facts = replace(FINE, interface=evil, aim=replace(NO_STATION, nets=(replace(NO_STATION.nets[0], name="line"),)))
    text = to_text(judge(facts))
    assert "\x1b" not in text
    assert "\u202e" not in text


def test_the_demo_plan_is_ready() -> None:
    """In the corrected demo plan every subnet has a station address to borrow."""
    facts = replace(FINE, aim=scope_of(read_plan(Path("plans/tarn-hollow-mended"))), routes=())
    assert {line.about for line in told(facts, Level.FIX)} == set()


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel is asked by adjtimex(2), which is Linux's")
def test_the_clock_is_read_without_setting_it() -> None:
    """The system's own tool, if it can tell, gives the same answer."""
    tool = shutil.which("timedatectl")
    assert synchronised() in (True, False)
    if tool is not None:
        words = [tool, "show", "-p", "NTPSynchronized", "--value"]
        shown = subprocess.run(words, capture_output=True, text=True, check=False)
        assert shown.returncode or synchronised() is (shown.stdout.strip() == "yes")


# The command on a real kernel

PLAN = BENCH.replace('gateway = "192.0.2.254"\n', "") + device("alpha", "cpu", subnet="line", address="192.0.2.20")


def asked(lab: Lab, station: str, folder: Path, *words: str, user: str = "") -> tuple[int, dict[str, Any], str]:
    """Run `netcheck ready` inside the station; return exit code, JSON and standard error."""
    (folder / "plan").mkdir(exist_ok=True)
    (folder / "plan" / "plan.toml").write_text(PLAN, encoding="utf-8")
    drop = ["setpriv", "--bounding-set", "-all", "--inh-caps", "-all"] if user else []
    program = [sys.executable, "-m", "netcheck", "ready", str(folder / "plan"), "--format", "json"]
    whole = [*drop, "env", "-C", str(folder), f"PYTHONPATH={Path.cwd()}", *program, *words]
    done = lab.run(station, whole)
    return done.returncode, json.loads(done.stdout) if done.stdout.strip() else {}, done.stderr


def levels(said: dict[str, Any], level: str = "fix") -> dict[str, str]:
    """Return the texts of the checks of a level, by subject."""
    return {line["about"]: line["what"] for line in said["lines"] if line["level"] == level}


@pytest.fixture
def laptop(field_lab: Lab) -> tuple[Lab, str]:
    """A station with a cable, and a second interface that is off."""
    station, far = field_lab.namespace("laptop"), field_lab.namespace("far")
    field_lab.veth((station, "eth0"), (far, "eth0"))
    field_lab.veth((station, "eth1"), (far, "eth1"), up=False)
    field_lab.address(station, "eth1", "192.0.2.9/25")
    return field_lab, station


@pytest.mark.lab
def test_ready_and_then_not(laptop: tuple[Lab, str], tmp_path: Path) -> None:
    """At first everything is ready.

    Then a VPN, an overlapping interface and a planned address appear, and the cable is pulled.
    """
    lab, station = laptop
    code, said, _ = asked(lab, station, tmp_path, "-i", "eth0")
    assert (code, levels(said), said["ready"]) == (0, {}, True)
    assert "192.0.2.240 will be borrowed" in levels(said, "ok")["address"]
    assert list(tmp_path.glob("*")) == [tmp_path / "plan"]
    for words in (
        ["ip", "link", "set", "eth1", "up"],
        ["ip", "tuntap", "add", "tun0", "mode", "tun"],
        ["ip", "link", "set", "tun0", "up"],
        ["ip", "addr", "add", "192.0.2.20/32", "dev", "tun0"],
        ["ip", "route", "add", "0.0.0.0/1", "dev", "tun0"],
        ["ip", "link", "set", "eth0", "down"],
    ):
        assert lab.run(station, words).returncode == 0
    code, said, _ = asked(lab, station, tmp_path, "-i", "eth0")
    assert code == 1
    assert set(levels(said)) == {"interface", "own address", "other interface", "VPN"}
    assert levels(said)["VPN"] == "the tunnel tun0 has a route for 0.0.0.0/1"


@pytest.mark.lab
def test_it_sends_nothing(laptop: tuple[Lab, str], tmp_path: Path) -> None:
    """The kernel's count of sent frames does not change."""
    lab, station = laptop
    sent = ["cat", "/sys/class/net/eth0/statistics/tx_packets"]
    before = lab.run(station, sent).stdout
    assert asked(lab, station, tmp_path, "-i", "eth0")[0] == 0
    assert lab.run(station, sent).stdout == before


@pytest.mark.lab
def test_a_missing_right_has_its_remedy(laptop: tuple[Lab, str], tmp_path: Path) -> None:
    """Without CAP_NET_RAW the check says how to get it."""
    lab, station = laptop
    code, said, _ = asked(lab, station, tmp_path, "-i", "eth0", user="none")
    assert code == 1
    assert levels(said) == {"right": "no right to send and receive frames"}
    assert "setcap cap_net_raw" in next(line["do"] for line in said["lines"] if line["about"] == "right")


@pytest.mark.lab
def test_bad_use(laptop: tuple[Lab, str], tmp_path: Path) -> None:
    """A missing interface, an unknown subject and a missing plan give exit code 2 and what to do."""
    lab, station = laptop
    code, _, error = asked(lab, station, tmp_path)
    assert (code, "-i" in error, "eth0 (cable)" in error) == (2, True, True)
    code, _, error = asked(lab, station, tmp_path, "-i", "eth0", "--only", "beta/cpu")
    assert (code, "alpha/cpu" in error) == (2, True)


@pytest.mark.lab
@pytest.mark.parametrize(
    ("kind", "level", "what"),
    [
        pytest.param("same", "ok", "will be taken up: 1 proof in it", id="same plan"),
        pytest.param("torn", "note", "is torn", id="torn"),
        pytest.param("other", "fix", "belongs to another plan: 'Mill', not 'Bench'", id="another plan"),
        pytest.param("broken", "fix", "its chain is broken", id="broken"),
        pytest.param("prose", "fix", "this is not a record", id="no record at all"),
        pytest.param("empty", "ok", "can be written", id="empty"),
        pytest.param("folder", "fix", "it is a folder", id="a folder"),
        pytest.param("nowhere", "fix", "its folder does not exist", id="no such folder"),
    ],
)
def test_the_record(laptop: tuple[Lab, str], tmp_path: Path, kind: str, level: str, what: str) -> None:
    """The check says what exists at the record's path, which is left unchanged."""
    path = made_record(tmp_path, kind)
    before = path.read_bytes() if path.is_file() else b""
    _, said, _ = asked(*laptop, tmp_path, "-i", "eth0", "--record", str(path))
    assert what in levels(said, level)["record"]
    assert (path.read_bytes() if path.is_file() else b"") == before


def made_record(folder: Path, kind: str) -> Path:
    """Return a record of this kind."""
    path = folder / "run.jsonl"
    if kind == "folder":
        path.mkdir()
    elif kind == "nowhere":
        return folder / "absent" / "run.jsonl"
    elif kind in ("prose", "empty"):
        path.write_text("Dear diary\n" if kind == "prose" else "", encoding="utf-8")
    else:
        run = Run(plan="Mill" if kind == "other" else "Bench", revision="", sha256="11" * 32, version="0.1.0")
        with Recorder.open(path, run, {}, lambda: datetime(2026, 11, 2, tzinfo=UTC)) as recorder:
            recorder.proof(
                Proof(interface="alpha/cpu", port="1", address="192.0.2.20", verdict=Verdict.PROVEN, why="made")
            )
    if kind == "torn":
        os.truncate(path, path.stat().st_size - 9)
    if kind == "broken":
        path.write_bytes(path.read_bytes().replace(b"made", b"mode"))
    return path
