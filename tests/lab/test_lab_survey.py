"""`survey listen`, `survey sweep` and `identify` on real kernels: what they find, and that listening sends nothing."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.lab.listener import Listener, tcpdump_there
from tests.lab.netns import Lab
from tests.lab.responder import respond

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]
NETCHECK = [sys.executable, "-m", "netcheck"]
STATION_MAC = "00-00-5E-00-53-01"


@pytest.fixture
def street(lab: Lab) -> tuple[str, str, str]:
    """A station and two devices on one switch, the second with two addresses; (station, first, second)."""
    switch = lab.namespace("switch")
    spaces = []
    for number, name in enumerate(("station", "first", "second"), 1):
        space = lab.namespace(name)
        lab.veth(
            (space, "eth0"), (switch, f"p{number}"), macs=(f"00-00-5E-00-53-{number:02}", f"00-00-5E-00-53-F{number}")
        )
        spaces.append(space)
    lab.bridge(switch, "br0", ["p1", "p2", "p3"])
    station, first, second = spaces
    lab.address(station, "eth0", "192.0.2.250/24")
    lab.address(first, "eth0", "192.0.2.20/24")
    lab.address(second, "eth0", "192.0.2.30/24", "192.0.2.31/24")
    return station, first, second


def run(lab: Lab, space: str, *words: str | Path) -> subprocess.CompletedProcess[str]:
    """netcheck in a namespace."""
    return lab.run(space, [*NETCHECK, *map(str, words)], timeout=120)


def begun(process: subprocess.Popen[bytes]) -> None:
    """Wait until netcheck says that it listens."""
    assert process.stderr is not None
    assert process.stderr.readline().startswith(b"listening on eth0")


def test_a_sweep_finds_what_the_namespaces_hold(lab: Lab, street: tuple[str, str, str], tmp_path: Path) -> None:
    """Every address with its MAC, and a survey that a plan reads back."""
    out = tmp_path / "found.csv"
    ended = run(
        lab, street[0], "survey", "sweep", "-i", "eth0", "192.0.2.0/26", "--permit", "laboratory", "--pace", "400",
        "--out", out, "--format", "json",
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    shape = json.loads(ended.stdout)
    expected = {
        "192.0.2.20": "00-00-5E-00-53-02", "192.0.2.30": "00-00-5E-00-53-03", "192.0.2.31": "00-00-5E-00-53-03",
    }  # fmt: skip
    assert {host["address"]: host["mac"] for host in shape["hosts"]} == expected
    assert shape["survey"]["covers"] == ["192.0.2.0/26"]
    with out.open(newline="", encoding="utf-8") as stream:
        assert {row["address"]: row["mac"] for row in csv.DictReader(stream)} == expected
    read = run(lab, street[0], "survey", "read", out)
    assert read.returncode == 0, read.stderr
    assert "3" in read.stdout


def test_two_owners_are_something_to_mend(lab: Lab, street: tuple[str, str, str]) -> None:
    """A twin that answers for another's address: both are listed, exit 1."""
    respond(lab, street[2], "eth0", {"address": "192.0.2.20", "mac": "00-00-5E-00-53-99"})
    ended = run(lab, street[0], "survey", "sweep", "-i", "eth0", "192.0.2.16/29", "--permit", "laboratory")
    assert ended.returncode == 1, ended.stderr
    assert "two owners: 192.0.2.20" in ended.stdout


def test_listening_hears_and_sends_nothing(lab: Lab, street: tuple[str, str, str], tmp_path: Path) -> None:
    """Those who speak are heard; tcpdump at the station's cable sees no frame of the station's."""
    if not tcpdump_there():
        pytest.skip("tcpdump is not there")
    station, first, _ = street
    listener = Listener(lab, station, "eth0", tmp_path / "seen.pcap")
    process = lab.start(
        station, [*NETCHECK, "survey", "listen", "-i", "eth0", "--for", "5s", "--format", "json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    begun(process)
    lab.run(first, ["ping", "-c", "2", "-i", "0.3", "192.0.2.30"])
    out, said = process.communicate(timeout=60)
    assert process.returncode == 0, said
    heard = {host["address"]: host["mac"] for host in json.loads(out)["hosts"]}
    assert heard["192.0.2.20"] == "00-00-5E-00-53-02"
    frames = listener.frames()
    assert any(frame.source == "00-00-5E-00-53-02" for frame in frames)
    assert [frame for frame in frames if frame.source == STATION_MAC] == []


def test_a_used_device_is_heard_or_asked_for(lab: Lab) -> None:
    """On a direct cable: known by its announcement when its link comes up, and else by asking, if told to."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(device, "eth0", "192.168.0.47/24")
    lab.down(device, "eth0")
    lab.sysctl(device, {"net.ipv4.conf.eth0.arp_notify": 1})
    process = lab.start(
        station, [*NETCHECK, "identify", "-i", "eth0", "--for", "40s"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    begun(process)
    lab.up(device, "eth0")
    out, said = process.communicate(timeout=60)
    assert process.returncode == 0, said
    assert b"192.168.0.47" in out
    assert b"ARP announcement" in out
    assert b"set 192.168.0.254, mask 255.255.255.0 (/24), on eth0" in out
    silent = run(lab, station, "identify", "-i", "eth0", "--for", "1s")
    assert silent.returncode == 1
    assert "--ask" in silent.stdout
    asked = run(lab, station, "identify", "-i", "eth0", "--for", "1s", "--ask", "--pace", "100", "--format", "json")
    assert asked.returncode == 0, asked.stderr
    (host,) = json.loads(asked.stdout)["hosts"]
    assert (host["address"], host["mac"]) == ("192.168.0.47", "00-00-5E-00-53-14")
    assert host["set"] == {"address": "192.168.0.254", "prefix_length": 24, "already": False, "guessed": True}
