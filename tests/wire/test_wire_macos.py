"""Interfaces, routes and neighbours of macOS, read from its structures and from the output of its commands.

The numbers of the structure are those of the headers of the system (net/if.h, net/if_media.h, sys/sockio.h). The texts
have the form of netstat(1), arp(8) and networksetup(8) there, with documentation addresses (RFC 5737, RFC 7042).
"""

from __future__ import annotations

import ast
import errno
import importlib.util
import socket
import struct
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any, ClassVar

import psutil
import pytest

from netcheck.addr import Address, Mac
from netcheck.errors import NetcheckError
from netcheck.wire import macos
from netcheck.wire.frames import arp_reply
from netcheck.wire.link import Carrier, Heard, Lost, NetworkInterface
from netcheck.wire.links import portable
from netcheck.wire.links.base import AdapterState, PolledCarrier
from netcheck.wire.links.portable import PortableLink
from netcheck.wire.macos import Media

ROUTES = """\
Routing tables

Internet:
Destination        Gateway            Flags               Netif Expire
default            192.0.2.1          UGScg                 en0
default            link#24            UCSIg               utun4
10                 198.51.100.9       UGSc                utun4
127                127.0.0.1          UCS                   lo0
127.0.0.1          127.0.0.1          UH                    lo0
169.254            link#11            UCS                   en0      !
192.0.2            link#11            UCS                   en0      !
192.0.2.1/32       link#11            UCS                   en0      !
192.0.2.1          0:0:5e:0:53:1      UHLWIir               en0   1161
198.51.100.64/26   link#14            UCS                   en5      !
203.0.113.128/25   198.51.100.65      UGSc                  en5
224.0.0/4          link#11            UmCS                  en0      !
255.255.255.255/32 link#11            UCS                   en0      !
"""
NEIGHBOURS = """\
? (192.0.2.1) at 0:0:5e:0:53:1 on en0 ifscope [ethernet]
? (198.51.100.70) at 0:0:5e:0:53:a on en5 ifscope [ethernet]
? (198.51.100.71) at (incomplete) on en5 ifscope [ethernet]
? (198.51.100.99) at 0:0:5e:0:53:63 on en5 ifscope permanent [ethernet]
? (224.0.0.251) at 1:0:5e:0:0:fb on en0 ifscope permanent [ethernet]
"""
PORTS = """\

Hardware Port: Wi-Fi
Device: en0
Ethernet Address: 00:00:5e:00:53:02

Hardware Port: USB 10/100/1000 LAN
Device: en5
Ethernet Address: 00:00:5e:00:53:05

VLAN Configurations
===================
"""
ETHERNET, WIRELESS = 0x20, 0x80  # IFM_ETHER, IFM_IEEE80211


def reply(kind: int, status: int) -> bytes:
    """Return a media status as the kernel fills it in: 44 bytes, because the structure is packed to four bytes."""
    return b"en5".ljust(16, b"\0") + struct.pack("=iiiii", kind | 0x10, 0, status, kind | 0x10, 9) + bytes(8)


@pytest.mark.parametrize(
    ("kind", "status", "media"),
    [
        pytest.param(ETHERNET, 3, Media(connected=True, wireless=False), id="cable"),
        pytest.param(ETHERNET, 1, Media(connected=False, wireless=False), id="no cable"),
        pytest.param(WIRELESS, 3, Media(connected=True, wireless=True), id="wireless"),
        pytest.param(ETHERNET, 0, None, id="a driver that does not tell"),
    ],
)
def test_the_media_status_says_whether_a_cable_is_connected(kind: int, status: int, media: Media | None) -> None:
    """The bit "active" counts only together with the bit "valid"."""
    assert macos.media_from(reply(kind, status)) == media


def test_the_request_has_the_size_that_its_number_names() -> None:
    """An ioctl number holds the size of its structure in bits 16 to 28 (sys/ioccom.h)."""
    assert len(macos.media_request("en5")) == macos.GET_MEDIA >> 16 & 0x1FFF == len(reply(ETHERNET, 3))
    assert macos.media_request("en5")[:16] == b"en5".ljust(16, b"\0")


def test_a_missing_media_status_raises_no_error() -> None:
    """Another system does not support the request, and a tunnel has no media."""
    assert macos.media_of("lo") is None


def part(family: int, address: str, netmask: str | None = None) -> Any:
    """Return an address as psutil returns it."""
    return SimpleNamespace(family=family, address=address, netmask=netmask)


def listed(flags: str) -> Any:
    """Return the state of an interface as psutil returns it."""
    return SimpleNamespace(flags=flags, isup="running" in flags)


def test_interfaces_have_the_carrier_of_the_media_status() -> None:
    """RUNNING stays set while the cable is out; a tunnel with its longer address is not Ethernet."""
    link = psutil.AF_LINK
    addresses = {
        "lo0": [part(socket.AF_INET, "127.0.0.1", "255.0.0.0")],
        "en0": [part(link, "00:00:5e:00:53:02"), part(socket.AF_INET, "192.0.2.7", "255.255.255.0")],
        "en5": [part(link, "00:00:5e:00:53:05"), part(socket.AF_INET, "198.51.100.99", "255.255.255.192")],
        "en7": [part(link, "00:00:5e:00:53:07")],
        "utun4": [part(socket.AF_INET, "198.51.100.9", "255.255.255.255")],
    }
    up = "up,broadcast,running,simplex,multicast"
    states = {
        "lo0": listed("up,loopback,running,multicast"),
        "en0": listed(up),
        "en5": listed(up),
        "en7": listed("broadcast,simplex,multicast"),
        "utun4": listed("up,pointopoint,running,multicast"),
    }
    media = {"en0": Media(True, True), "en5": Media(False, False), "en7": Media(False, False)}
    found = {
        one.name: one for one in macos.interfaces_from(addresses, states, media.get, macos.hardware_ports_from(PORTS))
    }
    assert {name: one.state for name, one in found.items()} == {
        "lo0": "cable", "en0": "cable", "en5": "no cable", "en7": "off", "utun4": "cable",
    }  # fmt: skip
    assert [name for name, one in found.items() if one.ethernet] == ["en0", "en5", "en7"]
    assert [name for name, one in found.items() if one.wireless] == ["en0"]
    assert [name for name, one in found.items() if one.loopback] == ["lo0"]
    assert found["en5"].description == "USB 10/100/1000 LAN"
    assert found["en5"].mac == 0x00005E005305
    assert found["en5"].addresses == ((Address.from_text("198.51.100.99").value, 26),)


@pytest.mark.parametrize(
    ("state", "media", "state_expected"),
    [
        pytest.param(listed("up,running"), Media(True, False), AdapterState.CABLE, id="cable"),
        pytest.param(listed("up,running"), Media(False, False), AdapterState.NO_CABLE, id="no cable"),
        pytest.param(listed("up,running"), None, AdapterState.CABLE, id="running, no media status"),
        pytest.param(listed("up"), None, AdapterState.NO_CABLE, id="not running, no media status"),
        pytest.param(listed("broadcast"), Media(False, False), AdapterState.OFF, id="switched off"),
        pytest.param(None, None, AdapterState.GONE, id="removed"),
    ],
)
def test_the_state_of_an_adapter(state: Any, media: Media | None, state_expected: AdapterState) -> None:
    """The state follows from psutil's statistics and the media status."""
    assert macos.state_from(state, media) is state_expected


def test_routes_of_netstat() -> None:
    """Destinations are shortened as in netstat(1); routes to one host and scoped routes are left out."""
    found = macos.routes_from(ROUTES, {"en0": 11, "en5": 14, "utun4": 24, "lo0": 1}.__getitem__)
    assert [(str(Address(4, route.first)), route.length, route.index) for route in found] == [
        ("0.0.0.0", 0, 11), ("10.0.0.0", 8, 24), ("127.0.0.0", 8, 1), ("169.254.0.0", 16, 11), ("192.0.2.0", 24, 11),
        ("192.0.2.1", 32, 11), ("198.51.100.64", 26, 14), ("203.0.113.128", 25, 14), ("224.0.0.0", 4, 11),
        ("255.255.255.255", 32, 11),
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["", "Internet:", "default", "x y UGS en0", "1.2.3.4.5 b UGS en0", "300 b UGS en0"])
def test_a_line_that_is_not_a_route_is_left_out(text: str) -> None:
    """Titles and lines of an unknown form are not routes."""
    assert macos.routes_from(text, lambda name: 1) == ()


def test_neighbours_of_arp() -> None:
    """Octets have no leading zeros; incomplete entries and entries of another interface are left out."""
    found = macos.neighbours_from(NEIGHBOURS, "en5")
    assert {str(Address(4, address)): str(Mac(mac)) for address, mac in found.items()} == {
        "198.51.100.70": str(Mac.from_text("00:00:5e:00:53:0a")),
        "198.51.100.99": str(Mac.from_text("00:00:5e:00:53:63")),
    }


@pytest.mark.parametrize("command", ["/usr/sbin/no-such-command", "/bin/false"])
def test_a_command_that_is_missing_or_fails(command: str) -> None:
    """Raise OSError, so that the caller knows that there is no answer."""
    with pytest.raises(OSError, match=command):
        macos._printed(command)


OURS, THEIRS = 0x00005E005305, 0x00005E00530A
REPLY = arp_reply(THEIRS, 0xC6336446, OURS, 0xC6336463)


class Bpf:
    """A socket with the methods of scapy's for BPF devices, on a queue of frames; `refuses` is the system's error."""

    opened: ClassVar[list[Bpf]] = []
    refuses: ClassVar[OSError | None] = None

    def __init__(self, iface: str, promisc: bool = False, filter: str | None = None) -> None:  # noqa: A002
        if self.refuses is not None:
            raise self.refuses
        self.iface, self.filter, self.blocking, self.dropped, self.closed = iface, filter, True, 0, False
        self.queue: list[bytes] = []
        self.left: list[bytes] = []
        self.opened.append(self)

    def set_nonblock(self, set_flag: bool = True) -> None:
        """Never wait for a frame."""
        self.blocking = not set_flag

    def recv_raw(self) -> tuple[Any, bytes | None, float | None]:
        """Return the next frame with its wall-clock time; None at the end of the queue."""
        return (None, self.queue.pop(0), time.time()) if self.queue else (None, None, None)

    def get_stats(self) -> tuple[int, int]:
        """Return how many frames were received and dropped."""
        return 0, self.dropped

    def send(self, frame: bytes) -> int:
        """Send; the BPF device echoes what it sends."""
        self.left.append(frame)
        self.queue.append(frame)
        return len(frame)

    @staticmethod
    def select(sockets: list[Bpf], remain: float) -> list[Bpf]:
        """Return the sockets that have frames."""
        return [one for one in sockets if one.queue]

    def close(self) -> None:
        """Close it."""
        self.closed = True


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[PortableLink, dict[int, AdapterState]]]:
    """The portable link of macOS on an adapter with a cable, and the states of adapters by index."""
    import scapy.layers.l2  # noqa: F401  # lists the interfaces
    from scapy.config import conf

    monkeypatch.setattr(conf, "L2socket", Bpf)
    monkeypatch.setattr(portable, "on_linux", lambda: False)
    monkeypatch.setattr(Bpf, "opened", [])
    states = {5: AdapterState.CABLE}
    adapter = NetworkInterface(
        index=5, name="en5", mac=OURS, up=True, carrier=True, ethernet=True, loopback=False, addresses=()
    )

    def carriers(link: PortableLink, parts: list[NetworkInterface]) -> PolledCarrier:
        return PolledCarrier(parts, link._reopen, lambda index: states.get(index, AdapterState.GONE), lambda name: 8)

    monkeypatch.setattr(PortableLink, "_carrier_source", carriers)
    made = PortableLink([adapter])
    made.open()
    yield made, states
    made.close()


def test_frames_of_a_bpf_device_are_heard_once(opened: tuple[PortableLink, dict[int, AdapterState]]) -> None:
    """A reply is heard with its time, and the number of dropped frames is reported.

    The device returns the frames that this computer sends; they are left out.
    """
    (link, _), (device,) = opened, Bpf.opened
    assert (device.blocking, "ether dst 00:00:5e:00:53:05" in str(device.filter)) == (False, True)
    assert link.send(REPLY[6:12] + REPLY[:6] + REPLY[12:]) is not None
    device.queue.append(REPLY)
    device.dropped = 3
    before = link.now()
    news = link.receive(before + 1)
    heard = [one for one in news if isinstance(one, Heard)]
    assert [one.frame for one in heard] == [REPLY]
    assert before - 0.6 <= heard[0].at <= link.now()
    assert [one.frames for one in news if isinstance(one, Lost)] == [3]


def test_an_adapter_that_is_plugged_in_again_gets_a_new_bpf_device(
    opened: tuple[PortableLink, dict[int, AdapterState]],
) -> None:
    """The old device is closed, and frames of the new one are heard."""
    link, states = opened
    states.clear()
    assert [one.gone for one in link.receive(link.now() + 1) if isinstance(one, Carrier)] == [True]
    states[8] = AdapterState.CABLE
    assert [one.up for one in link.receive(link.now() + 2) if isinstance(one, Carrier)] == [True]
    old, new = Bpf.opened
    assert old.closed
    new.queue.append(REPLY)
    assert [one.frame for one in link.receive(link.now() + 1) if isinstance(one, Heard)] == [REPLY]


def test_the_stand_in_has_the_methods_of_scapy() -> None:
    """scapy's module for BPF devices cannot be imported on Linux; the test reads its source text instead."""
    found = importlib.util.find_spec("scapy.arch.bpf")
    assert found is not None
    assert found.submodule_search_locations is not None
    text = Path(found.submodule_search_locations[0], "supersocket.py").read_text(encoding="utf-8")
    classes = [one for one in ast.parse(text).body if isinstance(one, ast.ClassDef)]
    methods = {part.name for one in classes for part in one.body if isinstance(part, ast.FunctionDef)}
    assert {name for name in vars(Bpf) if not name.startswith("_")} - {"opened", "refuses"} <= methods


@pytest.mark.parametrize("number", [errno.EACCES, errno.EPERM])
def test_without_rights_sudo_is_named(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A BPF device needs root on macOS."""
    monkeypatch.setattr("sys.platform", "darwin")
    error: NetcheckError = portable._not_opened(OSError(number, "Permission denied"), "en5")
    assert "Run it with `sudo`" in str(error)
    assert "Run it with `sudo`" in str(portable._not_opened(RuntimeError("No /dev/bpf handle is available !"), "en5"))
