"""The portable link compared with the raw one on the same cable, with scapy's Linux socket and with libpcap."""

from __future__ import annotations

import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from netcheck.wire.frames import ECHO_REQUEST, Echo, arp_request, echo_to_wire, padded
from netcheck.wire.link import Carrier, Heard, Link, Lost, News
from netcheck.wire.links.open import open_link
from tests.lab.netns import Lab

STATION, STATION_IP = 0x00005E005301, 0xC0000201
DEVICE, DEVICE_IP = 0x00005E005314, 0xC0000214
ASK = arp_request(STATION, STATION_IP, DEVICE_IP)
PING = echo_to_wire(Echo(DEVICE, STATION, STATION_IP, DEVICE_IP, 64, ECHO_REQUEST, 7, 8, b"x" * 16))
SAID = arp_request(DEVICE, DEVICE_IP, DEVICE_IP)
FLOOD = 12_000
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
    """A station, a device, and a packet socket of the device."""
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
    """Return everything that arrives in this time."""
    found: list[News] = []
    until = link.now() + seconds
    while link.now() < until:
        found.extend(link.receive(until))
    return found


@pytest.mark.lab
def test_both_hear_the_same_at_the_same_time(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """Both links receive the same replies, announcements, tagged frames and LLDP, with stamps within 5 ms."""
    with lab.inside(cable[0]):
        raw, portable = open_link("raw", "eth0"), open_link("portable", "eth0")
    with raw, portable:
        assert raw.adapters == portable.adapters
        raw.send(ASK)
        portable.send(ASK)
        raw.send(PING)
        for frame in STREAM:
            cable[2].send(frame)
        time.sleep(0.1)  # makes the stamps differ from the times of reading
        heard = {link.kind: gathered(link, 0.2) for link in (raw, portable)}
    frames = {kind: [news.frame for news in found if isinstance(news, Heard)] for kind, found in heard.items()}
    assert len(frames["raw"]) == 6
    assert frames["raw"] == frames["portable"]
    times = {kind: [news.at for news in found] for kind, found in heard.items()}
    assert times["portable"] == pytest.approx(times["raw"], abs=0.005)


@pytest.mark.lab
def test_the_carrier_is_read_and_a_lost_interface_is_no_error(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """The cable is pulled and plugged in, then the interface is removed."""
    with lab.inside(cable[0]):
        link = open_link("portable", "eth0")
    with link:
        changes: list[Carrier] = []
        for step in (lab.down, lab.up):
            step(cable[1], "eth0")
            changes.extend(news for news in gathered(link, 0.2) if isinstance(news, Carrier))
        assert [(change.up, change.gone) for change in changes] == [(False, False), (True, False)]
        lab.remove(cable[0], "eth0")
        changes = [news for news in gathered(link, 0.2) if isinstance(news, Carrier)]
        assert [change.up for change in changes] == [False] * len(changes)
        assert changes[-1].gone
        assert link.send(ASK) is None
        assert gathered(link, 0.1) == []


@pytest.mark.lab
def test_no_frame_of_an_unread_burst_is_lost(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """All frames of a burst are kept; scapy's default buffer keeps 158 of them."""
    with lab.inside(cable[0]), open_link("portable", "eth0") as link:
        for number in range(1022):
            cable[2].send(arp_request(DEVICE, number, 1))
        assert len(gathered(link, 0.5)) == 1022


def by_libpcap(name: str) -> tuple[str, list[bytes], list[float]]:
    """Run inside a namespace, with the socket that scapy uses on other systems."""
    from scapy.config import conf

    conf.use_pcap = True
    with open_link("portable", name) as link:
        assert link.carrier()
        sent = link.send(ASK)
        assert sent is not None
        link.send(PING)
        found = gathered(link, 1.5)
        return (
            str(conf.L2socket), [news.frame for news in found if isinstance(news, Heard)],
            [news.at - sent for news in found],
        )  # fmt: skip


@pytest.mark.lab
def test_libpcap_hears_the_same(lab: Lab, cable: tuple[str, str, socket.socket]) -> None:
    """libpcap delivers replies with time stamps, but no frames of this computer, tagged frames or other broadcasts."""

    def speak() -> None:
        time.sleep(1)
        for frame in STREAM:
            cable[2].send(frame)

    speaker = threading.Thread(target=speak)
    speaker.start()
    kind, frames, delays = lab.call(cable[0], by_libpcap, "eth0")
    speaker.join()
    assert "libpcap" in kind
    assert frames[0][:42] == bytes.fromhex(
        "00005e005301 00005e005314 0806 0001 0800 06 04 0002 00005e005314 c0000214 00005e005301 c0000201"
    )
    assert frames[1][14:15] == b"\x45"
    assert all(frame[:42] == SAID or frame == LLDP for frame in frames[2:])
    assert all(0 < delay < 0.05 for delay in delays[:2])


def losses_by_libpcap(name: str, far: str) -> tuple[list[float | None], list[News]]:
    """Run inside a namespace, with the socket that scapy uses on other systems."""
    from scapy.config import conf

    conf.use_pcap = True
    return losses_by_scapy(name, far)


def losses_by_scapy(name: str, far: str) -> tuple[list[float | None], list[News]]:
    """Run inside a namespace: send before, while and after the interface is off, then receive a flood."""
    with open_link("portable", name) as link:
        sent = [link.send(ASK)]
        switch(name, "down")
        sent.append(link.send(ASK))
        switch(name, "up")
        gathered(link, 0.3)
        sent.append(link.send(ASK))
        gathered(link, 0.1)
        with socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0) as sender:
            sender.bind((far, 0))
            for number in range(FLOOD):
                sender.send(arp_request(DEVICE, number, 1).ljust(1500, b"\0"))
        return sent, gathered(link, 1.0)


def switch(name: str, state: str) -> None:
    """Switch an interface on or off."""
    subprocess.run(["ip", "link", "set", "dev", name, state], check=True)


@pytest.mark.lab
@pytest.mark.parametrize("losses", [losses_by_libpcap, losses_by_scapy], ids=["libpcap", "native"])
def test_frames_that_were_not_sent_or_were_lost_are_reported(
    lab: Lab, losses: Callable[[str, str], tuple[list[float | None], list[News]]]
) -> None:
    """A frame sent while the interface is off has no time; every frame of a flood is heard or counted as lost."""
    station = lab.namespace()
    lab.veth((station, "eth0"), (station, "far"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    sent, news = lab.call(station, losses, "eth0", "far")
    assert [at is not None for at in sent] == [True, False, True]
    lost = [one.frames for one in news if isinstance(one, Lost)]
    assert sum(lost) > 0
    assert sum(lost) + sum(isinstance(one, Heard) for one in news) == FLOOD


def test_the_frames_of_these_tests_are_padded() -> None:
    """Each frame that these tests send has at least 60 bytes."""
    assert len(padded(ASK)) == 60
