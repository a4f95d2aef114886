"""This computer's interfaces, routes and neighbours on macOS.

psutil returns names, MACs, addresses with masks, and flags. The media status says whether a cable is connected;
`ifconfig` prints it as "status: active". The flag RUNNING does not say it: it stays set while the cable is out. Routes,
neighbours and the names of hardware ports come from the system's commands, because no documented call returns them.
"""

from __future__ import annotations

import ipaddress
import re
import socket
import struct
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

assert sys.platform != "win32", "for macOS only; tested on Linux as well"

import fcntl  # noqa: E402  # Windows has no such module
from pathlib import Path  # noqa: E402

import psutil  # noqa: E402

from netcheck.addr import Mac  # noqa: E402
from netcheck.wire.link import NetworkInterface  # noqa: E402
from netcheck.wire.links.base import AdapterState, PolledCarrier  # noqa: E402
from netcheck.wire.linux.netlink import MAIN, KernelRoute  # noqa: E402

GET_MEDIA = 0xC02C6938  # SIOCGIFMEDIA of sys/sockio.h: _IOWR('i', 56, struct ifmediareq)
_REQUEST = struct.Struct("=16siiiiiQ")  # net/if.h: name, current, mask, status, active, count, list; packed to 4 bytes
_VALID, _ACTIVE = 1, 2  # net/if_media.h: IFM_AVALID, IFM_ACTIVE
_KIND, _WIRELESS = 0xE0, 0x80  # IFM_NMASK, IFM_IEEE80211
PATIENCE = 5  # seconds that a command of the system may take
_NEIGHBOUR = re.compile(r"\(([\d.]+)\) at ([0-9a-f:]+) on (\S+)")
_PORT = re.compile(r"^Hardware Port: (.+)\nDevice: (\S+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Media:
    """The media status of an interface. `connected` is True if a cable with a live far end is plugged in."""

    connected: bool
    wireless: bool


def media_request(name: str) -> bytes:
    """Return the structure that requests the media status of an interface."""
    return _REQUEST.pack(name.encode()[:15], 0, 0, 0, 0, 0, 0)


def media_from(reply: bytes) -> Media | None:
    """Read the system's reply; None if the driver does not report whether a cable is connected."""
    _, current, _, status, _, _, _ = _REQUEST.unpack(reply)
    if not status & _VALID:
        return None
    return Media(connected=bool(status & _ACTIVE), wireless=current & _KIND == _WIRELESS)


def media_of(name: str) -> Media | None:
    """Return the media status of an interface; None if it has none, such as a tunnel or the loopback."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as anything:
        try:
            return media_from(fcntl.ioctl(anything, GET_MEDIA, media_request(name)))
        except OSError:
            return None


def interfaces() -> list[NetworkInterface]:
    """Return all interfaces of this computer."""
    return interfaces_from(psutil.net_if_addrs(), psutil.net_if_stats(), media_of, hardware_ports())


def interfaces_from(
    addresses: Mapping[str, Sequence[Any]],
    states: Mapping[str, Any],
    media: Callable[[str], Media | None],
    ports: Mapping[str, str],
) -> list[NetworkInterface]:
    """Return all interfaces, from the values of psutil, the media status by name and the names of hardware ports."""
    return [_interface(name, parts, states.get(name), media(name), ports) for name, parts in addresses.items()]


def _interface(
    name: str, parts: Sequence[Any], state: Any, media: Media | None, ports: Mapping[str, str]
) -> NetworkInterface:
    """Return one interface; *parts* are its addresses and *state* its statistics as psutil returns them."""
    flags = _flags(state)
    mac = next((_mac(one.address) for one in parts if one.family == psutil.AF_LINK), 0)
    loopback = "loopback" in flags
    return NetworkInterface(
        index=index_of(name) or 0,
        name=name,
        mac=mac,
        up="up" in flags,
        carrier="up" in flags and (media.connected if media else "running" in flags),
        ethernet=bool(mac) and not loopback and "pointopoint" not in flags,
        loopback=loopback,
        addresses=tuple(
            (int(ipaddress.IPv4Address(one.address)), ipaddress.IPv4Network((0, one.netmask)).prefixlen)
            for one in parts
            if one.family == socket.AF_INET and one.netmask
        ),
        wireless=media is not None and media.wireless,
        description=ports.get(name, ""),
    )


def _flags(state: Any) -> list[str]:
    return str(getattr(state, "flags", "")).split(",")


def _mac(text: str) -> int:
    """Return a MAC as an integer; 0 for the longer addresses that tunnels have."""
    try:
        return Mac.from_text(text).value
    except ValueError:
        return 0


def index_of(name: str) -> int | None:
    """Return the index of the interface with this name; None if there is none."""
    try:
        return socket.if_nametoindex(name)
    except OSError:
        return None


def carrier_of(parts: Sequence[NetworkInterface], reopen: Callable[[int, int], bool]) -> PolledCarrier:
    """Return the object that reports the carrier of these interfaces."""
    return PolledCarrier(parts, reopen, _state_of, index_of)


def _state_of(index: int) -> AdapterState:
    try:
        name = socket.if_indextoname(index)
    except OSError:
        return AdapterState.GONE
    return state_from(psutil.net_if_stats().get(name), media_of(name))


def state_from(state: Any, media: Media | None) -> AdapterState:
    """Return the state of an adapter, from psutil's statistics of the adapter and its media status."""
    flags = _flags(state)
    if state is None:
        return AdapterState.GONE
    if "up" not in flags:
        return AdapterState.OFF
    return AdapterState.CABLE if (media.connected if media else "running" in flags) else AdapterState.NO_CABLE


def routes() -> tuple[KernelRoute, ...]:
    """Return the IPv4 routes of this computer; raise OSError if the command fails."""
    return routes_from(_printed("/usr/sbin/netstat", "-rn", "-f", "inet"), lambda name: index_of(name) or 0)


def routes_from(text: str, index: Callable[[str], int]) -> tuple[KernelRoute, ...]:
    """Read the output of `netstat -rn -f inet` (netstat(1)).

    Routes to one host are left out, and so are routes that only a socket bound to their interface uses (flag I).
    """
    found = []
    for line in text.splitlines():
        words = line.split()
        prefix = _prefix(words[0]) if len(words) >= 4 else None
        if prefix is not None and not {"H", "I", "R", "B"} & set(words[2]):
            first, length = prefix
            found.append(KernelRoute(first, length, index(words[3]), 0, 0, MAIN))
    return tuple(found)


def _prefix(text: str) -> tuple[int, int] | None:
    """Read a destination. The command omits zero octets at the end, and a length that equals that of the octets."""
    if text == "default":
        return 0, 0
    octets, _, length = text.partition("/")
    parts = octets.split(".")
    if not 1 <= len(parts) <= 4 or not all(part.isdecimal() and int(part) < 256 for part in parts):
        return None
    whole = int(length) if length.isdecimal() else 8 * len(parts)
    return int.from_bytes(bytes(map(int, parts)).ljust(4, b"\0"), "big"), min(whole, 32)


def neighbours(name: str) -> dict[int, int]:
    """Return the neighbour table of one interface: the MAC by IPv4 address; raise OSError if the command fails."""
    return neighbours_from(_printed("/usr/sbin/arp", "-an"), name)


def neighbours_from(text: str, name: str) -> dict[int, int]:
    """Read the output of `arp -an` (arp(8)), which omits leading zeros in the octets of a MAC."""
    return {
        int(ipaddress.IPv4Address(address)): int("".join(octet.zfill(2) for octet in mac.split(":")), 16)
        for address, mac, on in _NEIGHBOUR.findall(text)
        if on == name and mac.count(":") == 5
    }


@cache
def hardware_ports() -> dict[str, str]:
    """Return the name of each hardware port as the system shows it, by interface; empty if the command fails."""
    try:
        return hardware_ports_from(_printed("/usr/sbin/networksetup", "-listallhardwareports"))
    except OSError:
        return {}


def hardware_ports_from(text: str) -> dict[str, str]:
    """Read the output of `networksetup -listallhardwareports` (networksetup(8))."""
    return {device: port for port, device in _PORT.findall(text)}


def _printed(*command: str) -> str:
    """Return the output of a command; raise OSError if it does not exist, fails or takes too long."""
    if not Path(command[0]).exists():
        raise FileNotFoundError(command[0])
    try:
        done = subprocess.run(command, capture_output=True, timeout=PATIENCE, check=True, stdin=subprocess.DEVNULL)
    except subprocess.SubprocessError as error:
        raise OSError(str(error)) from error
    return done.stdout.decode(errors="replace")
