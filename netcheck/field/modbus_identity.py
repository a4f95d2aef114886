"""Asks a device who it is, if the technician wants it: one TCP connection, one request, closed at once.

The request is Modbus/TCP Read Device Identification. The connection is the operating system's, so it needs an address
of this computer in the device's subnet. It is bound to the interface under test, and never uses a gateway.
"""

from __future__ import annotations

import socket
import struct
import sys
from dataclasses import dataclass
from random import SystemRandom
from time import monotonic

from netcheck.addr import mac_text, quad
from netcheck.text import safe
from netcheck.wire.linux import netlink
from netcheck.wire.modbus import LONGEST, PORT, Identity, Refusal, missing, reply_from_wire, request_to_wire

TIMEOUT = 2.0  # seconds in all
LONGEST_TEXT = 200  # characters of a device's text that are kept
_IP_UNICAST_IF = 31  # ws2ipdef.h: the interface by which packets leave


@dataclass(frozen=True, slots=True)
class Unknown:
    """The identity is not known; `why` is the reason, as the end of a sentence."""

    why: str


def ask_modbus(interface: str, source: int, target: int, timeout: float = TIMEOUT) -> Identity | Unknown:
    """Ask the device at a 32-bit address, from an address of this computer on an interface, for at most `timeout`
    seconds.

    Nothing that the device does, or does not do, raises an error."""
    deadline = monotonic() + timeout
    transaction = SystemRandom().randrange(0x10000)
    try:
        with _opened(interface, source) as connection:
            connection.settimeout(timeout)
            connection.connect((quad(target), PORT))
            connection.sendall(request_to_wire(transaction))
            said = _received(connection, deadline)
    except TimeoutError:
        return Unknown(f"it did not answer on TCP port {PORT} within {timeout:g} s")
    except ConnectionRefusedError:
        return Unknown(f"nothing listens on its TCP port {PORT}")
    except OSError as error:
        return Unknown(f"the system says: {error.strerror or error}")
    answer = reply_from_wire(said, transaction)
    if isinstance(answer, Refusal):
        return Unknown(f"it does not offer its identity (exception {answer.code})")
    return answer or Unknown(f"what answers on its TCP port {PORT} does not speak Modbus")


def _opened(interface: str, source: int) -> socket.socket:
    connection = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform == "linux":
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, interface.encode() + b"\0")
        if sys.platform == "win32":
            from netcheck.wire.windows.adapters import index_of

            connection.setsockopt(socket.IPPROTO_IP, _IP_UNICAST_IF, struct.pack("!I", index_of(interface) or 0))
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_DONTROUTE, 1)
        connection.bind((quad(source), 0))
    except OSError:
        connection.close()
        raise
    return connection


def _received(connection: socket.socket, deadline: float) -> bytes:
    """Return one reply, or the part that arrives before the far end closes; TimeoutError if that takes too long."""
    said = b""
    while (lacking := missing(said)) and len(said) < LONGEST:
        left = deadline - monotonic()
        if left <= 0:
            raise TimeoutError
        connection.settimeout(left)
        part = connection.recv(lacking)
        if not part:
            break
        said += part
    return said


def holder(interface: str, address: int) -> int | None:
    """Return the MAC by which this computer reached an address, from its neighbour table; None if it is not there."""
    try:
        if sys.platform == "win32":
            from netcheck.wire.windows.adapters import index_of
            from netcheck.wire.windows.iphlpapi import neighbours

            return neighbours(index_of(interface) or 0).get(address)
        elif sys.platform == "linux":  # noqa: RET505  # the type checker judges the branches by system
            index = socket.if_nametoindex(interface)
            with netlink.opened() as table:
                return netlink.neighbours(index, table).get(address)
        else:
            return None
    except OSError:
        return None


def to_evidence(answer: Identity | Unknown, expected: int, reached: int | None) -> tuple[tuple[str, str], ...]:
    """Return pairs for a proof: who the device says it is, or why that is not known.

    `expected` is the MAC under test, `reached` the one that the connection went to: the identity of another device does
    not count."""
    if reached is not None and reached != expected:
        return (("modbus", f"not counted: the connection went to {mac_text(reached)}"),)
    if isinstance(answer, Unknown):
        return (("modbus", f"not known: {safe(answer.why)}"),)
    texts = (("vendor", answer.vendor), ("product", answer.product), ("revision", answer.revision))
    return tuple((f"modbus {name}", safe(text.strip(), LONGEST_TEXT) or "not told") for name, text in texts)
