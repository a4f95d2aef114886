"""Interfaces and their carrier on systems other than Linux, from psutil.

psutil knows names, MACs, addresses with masks and whether a cable is connected on every system that netcheck runs on.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import psutil

from netcheck.addr import Mac
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.link import Carrier

POLL_EVERY = 0.5  # seconds between two looks, each of which lists all interfaces


def connected_interfaces() -> dict[str, bool | None]:
    """Return whether each interface has a cable connected, by name; None for one that is switched off."""
    return {name: state.isup if _is_on(state.flags) else None for name, state in psutil.net_if_stats().items()}


def _is_on(flags: str) -> bool:
    """Return the administrative state; where the system does not tell, an interface that is listed counts as on."""
    return not flags or "up" in flags.split(",")


class PolledCarrier:
    """Reports carrier changes by polling; an interface that is no longer listed is gone, until it is listed again."""

    descriptor = -1

    def __init__(
        self,
        interfaces: Sequence[NetworkInterface],
        connected: Callable[[], Mapping[str, bool | None]] = connected_interfaces,
    ) -> None:
        self._names = [one.name for one in interfaces]
        self._connected = connected
        self._states = self._now(0.0)
        self.due = float("-inf")

    def look(self, now: float) -> list[Carrier]:
        """Return the changes since the last look."""
        self.due = now + POLL_EVERY
        before, self._states = self._states, self._now(now)
        return [state for state, was in zip(self._states, before, strict=True) if state[1:] != was[1:]]

    def carrier(self, adapter: int, now: float) -> bool:
        """Return what the last look found."""
        return self._states[adapter].up

    def close(self) -> None:
        """Nothing is held."""

    def _now(self, now: float) -> list[Carrier]:
        listed = self._connected()
        return [
            Carrier(now, adapter, bool(listed.get(name)), name not in listed, name in listed and listed[name] is None)
            for adapter, name in enumerate(self._names)
        ]


def interfaces_by_psutil() -> list[NetworkInterface]:
    """Return all interfaces of this computer as psutil lists them."""
    states = psutil.net_if_stats()
    return [
        _interface(number, name, parts, states.get(name))
        for number, (name, parts) in enumerate(psutil.net_if_addrs().items(), 1)
    ]


def _interface(number: int, name: str, parts: Sequence[Any], state: Any) -> NetworkInterface:
    """Build the record of one interface. Where the system has no administrative state (Windows lists only interfaces
    that are enabled), it counts as on."""
    flags = str(getattr(state, "flags", "")).split(",")
    mac = next((_mac(one.address) for one in parts if one.family == psutil.AF_LINK), 0)
    loopback = "loopback" in flags or any(one.address == "127.0.0.1" for one in parts)
    return NetworkInterface(
        index=_index(name, number),
        name=name,
        mac=mac,
        up=_is_on(",".join(flags)),
        carrier=bool(getattr(state, "isup", False)),
        ethernet=bool(mac) and not loopback,
        loopback=loopback,
        addresses=tuple(
            (int(ipaddress.IPv4Address(one.address)), ipaddress.IPv4Network((0, one.netmask)).prefixlen)
            for one in parts
            if one.family == socket.AF_INET and one.netmask
        ),
    )


def _mac(text: str) -> int:
    """Return a MAC as an integer; 0 for the longer addresses that tunnels have."""
    try:
        return Mac.from_text(text).value
    except ValueError:
        return 0


def _index(name: str, number: int) -> int:
    """Return the system's index of an interface; a number of our own where the system knows it by another name."""
    try:
        return socket.if_nametoindex(name)
    except OSError:
        return number
