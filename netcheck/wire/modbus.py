"""Modbus/TCP Read Device Identification: the one request that netcheck can build, and what answers it.

Function 43, MEI type 14 of the MODBUS Application Protocol Specification V1.1b3 section 6.21, in the header (MBAP) of
the Messaging on TCP/IP Implementation Guide V1.0b; section numbers from memory, bytes as in scapy's contrib module.
No other function code is ever built. Readers take any bytes at all and check every length.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

PORT = 502  # TCP
LONGEST = 260  # bytes: a header of 7 and at most 253 of function and data, section 4.1
UNIT = 0xFF  # a device reached directly by TCP takes it for itself; from memory

_HEADER = struct.Struct("!HHHB")  # transaction, protocol 0, length of what follows it, unit
_ASKED = bytes((0x2B, 0x0E, 0x01, 0x00))  # function 43, MEI 14, basic objects, from the first
_EXCEPTION = 0x2B | 0x80
# Behind the header of 7 bytes: function, MEI, read code, conformity, more follows, next object, count, objects.
_MORE_AT, _COUNT_AT = 11, 13
_VENDOR, _PRODUCT, _REVISION = 0, 1, 2  # object ids; all three are mandatory


@dataclass(frozen=True, slots=True)
class Identity:
    """What a device says of itself. Texts are as sent, from outside: make them safe before showing them. An object that
    did not come is empty; `more` says that the device holds some back for a further request."""

    vendor: str
    product: str
    revision: str
    more: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """The device answers and does not offer its identity, by this exception code (1: the function is not known)."""

    code: int


def request_to_wire(transaction: int) -> bytes:
    """Build the request, 11 bytes; `transaction` is a number of 16 bits that the answer carries too."""
    return _HEADER.pack(transaction, 0, 1 + len(_ASKED), UNIT) + _ASKED


def missing(data: bytes) -> int:
    """How many bytes an answer that began so still lacks; 0 where it is whole, or can never be one."""
    if len(data) < _HEADER.size:
        return _HEADER.size - len(data)
    return max(0, _whole(data) - len(data))


def _whole(data: bytes) -> int:
    """The length of the frame that begins so; 0 where none begins like this."""
    _, protocol, length, _ = _HEADER.unpack_from(data)
    return 6 + int(length) if protocol == 0 and 3 <= length <= LONGEST - 6 else 0


def reply_from_wire(data: bytes, transaction: int) -> Identity | Refusal | None:
    """Read the answer to a request; None for anything else, also where an object is longer than what is there."""
    if missing(data) or not _whole(data) or data[:2] != transaction.to_bytes(2, "big"):
        return None
    said = data[: _whole(data)]
    if said[7] == _EXCEPTION:
        return Refusal(said[8])
    if len(said) <= _COUNT_AT or said[7:9] != _ASKED[:2]:
        return None
    objects = _objects(said)
    if objects is None:
        return None
    vendor, product, revision = (
        objects.get(one, b"").decode(errors="replace") for one in (_VENDOR, _PRODUCT, _REVISION)
    )
    return Identity(vendor, product, revision, more=said[_MORE_AT] == 0xFF)


def _objects(said: bytes) -> dict[int, bytes] | None:
    """As many objects as the answer counts, the first of each id; None where one is not wholly there."""
    found: dict[int, bytes] = {}
    at = _COUNT_AT + 1
    for _ in range(said[_COUNT_AT]):
        if at + 2 > len(said) or at + 2 + said[at + 1] > len(said):
            return None
        found.setdefault(said[at], said[at + 2 : at + 2 + said[at + 1]])
        at += 2 + said[at + 1]
    return found
