"""The portable link against the raw one on the same cable: scapy's Linux socket, and libpcap as on other systems."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator

import pytest

from netcheck.wire.frames import ECHO_REQUEST, Echo, arp_request, echo_to_wire, padded
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Carrier, Heard, Link, News
from netcheck.wire.links.open import open_link
from netcheck.wire.other_systems import PolledCarrier
from netcheck.wire.station import interfaces
from tests.lab.netns import Lab

STATION, STATION_IP = 0x00005E005301, 0xC0000201
DEVICE, DEVICE_IP = 0x00005E005314, 0xC0000214
ASK = arp_request(STATION, STATION_IP, DEVICE_IP)
PING = echo_to_wire(Echo(DEVICE, STATION, STATION_IP, DEVICE_IP, 64, ECHO_REQUEST, 7, 8, b"x" * 16))
SAID = arp_request(DEVICE, DEVICE_IP, DEVICE_IP)
LLDP = bytes.fromhex("0180c200000e00005e00531488cc0207040000").ljust(60, b"\0")
STREAM = (
    SAID,
    SAID[:12] + b"\x81\x00\x00\x64" + SAID[12:],  # of VLAN 100
    SAID[:12] + b"\x81\x00\xc0\x00" + SAID[12:],  # priority only
    SAID[:12] + b"\x08\x00" + b"\xff" * 40,
    LLDP,
)


@pytest.fixture
def cable(lab: Lab) -> Iterator[tuple[str, str, socket.socket]]:
    """A station, a device, and a packet socket of the device's."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(station, "eth0", "192.0.2.1/24")
    lab.address(device, "eth0", "192.0.2.20/24")
    with lab.inside(device):
        far = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        far.bind(("eth0", 0))
    with far:
        yield station, device, far


def gathered(link: Link, seconds: float) -> list[News]:
    """What arrives in this time."""
    found: list[News] = []
    until = link.now() + seconds
    while link.now() < until:
        found.extend(link.receive(until))
    return found


@pytest.mark.lab
def test_both_hear_the_same_at_the_same_time(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """Answers, announcements, tags, chatter and LLDP: the same frames from both links, stamped within 5 ms."""
    with lab.inside(cable[0]):
        raw, portable = open_link("raw", "eth0"), open_link("portable", "eth0")
    with raw, portable:
        assert raw.ways == portable.ways
        raw.send(ASK)
        portable.send(ASK)
        raw.send(PING)
        for frame in STREAM:
            cable[2].send(frame)
        time.sleep(0.1)  # so that stamps and times of reading differ
        heard = {link.kind: gathered(link, 0.2) for link in (raw, portable)}
    frames = {kind: [news.frame for news in found if isinstance(news, Heard)] for kind, found in heard.items()}
    assert len(frames["raw"]) == 6
    assert frames["raw"] == frames["portable"]
    times = {kind: [news.at for news in found] for kind, found in heard.items()}
    assert times["portable"] == pytest.approx(times["raw"], abs=0.005)


@pytest.mark.lab
def test_the_carrier_is_read_and_a_lost_interface_is_no_error(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """Cable out, in, and the interface removed."""
    with lab.inside(cable[0]):
        link = open_link("portable", "eth0")
    with link:
        changes: list[Carrier] = []
        for step in (lab.down, lab.up):
            step(cable[1], "eth0")
            changes.extend(news for news in gathered(link, 0.2) if isinstance(news, Carrier))
        assert [(change.up, change.gone) for change in changes] == [(False, False), (True, False)]
        lab.remove(cable[0], "eth0")
        assert [news.gone for news in gathered(link, 0.2) if isinstance(news, Carrier)] == [True]
        link.send(ASK)
        assert gathered(link, 0.1) == []


@pytest.mark.lab
def test_none_is_lost_of_a_burst_that_nobody_reads(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """scapy's own buffer would keep 158 of them."""
    with lab.inside(cable[0]), open_link("portable", "eth0") as link:
        for number in range(1022):
            cable[2].send(arp_request(DEVICE, number, 1))
        assert len(gathered(link, 0.5)) == 1022


def by_libpcap(name: str) -> tuple[str, list[bytes], list[float], list[bool | None]]:
    """Runs inside a namespace, with the socket that scapy has on other systems."""
    from scapy.config import conf

    conf.use_pcap = True
    from netcheck.wire import other_systems as elsewhere

    connected = [elsewhere.connected_by_libpcap(name), elsewhere.connected_by_libpcap("nothere")]
    with open_link("portable", name) as link:
        assert link.carrier()
        sent = link.send(ASK)
        assert sent is not None
        link.send(PING)
        found = gathered(link, 1.5)
        return (
            str(conf.L2socket), [news.frame for news in found if isinstance(news, Heard)],
            [news.at - sent for news in found], connected,
        )  # fmt: skip


@pytest.mark.lab
def test_libpcap_hears_the_same(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """libpcap's socket: only answers, no frames of our own, in time and stamped; tagged ones and chatter left out."""

    def speak() -> None:
        time.sleep(1)
        for frame in STREAM:
            cable[2].send(frame)

    speaker = threading.Thread(target=speak)
    speaker.start()
    kind, frames, delays, connected = lab.call(cable[0], by_libpcap, "eth0")
    speaker.join()
    assert "libpcap" in kind
    assert frames[0][:42] == bytes.fromhex(
        "00005e005301 00005e005314 0806 0001 0800 06 04 0002 00005e005314 c0000214 00005e005301 c0000201"
    )
    assert frames[1][14:15] == b"\x45"
    assert all(frame[:42] == SAID or frame == LLDP for frame in frames[2:])
    assert all(0 < delay < 0.05 for delay in delays[:2])
    assert connected == [True, None]


def listed_by_scapy() -> list[NetworkInterface]:
    """Runs inside a namespace: how other systems list their interfaces."""
    from netcheck.wire.other_systems import interfaces_by_scapy

    return interfaces_by_scapy()


@pytest.mark.lab
def test_scapy_lists_the_interfaces_that_the_kernel_does(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """Name, MAC, addresses with their lengths and state are the same by both ways."""
    lab.address(cable[0], "eth0", "198.51.100.5/26")
    with lab.inside(cable[0]):
        ours = {one.name: one for one in interfaces()}
    theirs = {one.name: one for one in lab.call(cable[0], listed_by_scapy)}
    assert theirs.keys() == ours.keys()
    assert theirs["lo"].loopback
    assert not theirs["lo"].ethernet
    for part in ("mac", "addresses", "up", "carrier", "ethernet", "loopback", "index"):
        assert getattr(theirs["eth0"], part) == getattr(ours["eth0"], part)


def test_flags_are_watched_now_and_then() -> None:
    """Only a plain "not connected" takes the carrier down; each change is reported once."""
    part = NetworkInterface(1, "x0", 1, True, True, True, False, ())
    said = iter([True, None, False, False, True])
    watch = PolledCarrier([part], lambda name: next(said))
    reports = [watch.look(float(number)) for number in range(4)]
    assert reports == [[], [Carrier(1.0, 0, False)], [], [Carrier(3.0, 0, True)]]
    assert watch.due == 3.5
    assert watch.carrier(0, 9.0)


def test_padding_is_ours() -> None:
    """What these tests take for granted of the frames they send."""
    assert len(padded(ASK)) == 60
