"""Calls of iphlpapi.dll: adapters, routes and neighbours of this computer, echo requests, and ARP requests.

All of them work for any user. Each returns plain values, and raises OSError with the system's number if it fails.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

assert sys.platform == "win32", "iphlpapi.dll exists on Windows only"

import ctypes  # noqa: E402  # the type checker reads the rest for Windows only
from collections.abc import Iterator  # noqa: E402
from typing import Any  # noqa: E402

from netcheck.wire.windows.structures import (  # noqa: E402
    AF_INET,
    AdapterAddresses,
    AdapterRow,
    EchoReply,
    NeighbourRow,
    RouteRow,
)

SKIP_ALL_BUT_UNICAST = 0x0E  # anycast, multicast and DNS servers are not listed (iptypes.h)
ETHERNET, LOOPBACK, WIRELESS = 6, 24, 71  # IfType, by the IANA ifType registry
UP = 1  # IfOperStatusUp, RFC 2863
DISCONNECTED = 2  # MediaConnectStateDisconnected (ifdef.h)
STALE = 4  # NL_NEIGHBOR_STATE (nldef.h): states from this one on have a MAC; in those below ARP failed or goes on
BUFFER_OVERFLOW, NOT_SUPPORTED = 111, 50  # winerror.h
TRIES = 5  # the list of adapters can grow between two calls

_library = ctypes.WinDLL("iphlpapi")


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowsAdapter:
    """An adapter that is enabled. `addresses` are IPv4 as (32-bit address, prefix length)."""

    index: int
    name: str
    description: str
    mac: int
    type: int
    connected: bool
    metric: int
    addresses: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AdapterRoute:
    """An IPv4 route: destination as first address and prefix length; `metric` is the route's alone."""

    index: int
    first: int
    length: int
    metric: int


class NotOffered(Exception):
    """The system does not offer the call."""


def adapters() -> list[WindowsAdapter]:
    """Return the enabled adapters, by index."""
    size = ctypes.c_uint32(16384)
    for _ in range(TRIES):
        buffer = ctypes.create_string_buffer(size.value)
        code = _library.GetAdaptersAddresses(AF_INET, SKIP_ALL_BUT_UNICAST, None, buffer, ctypes.byref(size))
        if code != BUFFER_OVERFLOW:
            break
    _demand(code)
    first = ctypes.cast(buffer, ctypes.POINTER(AdapterAddresses))
    return sorted(map(_adapter, _chain(first)), key=lambda adapter: adapter.index)


def _chain(pointer: Any) -> Iterator[Any]:
    """Yield the members of a list that is linked by `next`."""
    while pointer:
        yield pointer.contents
        pointer = pointer.contents.next


def _adapter(one: Any) -> WindowsAdapter:
    """Return the plain values of an AdapterAddresses structure."""
    addresses = [
        (int.from_bytes(ctypes.string_at(unicast.address.sockaddr, 8)[4:], "big"), int(unicast.prefix_length))
        for unicast in _chain(one.first_unicast)
    ]
    return WindowsAdapter(
        index=one.index,
        name=one.friendly_name or "",
        description=one.description or "",
        mac=int.from_bytes(bytes(one.mac[:6]), "big") if one.mac_length == 6 else 0,
        type=one.type,
        connected=bool(connected(one.index)),
        metric=one.metric,
        addresses=tuple(addresses),
    )


def connected(index: int) -> bool | None:
    """Return whether an adapter is on and has a cable with a live far end; None if there is no such adapter."""
    row = AdapterRow(index=index)
    if _library.GetIfEntry2(ctypes.byref(row)):
        return None
    return bool(row.status == UP and row.media_state != DISCONNECTED)


def routes() -> list[AdapterRoute]:
    """Return the IPv4 routes of this computer."""
    return [
        AdapterRoute(index=row.index, first=_ipv4(row.destination), length=row.prefix_length, metric=row.metric)
        for row in _table("GetIpForwardTable2", RouteRow)
    ]


def neighbours(index: int) -> dict[int, int]:
    """Return the neighbour table of one adapter: the MAC by IPv4 address; failed entries are left out."""
    return {
        _ipv4(row.address): int.from_bytes(bytes(row.mac[:6]), "big")
        for row in _table("GetIpNetTable2", NeighbourRow)
        if row.index == index and row.mac_length == 6 and row.state >= STALE and any(row.mac[:6])
    }


def _table(function: str, row: Any) -> Iterator[Any]:
    """Yield the rows of a table that the system allocates: a count, padded to eight bytes, then the rows."""
    table = ctypes.c_void_p()
    _demand(getattr(_library, function)(AF_INET, ctypes.byref(table)))
    try:
        assert table.value is not None
        count = ctypes.c_uint32.from_address(table.value).value
        yield from (row * count).from_address(table.value + 8)
    finally:
        _library.FreeMibTable(table)


def _ipv4(sockaddr: Any) -> int:
    return int.from_bytes(bytes(sockaddr[4:8]), "big")


class EchoSender:
    """Sends echo requests one after the other, and waits for the reply to each. Each thread has its own."""

    def __init__(self) -> None:
        _library.IcmpCreateFile.restype = ctypes.c_void_p
        self._handle = ctypes.c_void_p(_library.IcmpCreateFile())
        if self._handle.value in (None, ctypes.c_void_p(-1).value):
            raise ctypes.WinError()

    def ask(self, source: int, target: int, payload: bytes, timeout: float) -> tuple[int, bytes] | None:
        """Return the TTL and the payload of the reply; None if none came or the system could not send.

        `timeout` is in seconds; addresses are 32-bit. Only a reply of the target itself counts.
        """
        room = ctypes.sizeof(EchoReply) + len(payload) + 64  # 8 for an ICMP error, and an IO_STATUS_BLOCK
        buffer = ctypes.create_string_buffer(room)
        replies = _library.IcmpSendEcho2Ex(
            self._handle, None, None, None, _in_order(source), _in_order(target), payload,
            ctypes.c_uint16(len(payload)), None, buffer, room, round(timeout * 1000),
        )  # fmt: skip
        reply = EchoReply.from_buffer(buffer)
        if not replies or reply.status != 0 or bytes(reply.address) != target.to_bytes(4, "big"):
            return None
        return int(reply.ttl), ctypes.string_at(reply.data, reply.size) if reply.size else b""

    def close(self) -> None:
        """Release the handle."""
        _library.IcmpCloseHandle(self._handle)


def offers_arp() -> bool:
    """Return whether the system has a call that sends ARP requests; it may still refuse it."""
    return hasattr(_library, "ResolveIpNetEntry2")


def resolved_mac(index: int, source: int, target: int) -> int | None:
    """Send an ARP request for an address and return the MAC that replied; None after some seconds without a reply.

    Raises NotOffered if the system refuses the call. The cache entry is deleted first, so the MAC is a new one.
    """
    row = NeighbourRow(index=index)
    row.address[:] = _sockaddr(target)
    code = _library.ResolveIpNetEntry2(ctypes.byref(row), (ctypes.c_ubyte * 28)(*_sockaddr(source)))
    if code == NOT_SUPPORTED:
        raise NotOffered
    found = code == 0 and row.mac_length == 6
    return int.from_bytes(bytes(row.mac[:6]), "big") if found else None


def _sockaddr(address: int) -> bytes:
    return AF_INET.to_bytes(2, "little") + bytes(2) + address.to_bytes(4, "big") + bytes(20)


def _in_order(address: int) -> ctypes.c_uint32:
    """Return an address as an IPAddr: in network byte order in memory."""
    return ctypes.c_uint32(int.from_bytes(address.to_bytes(4, "big"), "little"))


def _demand(code: int) -> None:
    if code:
        raise ctypes.WinError(code)
