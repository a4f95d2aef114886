"""Builds the Modbus/TCP request Read Device Identification, and reads its reply.

It is function 43, MEI type 14 of the MODBUS Application Protocol Specification V1.1b3 section 6.21, in the header
(MBAP) of the Messaging on TCP/IP Implementation Guide V1.0b. Section numbers are from memory; the bytes agree with
scapy's contrib module. No other function code is ever built. Readers accept any bytes and check every length.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

PORT = 502  # TCP
LONGEST = 260  # bytes: a header of 7 and at most 253 of function and data, section 4.1
UNIT = 0xFF  # the device itself, if it is connected directly by TCP; from memory

_HEADER = struct.Struct("!HHHB")  # transaction, protocol 0, length of the rest, unit
_ASKED = bytes((0x2B, 0x0E, 0x01, 0x00))  # function 43, MEI 14, basic objects, from the first
_EXCEPTION = 0x2B | 0x80
# After the header of 7 bytes: function, MEI, read code, conformity, more follows, next object, count, objects.
_MORE_AT, _COUNT_AT = 11, 13
_VENDOR, _PRODUCT, _REVISION = 0, 1, 2  # object ids; all three are mandatory


@dataclass(frozen=True, slots=True)
class Identity:
    """The identity that a device reports; a missing object is empty. `more` is True if the device has further objects.

    The texts come from outside: pass them through `netcheck.text.safe` before showing them.
    """

    vendor: str
    product: str
    revision: str
    more: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """The device replies but does not give its identity; `code` is the exception code (1: unknown function)."""

    code: int


def request_to_wire(transaction: int) -> bytes:
    """Return the request, 11 bytes; `transaction` is a 16-bit number that the reply repeats."""
    return _HEADER.pack(transaction, 0, 1 + len(_ASKED), UNIT) + _ASKED


def missing(data: bytes) -> int:
    """Return how many bytes are missing from the end of a reply; 0 if it is complete, or if it is not a reply."""
    if len(data) < _HEADER.size:
        return _HEADER.size - len(data)
    return max(0, _whole(data) - len(data))


def _whole(data: bytes) -> int:
    """Return the length of a frame from its first bytes; 0 if they do not begin a frame."""
    _, protocol, length, _ = _HEADER.unpack_from(data)
    return 6 + int(length) if protocol == 0 and 3 <= length <= LONGEST - 6 else 0


def reply_from_wire(data: bytes, transaction: int) -> Identity | Refusal | None:
    """Read the reply to a request; None for other data, and for a reply with an object that is cut off."""
    if missing(data) or not _whole(data) or data[:2] != transaction.to_bytes(2, "big"):
        return None
    reply = data[: _whole(data)]
    if reply[7] == _EXCEPTION:
        return Refusal(reply[8])
    if len(reply) <= _COUNT_AT or reply[7:9] != _ASKED[:2]:
        return None
    objects = _objects(reply)
    if objects is None:
        return None
    vendor, product, revision = (
        objects.get(one, b"").decode(errors="replace") for one in (_VENDOR, _PRODUCT, _REVISION)
    )
    return Identity(vendor, product, revision, more=reply[_MORE_AT] == 0xFF)


def _objects(reply: bytes) -> dict[int, bytes] | None:
    """Return the first object of each ID in a reply; None if an object is cut off."""
    found: dict[int, bytes] = {}
    at = _COUNT_AT + 1
    for _ in range(reply[_COUNT_AT]):
        if at + 2 > len(reply) or at + 2 + reply[at + 1] > len(reply):
            return None
        found.setdefault(reply[at], reply[at + 2 : at + 2 + reply[at + 1]])
        at += 2 + reply[at + 1]
    return found
