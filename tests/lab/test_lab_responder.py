"""Tests of the responder: each fault appears in the replies, in the ARP table and on the raw link."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from typing import Any

import pytest

from netcheck.wire.frames import ECHO_REQUEST, Echo, arp_from_wire, arp_request, echo_from_wire, echo_to_wire
from netcheck.wire.link import Heard
from netcheck.wire.links.raw import RawLink, open_raw
from tests.lab.netns import Lab
from tests.lab.responder import respond

pytestmark = pytest.mark.lab

STATION, STATION_IP = 0x00005E005301, 0xC0000201
MAC, IP = 0x00005E005314, 0xC0000214
HOST = {"address": "192.0.2.20", "mac": "00-00-5E-00-53-14"}


@pytest.fixture
def ends(lab: Lab) -> Iterator[tuple[Lab, str, str, RawLink]]:
    """Return a station with an open link and the namespace of the devices."""
    station, far = lab.namespace("station"), lab.namespace("far")
    lab.veth((station, "eth0"), (far, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-FE"))
    lab.address(station, "eth0", "192.0.2.1/24")
    with lab.inside(station):
        link = open_raw("eth0")
    with link:
        yield lab, station, far, link


def heard(link: RawLink, seconds: float = 0.2) -> list[bytes]:
    """Return the frames that arrive in this time."""
    until, found = link.now() + seconds, []
    while link.now() < until:
        found += [news.frame for news in link.receive(until) if isinstance(news, Heard)]
    return found


def asked(link: RawLink, target: int = IP, sender: int = STATION_IP) -> list[int]:
    """Return the MACs that answer one ARP request, in order."""
    link.send(arp_request(STATION, sender, target))
    return [arp.sender_mac for arp in map(arp_from_wire, heard(link)) if arp and arp.sender_ip == target]


def pinged(link: RawLink) -> list[Echo]:
    """Return the replies to one echo request."""
    link.send(echo_to_wire(Echo(MAC, STATION, STATION_IP, IP, 64, ECHO_REQUEST, 0x1234, 1, b"0123456789abcdef")))
    return [echo for echo in map(echo_from_wire, heard(link)) if echo]


def test_a_sound_host_is_sound(ends: tuple[Lab, str, str, RawLink]) -> None:
    """Every echo request is answered, and the kernel learns the MAC."""
    lab, station, far, _ = ends
    respond(lab, far, "eth0", HOST)
    assert lab.echo(station, "192.0.2.20", count=5, every=0.02) == 5
    assert "00:00:5e:00:53:14" in lab.run(station, ["ip", "neigh"]).stdout


@pytest.mark.parametrize(
    ("fault", "macs", "echoes"),
    [
        pytest.param({}, [MAC], [(MAC, IP, 0x1234, b"0123456789abcdef", 64)], id="sound"),
        pytest.param({"echo": "blocked"}, [MAC], [], id="echo blocked"),
        pytest.param({"arp": False}, [], [(MAC, IP, 0x1234, b"0123456789abcdef", 64)], id="silent to ARP"),
        pytest.param(
            {"echo": "wrong-identifier"}, [MAC], [(MAC, IP, 0x1235, b"0123456789abcdef", 64)], id="identifier"
        ),
        pytest.param({"echo": "wrong-payload"}, [MAC], [(MAC, IP, 0x1234, bytes(16), 64)], id="payload"),
        pytest.param({"echo": "wrong-source"}, [MAC], [(MAC, IP ^ 1, 0x1234, b"0123456789abcdef", 64)], id="source"),
        pytest.param({"echo": "wrong-mac"}, [MAC], [(MAC ^ 1, IP, 0x1234, b"0123456789abcdef", 64)], id="MAC"),
        pytest.param({"ttl": 63}, [MAC], [(MAC, IP, 0x1234, b"0123456789abcdef", 63)], id="behind a router"),
        pytest.param({"loss": 1.0}, [], [], id="all lost"),
        pytest.param({"ends": 0.0}, [], [], id="gone already"),
        pytest.param({"begins": 60.0}, [], [], id="not there yet"),
    ],
)
def test_faults(
    ends: tuple[Lab, str, str, RawLink], fault: dict[str, Any], macs: list[int], echoes: list[tuple[object, ...]]
) -> None:
    """Each fault changes the reply that it concerns, and no other reply."""
    lab, _, far, link = ends
    respond(lab, far, "eth0", HOST | fault)
    assert asked(link) == macs
    seen = [(echo.source, echo.source_ip, echo.identifier, echo.payload, echo.ttl) for echo in pinged(link)]
    assert seen == echoes


def test_loss_delay_and_many(ends: tuple[Lab, str, str, RawLink]) -> None:
    """Of 40 hosts that lose half of the requests some answer and some do not; no host answers before its delay."""
    lab, _, far, link = ends
    respond(lab, far, "eth0", HOST | {"count": 40, "loss": 0.5, "delay": 0.05})
    times = [link.send(arp_request(STATION, STATION_IP, IP + number)) for number in range(40)]
    sent = [at for at in times if at is not None]
    assert len(sent) == 40
    answers = [news for news in link.receive(sent[0] + 1) if isinstance(news, Heard)]
    until = sent[0] + 0.5
    while link.now() < until:
        answers += [news for news in link.receive(until) if isinstance(news, Heard)]
    assert 5 < len(answers) < 35
    assert min(news.at for news in answers) >= sent[0] + 0.05


def test_a_proxy_and_a_twin(ends: tuple[Lab, str, str, RawLink]) -> None:
    """A proxy answers for every address but not a probe from 0.0.0.0; two owners of one address both answer."""
    lab, _, far, link = ends
    proxy = {"address": "192.0.2.254", "mac": "00-00-5E-00-53-FD", "proxy": True}
    respond(lab, far, "eth0", HOST, {**HOST, "mac": "00-00-5E-00-53-15", "delay": 0.01}, proxy)
    assert asked(link, 0xC0000263) == [0x00005E0053FD]
    assert asked(link, 0xC0000263, sender=0) == []
    assert asked(link) == [MAC, 0x00005E0053FD, MAC + 1]


def test_a_host_checks_its_address_at_link_up(ends: tuple[Lab, str, str, RawLink]) -> None:
    """The host sends three probes and two announcements (RFC 5227), and gives its address up if a probe contests it."""
    lab, station, far, link = ends
    respond(lab, far, "eth0", HOST | {"self_check": 0.05})
    arps = [arp for arp in map(arp_from_wire, heard(link, 0.6)) if arp]
    assert [(arp.sender_ip, arp.target_ip) for arp in arps] == [(0, IP)] * 3 + [(IP, IP)] * 2
    assert asked(link) == [MAC]
    lab.down(station, "eth0")
    time.sleep(0.1)
    lab.up(station, "eth0")
    time.sleep(0.05)
    link.send(arp_request(STATION, 0, IP))
    heard(link, 0.6)
    assert asked(link) == []


@pytest.mark.parametrize("kind", ["arp", "udp"])
def test_a_flood_has_its_rate(ends: tuple[Lab, str, str, RawLink], kind: str) -> None:
    """A flood sends about 5,000 broadcasts a second."""
    lab, station, far, _ = ends
    with lab.inside(station):
        tap = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(3))
    with tap:
        tap.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 << 20)
        tap.settimeout(0.5)
        respond(lab, far, "eth0", flood={"a_second": 5000, "kind": kind}, lifetime=1.0)
        frames = []
        until = time.monotonic() + 0.9
        while time.monotonic() < until:
            frames.append(tap.recv(100))
    assert 1500 < len(frames) < 6000
    assert {frame[12:14] for frame in frames} == {b"\x08\x06" if kind == "arp" else b"\x08\x00"}


def test_it_ends_by_itself(ends: tuple[Lab, str, str, RawLink]) -> None:
    """The process ends without error after its lifetime."""
    lab, _, far, _ = ends
    assert respond(lab, far, "eth0", HOST, lifetime=0.2).wait(5) == 0
