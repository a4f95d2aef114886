"""Asking a device who it is, where the technician says so: one TCP connection, one question, closed at once.

Only Modbus/TCP Read Device Identification is spoken. The connection is the operating system's own, so it needs an
address of this computer in the device's subnet; it is bound to the interface under test, and never goes by a gateway.
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

TIMEOUT = 2.0  # seconds for all of it
_IP_UNICAST_IF = 31  # ws2ipdef.h: the interface by which packets leave
LONGEST_TEXT = 200  # characters of a device's own words that are kept


@dataclass(frozen=True, slots=True)
class Unknown:
    """No identity was learned; `why` is the reason, as the end of a sentence."""

    why: str


def ask_modbus(interface: str, source: int, target: int, timeout: float = TIMEOUT) -> Identity | Unknown:
    """Ask a device, by its 32-bit address, from this computer's own address on an interface; waits at most `timeout`
    seconds. Nothing that the device does or leaves undone is an error."""
    deadline = monotonic() + timeout
    transaction = SystemRandom().randrange(0x10000)
    try:
        with _opened(interface, source) as connection:
            connection.settimeout(timeout)
            connection.connect((quad(target), PORT))
            connection.sendall(request_to_wire(transaction))
            said = _received(connection, deadline)
    except TimeoutError:
        return Unknown(f"it gave no answer on TCP port {PORT} within {timeout:g} s")
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
    """One answer, or as much of it as comes before the far end closes; TimeoutError where it drips too long."""
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
    """The MAC by which this computer reached an address, as its own table has it; None where it does not tell."""
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
    """Pairs for a proof: who the device says it is, or why that is not known. `expected` is the MAC under test and
    `reached` the one that the connection went to: words of another device are not counted."""
    if reached is not None and reached != expected:
        return (("modbus", f"not counted: the connection went to {mac_text(reached)}"),)
    if isinstance(answer, Unknown):
        return (("modbus", f"not known: {safe(answer.why)}"),)
    texts = (("vendor", answer.vendor), ("product", answer.product), ("revision", answer.revision))
    return tuple((f"modbus {name}", safe(text.strip(), LONGEST_TEXT) or "not told") for name, text in texts)
