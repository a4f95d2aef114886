"""Reads interfaces, addresses, routes and neighbours from the kernel by rtnetlink (RFC 3549).

It needs the standard library alone. Requests use a socket in the caller's network namespace, and interface indexes.
They stay correct if an interface is renamed or if /sys belongs to another namespace. Numbers are those of
linux/netlink.h, rtnetlink.h, if_link.h, if_addr.h and neighbour.h. An error of the kernel is raised as OSError.
"""

from __future__ import annotations

import os
import socket
import struct
import sys
from collections.abc import Iterator
from dataclasses import dataclass

NEWLINK, DELLINK, GETLINK = 16, 17, 18
GETADDR, GETROUTE, GETNEIGH = 22, 26, 30
ERROR, DONE = 2, 3
_REQUEST, _DUMP = 1, 0x300
LINK_EVENTS = 1  # RTMGRP_LINK

_UP, _LOOPBACK, _NO_ARP, _LOWER_UP = 0x1, 0x8, 0x80, 0x10000
_ETHERNET = 1  # ARPHRD_ETHER
_BRIDGE = 7  # AF_BRIDGE
_IFLA_ADDRESS, _IFLA_NAME, _IFLA_PARENT, _IFLA_MASTER, _IFLA_MASK, _IFLA_ELSEWHERE = 1, 3, 5, 10, 29, 37
_IFLA_LINKINFO, _INFO_SLAVE_KIND = 18, 4
_NO_STATISTICS = 8  # RTEXT_FILTER_SKIP_STATS
_NO_OWNER = 0x01 | 0x20 | 0x40  # neighbour states INCOMPLETE, FAILED, NOARP

_HEAD = struct.Struct("=IHHII")  # length, type, flags, sequence, port
_LINK = struct.Struct("=BxHiII")  # family, hardware type, index, flags, change mask
_ADDRESS = struct.Struct("=BBBBI")  # family, prefix length, flags, scope, index
_NEIGHBOUR = struct.Struct("=BxxxiHBB")  # family, index, state, flags, type
_ROUTE = struct.Struct("=BBBBBBBBI")  # family, length, source length, tos, table, protocol, scope, type, flags
_HOP = struct.Struct("=HBBi")  # length, flags, weight, index
_ATTRIBUTE = struct.Struct("=HH")  # length, type

MAIN, LOCAL = 254, 255  # routing tables
_UNICAST = 1
_RTA_TO, _RTA_INDEX, _RTA_GATEWAY, _RTA_METRIC, _RTA_HOPS, _RTA_TABLE = 1, 4, 5, 6, 9, 15


@dataclass(frozen=True, slots=True)
class Message:
    """A message from the kernel: its type, the sequence number of the request (0 for an event), and its body."""

    type: int
    sequence: int
    body: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkState:
    """An interface as the kernel describes it.

    `up` is the administrative state; `carrier` is True if the cable has a live far end. `parent` and `master` are the
    indexes of the interfaces below and above this one in this namespace, 0 for none. `member_of` is the kind of the
    master, such as "bridge", or "".
    """

    index: int
    name: str
    mac: int
    up: bool
    carrier: bool
    ethernet: bool
    loopback: bool
    arp: bool
    parent: int
    master: int
    member_of: str = ""


def opened(groups: int = 0) -> socket.socket:
    """Return a route netlink socket that receives the events of these groups."""
    netlink = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW | socket.SOCK_CLOEXEC, socket.NETLINK_ROUTE)
    netlink.settimeout(5)
    try:
        netlink.bind((0, groups))
    except OSError:
        netlink.close()
        raise
    return netlink


def ask_link(netlink: socket.socket, index: int) -> None:
    """Request the state of an interface; the reply, or the error, has the index as its sequence number."""
    mask = _ATTRIBUTE.pack(8, _IFLA_MASK) + struct.pack("=I", _NO_STATISTICS)
    body = _LINK.pack(0, 0, index, 0, 0) + mask
    netlink.send(_HEAD.pack(_HEAD.size + len(body), GETLINK, _REQUEST, index, 0) + body)


def ask_link_named(netlink: socket.socket, name: str) -> None:
    """Request the state of the interface with a name; the reply, or the error, has the sequence number 0."""
    value = name.encode() + b"\0"
    attributes = _ATTRIBUTE.pack(4 + len(value), _IFLA_NAME) + value.ljust(len(value) + 3 & ~3, b"\0")
    mask = _ATTRIBUTE.pack(8, _IFLA_MASK) + struct.pack("=I", _NO_STATISTICS)
    body = _LINK.pack(0, 0, 0, 0, 0) + attributes + mask
    netlink.send(_HEAD.pack(_HEAD.size + len(body), GETLINK, _REQUEST, 0, 0) + body)


def messages(data: bytes) -> Iterator[Message]:
    """Yield the messages of a datagram before the first malformed one."""
    at = 0
    while at + _HEAD.size <= len(data):
        length, kind, _, sequence, _ = _HEAD.unpack_from(data, at)
        if length < _HEAD.size or at + length > len(data):
            return
        yield Message(kind, sequence, data[at + _HEAD.size : at + length])
        at += length + 3 & ~3


def _attributes(body: bytes, at: int) -> dict[int, bytes]:
    found = {}
    while at + _ATTRIBUTE.size <= len(body):
        length, kind = _ATTRIBUTE.unpack_from(body, at)
        if length < _ATTRIBUTE.size or at + length > len(body):
            break
        found[kind & 0x3FFF] = body[at + _ATTRIBUTE.size : at + length]  # the two top bits are flags
        at += length + 3 & ~3
    return found


def _number(value: bytes) -> int:
    return int.from_bytes(value, sys.byteorder)


def _text(value: bytes) -> str:
    return value.rstrip(b"\0").decode(errors="replace")


def link_from(body: bytes) -> LinkState | None:
    """Read the body of a link message; None if it is too short, or describes the port of a bridge."""
    if len(body) < _LINK.size:
        return None
    family, hardware, index, flags, _ = _LINK.unpack_from(body)
    if family == _BRIDGE:  # a "deleted link" of this family means that a port left its bridge
        return None
    attributes = _attributes(body, _LINK.size)
    mac = attributes.get(_IFLA_ADDRESS, b"")
    here = _IFLA_ELSEWHERE not in attributes
    return LinkState(
        index=index,
        name=_text(attributes.get(_IFLA_NAME, b"")),
        mac=int.from_bytes(mac, "big") if len(mac) == 6 else 0,
        up=bool(flags & _UP),
        carrier=bool(flags & _LOWER_UP),
        ethernet=hardware == _ETHERNET,
        loopback=bool(flags & _LOOPBACK),
        arp=not flags & _NO_ARP,
        parent=_number(attributes.get(_IFLA_PARENT, b"")) if here else 0,
        master=_number(attributes.get(_IFLA_MASTER, b"")),
        member_of=_text(_attributes(attributes.get(_IFLA_LINKINFO, b""), 0).get(_INFO_SLAVE_KIND, b"")),
    )


def _dump(kind: int, body: bytes, netlink: socket.socket) -> Iterator[bytes]:
    """Request a whole table and yield the body of each entry."""
    netlink.send(_HEAD.pack(_HEAD.size + len(body), kind, _REQUEST | _DUMP, 1, 0) + body)
    while True:
        for message in messages(netlink.recv(1 << 17)):
            if message.type == DONE:
                return
            if message.type == ERROR:
                raise error_from(message)
            yield message.body


def error_from(message: Message) -> OSError:
    """Return the error in an error message."""
    number = -int.from_bytes(message.body[:4], sys.byteorder, signed=True)
    return OSError(number, os.strerror(number))


def links() -> list[LinkState]:
    """Return all interfaces of this namespace."""
    with opened() as netlink:
        bodies = list(_dump(GETLINK, _LINK.pack(0, 0, 0, 0, 0), netlink))
    return [state for body in bodies if (state := link_from(body)) is not None]


def addresses() -> dict[int, list[tuple[int, int]]]:
    """Return all IPv4 addresses, secondary ones too, as (address, prefix length) by interface index."""
    found: dict[int, list[tuple[int, int]]] = {}
    with opened() as netlink:
        bodies = list(_dump(GETADDR, _ADDRESS.pack(socket.AF_INET, 0, 0, 0, 0), netlink))
    for body in bodies:
        if len(body) >= _ADDRESS.size:
            family, length, _, _, index = _ADDRESS.unpack_from(body)
            attributes = _attributes(body, _ADDRESS.size)
            own = attributes.get(
                2, attributes.get(1, b"")
            )  # IFA_LOCAL; on a point-to-point link IFA_ADDRESS is the far end
            if family == socket.AF_INET and len(own) == 4:
                found.setdefault(index, []).append((int.from_bytes(own, "big"), length))
    return found


def neighbours(index: int, netlink: socket.socket) -> dict[int, int]:
    """Return the resolved entries of the kernel's ARP table for an interface: the MAC by address."""
    found = {}
    for body in _dump(GETNEIGH, _NEIGHBOUR.pack(socket.AF_INET, 0, 0, 0, 0), netlink):
        if len(body) >= _NEIGHBOUR.size:
            family, at, state, _, _ = _NEIGHBOUR.unpack_from(body)
            attributes = _attributes(body, _NEIGHBOUR.size)
            address, mac = attributes.get(1, b""), attributes.get(2, b"")
            if (
                family == socket.AF_INET
                and at == index
                and not state & _NO_OWNER
                and (len(address), len(mac)) == (4, 6)
            ):
                found[int.from_bytes(address, "big")] = int.from_bytes(mac, "big")
    return found


@dataclass(frozen=True, slots=True)
class KernelRoute:
    """An IPv4 route: its prefix, the index of its outgoing interface, its gateway, its metric and its table.

    The gateway is 0 for none. Among routes to equal prefixes the lowest metric applies.
    """

    first: int
    length: int
    index: int
    gateway: int
    metric: int
    table: int


def routes() -> list[KernelRoute]:
    """Return all IPv4 unicast routes of all tables; a multipath route gives one route for each hop."""
    with opened() as netlink:
        bodies = list(_dump(GETROUTE, _ROUTE.pack(socket.AF_INET, 0, 0, 0, 0, 0, 0, 0, 0), netlink))
    return [route for body in bodies for route in routes_from(body)]


def routes_from(body: bytes) -> list[KernelRoute]:
    """Read the body of a route message; return no route if it is too short, or not for IPv4 unicast."""
    if len(body) < _ROUTE.size:
        return []
    family, length, _, _, table, _, _, kind, _ = _ROUTE.unpack_from(body)
    attributes = _attributes(body, _ROUTE.size)
    if (family, kind) != (socket.AF_INET, _UNICAST) or length > 32:
        return []
    first = int.from_bytes(attributes.get(_RTA_TO, b"")[:4], "big")
    metric, table = _number(attributes.get(_RTA_METRIC, b"")), _number(attributes.get(_RTA_TABLE, bytes([table])))
    return [
        KernelRoute(first, length, index, gateway, metric, table)
        for index, gateway in (_hops(attributes[_RTA_HOPS]) if _RTA_HOPS in attributes else [_hop(attributes)])
    ]


def _hop(attributes: dict[int, bytes]) -> tuple[int, int]:
    return _number(attributes.get(_RTA_INDEX, b"")), int.from_bytes(attributes.get(_RTA_GATEWAY, b"")[:4], "big")


def _hops(body: bytes) -> list[tuple[int, int]]:
    """Return the hops of a multipath route as (interface index, gateway)."""
    found, at = [], 0
    while at + _HOP.size <= len(body):
        length, _, _, index = _HOP.unpack_from(body, at)
        if length < _HOP.size or at + length > len(body):
            break
        _, gateway = _hop(_attributes(body[: at + length], at + _HOP.size))
        found.append((index, gateway))
        at += length + 3 & ~3
    return found
