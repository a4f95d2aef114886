"""Asks a device for its identity (`--ask-modbus`): one TCP connection with one request, closed at once.

The request is Modbus/TCP Read Device Identification. The operating system opens the connection, so this computer needs
an address in the device's subnet. The connection is bound to the interface under test and uses no gateway.
"""

from __future__ import annotations

import socket
import struct
import sys
from dataclasses import dataclass
from random import SystemRandom
from time import monotonic

from netcheck.addr import mac_text, quad
from netcheck.proof.result import Proof, Verdict
from netcheck.proof.targets import Scope
from netcheck.text import safe
from netcheck.wire.link import Adapter
from netcheck.wire.linux import netlink
from netcheck.wire.modbus import LONGEST, PORT, Identity, Refusal, missing, reply_from_wire, request_to_wire

TIMEOUT = 2.0  # seconds in all
LONGEST_TEXT = 200  # characters of a device's text that are kept
# The options that bind a socket to an interface: IP_UNICAST_IF of ws2ipdef.h, IP_BOUND_IF of netinet/in.h.
_BY_INDEX_ON_WINDOWS, _BY_INDEX_ON_MACOS = 31, 25


@dataclass(frozen=True, slots=True)
class Unknown:
    """The identity is not known; `why` is the reason, as the end of a sentence."""

    why: str


def ask_modbus(interface: str, source: int, target: int, timeout: float = TIMEOUT) -> Identity | Unknown:
    """Ask the device at `target` from this computer's address `source`, for at most `timeout` seconds.

    Both are 32-bit addresses. No reply or silence of the device raises an error.
    """
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

            connection.setsockopt(socket.IPPROTO_IP, _BY_INDEX_ON_WINDOWS, struct.pack("!I", index_of(interface) or 0))
        if sys.platform == "darwin":
            connection.setsockopt(socket.IPPROTO_IP, _BY_INDEX_ON_MACOS, socket.if_nametoindex(interface))
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_DONTROUTE, 1)
        connection.bind((quad(source), 0))
    except OSError:
        connection.close()
        raise
    return connection


def _received(connection: socket.socket, deadline: float) -> bytes:
    """Return one reply, or the part that arrives before the device closes. Raises TimeoutError at the deadline."""
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
    """Return the MAC that this computer's neighbour table has for an address; None if it has none."""
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
            from netcheck.wire.macos import neighbours as listed_by_macos

            return listed_by_macos(interface).get(address)
    except OSError:
        return None


def to_evidence(answer: Identity | Unknown, expected: int, reached: int | None) -> tuple[tuple[str, str], ...]:
    """Return evidence for a proof as (name, text): the identity of the device, or why it is not known.

    `expected` is the MAC under test, and `reached` the MAC that the connection went to. The identity of another device
    does not count.
    """
    if reached is not None and reached != expected:
        return (("modbus", f"not counted: the connection went to {mac_text(reached)}"),)
    if isinstance(answer, Unknown):
        return (("modbus", f"not known: {safe(answer.why)}"),)
    texts = (("vendor", answer.vendor), ("product", answer.product), ("revision", answer.revision))
    return tuple((f"modbus {name}", safe(text.strip(), LONGEST_TEXT) or "not told") for name, text in texts)


class Identifier:
    """Adds the identity of a device to its proof, or why it was not asked. Each call takes at most 2 s."""

    def __init__(self, adapter: Adapter, aim: Scope) -> None:
        self._adapter = adapter
        self._targets = {target.subject: target for target in aim.asked}
        self._aim = aim

    def evidence(self, proof: Proof) -> tuple[tuple[str, str], ...]:
        """Return evidence to add to a proof as (name, text); empty for a port that is not proven."""
        target = self._targets.get(proof.subject)
        if proof.verdict not in (Verdict.PROVEN, Verdict.WRONG_SETTINGS) or proof.mac is None or target is None:
            return ()
        net = self._aim.net(target.subnet)
        own = [address for address, _ in self._adapter.addresses if net.holds(address)]
        if not own:
            return (("modbus", f"not asked: this computer has no address of its own in subnet {net.name}"),)
        answer = ask_modbus(self._adapter.name, own[0], target.address)
        return to_evidence(answer, proof.mac, holder(self._adapter.name, target.address))
