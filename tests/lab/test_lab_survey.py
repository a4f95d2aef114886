"""Tests of `survey listen` and `survey sweep` on real kernels, also under load and after Ctrl-C.

Listening sends nothing.
"""

from __future__ import annotations

import csv
import json
import signal
import socket
import subprocess
from collections.abc import Callable
from ipaddress import IPv4Address, IPv4Network
from pathlib import Path

import pytest

from tests.lab.commands import NETCHECK, Process, begun, run
from tests.lab.listener import Listener
from tests.lab.netns import Lab
from tests.lab.responder import respond
from tests.programs import need

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]
STATION_MAC = "00-00-5E-00-53-01"


@pytest.fixture
def street(lab: Lab) -> tuple[str, str, str]:
    """Return a station and two devices on one switch; the second device has two addresses."""
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


def test_a_sweep_finds_every_address_of_the_namespaces(lab: Lab, street: tuple[str, str, str], tmp_path: Path) -> None:
    """A sweep finds every address with its MAC, and a plan can read the survey that it writes."""
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


def test_two_owners_of_an_address_give_exit_1(lab: Lab, street: tuple[str, str, str]) -> None:
    """The list has both owners; the test uses the portable link."""
    respond(lab, street[2], "eth0", {"address": "192.0.2.20", "mac": "00-00-5E-00-53-99"})
    asked = ("192.0.2.16/29", "--permit", "laboratory", "--pace", "100", "--link", "portable")
    ended = run(lab, street[0], "survey", "sweep", "-i", "eth0", *asked)
    assert ended.returncode == 1, ended.stderr
    assert "two owners: 192.0.2.20" in ended.stdout


def test_listening_hears_and_sends_nothing(lab: Lab, street: tuple[str, str, str], tmp_path: Path) -> None:
    """Hosts that send are heard, and tcpdump sees no frame from the station."""
    need("tcpdump")
    station, first, _ = street
    listener = Listener(lab, station, "eth0", tmp_path / "seen.pcap")
    process = lab.start(
        station, [*NETCHECK, "survey", "listen", "-i", "eth0", "--for", "2s", "--format", "json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    begun(process)
    lab.echo(first, "192.0.2.30", count=2, every=0.3)
    out, said = process.communicate(timeout=60)
    assert process.returncode == 0, said
    heard = {host["address"]: host["mac"] for host in json.loads(out)["hosts"]}
    assert heard["192.0.2.20"] == "00-00-5E-00-53-02"
    frames = listener.frames()
    assert any(frame.source == "00-00-5E-00-53-02" for frame in frames)
    assert [frame for frame in frames if frame.source == STATION_MAC] == []


def test_proxy_arp_and_a_flood_do_not_fill_the_survey(lab: Lab, street: tuple[str, str, str], tmp_path: Path) -> None:
    """Only devices are listed, although a router answers for every address and 20,000 broadcasts arrive a second.

    Addresses for which the router answers are neither listed nor covered.
    """
    router = {"address": "192.0.2.1", "mac": "00-00-5E-00-53-77", "proxy": True, "delay": 0.1}
    respond(lab, street[2], "eth0", router, flood={"a_second": 20_000, "kind": "arp"}, lifetime=60)
    out = tmp_path / "found.csv"
    ended = run(
        lab, street[0], "survey", "sweep", "-i", "eth0", "192.0.2.0/27", "--permit", "laboratory", "--pace", "400",
        "--rounds", "1", "--out", out, "--format", "json",
    )  # fmt: skip
    assert ended.returncode == 1, ended.stderr
    shape = json.loads(ended.stdout)
    assert [host["address"] for host in shape["hosts"]] == ["192.0.2.1", "192.0.2.20", "192.0.2.30"]
    assert shape["proxy_arp"] == [{"mac": "00-00-5E-00-53-77", "vendor": None, "addresses": 29}]
    assert len(out.read_text("utf-8").splitlines()) == 4
    assert not any(prefix == "192.0.2.0/27" for prefix in shape["survey"]["covers"])


def wait_until_asked(lab: Lab, space: str, address: str, start: Callable[[], Process]) -> Process:
    """Start a command and return it when an ARP frame for this address has reached a namespace."""
    with lab.inside(space), socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806)) as packets:
        packets.bind(("eth0", 0x0806))
        packets.settimeout(30)
        started = start()
        while packets.recv(60)[38:42] != socket.inet_aton(address):  # the target's address, RFC 826
            pass
    return started


def interrupted(process: Process) -> str:
    """Send Ctrl-C and return the rest of the output."""
    process.send_signal(signal.SIGINT)
    out, said = process.communicate(timeout=30)
    assert process.returncode == 130, said
    assert b"Traceback" not in said
    return out.decode()


def test_hosts_found_before_ctrl_c_are_written(lab: Lab, street: tuple[str, str, str], tmp_path: Path) -> None:
    """After Ctrl-C the files of a listener and of a sweep are complete.

    The sweep covers only the addresses for which it sent requests.
    """
    station, first, _ = street
    heard, swept = tmp_path / "heard.csv", tmp_path / "swept.csv"
    survey, pipe = [*NETCHECK, "survey"], subprocess.PIPE
    listener = lab.start(first, [*survey, "listen", "-i", "eth0", "--out", str(heard)], stdout=pipe, stderr=pipe)
    begun(listener)
    words = [*survey, "sweep", "-i", "eth0", "192.0.2.0/24", "--permit", "laboratory", "--pace", "40"]
    asking = [*words, "--out", str(swept), "--format", "json"]
    sweep = wait_until_asked(lab, first, "192.0.2.60", lambda: lab.start(station, asking, stdout=pipe, stderr=pipe))
    shape = json.loads(interrupted(sweep))
    assert "192.0.2.250  00-00-5E-00-53-01" in interrupted(listener)
    assert addresses_in(swept) == ["192.0.2.20", "192.0.2.30", "192.0.2.31"]
    assert addresses_in(heard) == ["192.0.2.250"]
    assert (shape["complete"], shape["notes"][0]) == (False, "it ended early: interrupted")
    covered = list(map(IPv4Network, shape["survey"]["covers"]))
    assert covered[0].network_address == IPv4Address("192.0.2.0")
    assert IPv4Address("192.0.2.10") < covered[-1].broadcast_address < IPv4Address("192.0.2.60")


def addresses_in(path: Path) -> list[str]:
    """Return the addresses that a survey lists."""
    with path.open(newline="", encoding="utf-8") as stream:
        return [row["address"] for row in csv.DictReader(stream)]
