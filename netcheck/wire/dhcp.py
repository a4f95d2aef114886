"""Reads for listening: the sender of IPv4 (RFC 791), DHCP and BOOTP messages (RFC 2131, RFC 951), and that a frame is
IPv6.

Readers take any bytes, check every length, and return None for a frame that is not well formed. Nothing here builds a
frame.
"""

from __future__ import annotations

from dataclasses import dataclass

MAGIC = b"\x63\x82\x53\x63"  # RFC 2131 section 3: precedes the options
PORTS = (67, 68)  # server and client, RFC 2131 section 4.1
BOOTREQUEST, BOOTREPLY = 1, 2
ACK = 5  # RFC 2132 section 9.6
_FIXED = 236  # bytes before the options: RFC 2131 section 2
_PAD, _END, _HOST_NAME, _REQUESTED, _TYPE = 0, 255, 12, 50, 53  # RFC 2132 sections 3.1, 3.2, 3.14, 9.1 and 9.6
_UDP = 17


@dataclass(frozen=True, slots=True)
class Ip:
    """The two addresses of an IPv4 packet, with the source MAC of its frame."""

    source: int
    source_ip: int
    target_ip: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Dhcp:
    """A DHCP or BOOTP message.

    `client` is the client's MAC. `has` is the address that the client uses, `gets` the one that it is given, `wants`
    the one that it requests; each is 0 if absent. `name` comes from outside. `type` is 0 in BOOTP."""

    op: int
    type: int
    client: int
    has: int
    gets: int
    wants: int
    name: str


def ip_from_wire(frame: bytes) -> Ip | None:
    """Read the addresses of an IPv4 packet, or return None."""
    if len(frame) < 34 or frame[12:14] != b"\x08\x00" or frame[14] >> 4 != 4 or frame[14] & 15 < 5:
        return None
    number = int.from_bytes
    return Ip(number(frame[6:12], "big"), number(frame[26:30], "big"), number(frame[30:34], "big"))


def ipv6_from_wire(frame: bytes) -> bool:
    """Return whether a frame carries a whole IPv6 header (RFC 8200 section 3, RFC 2464 section 3)."""
    return len(frame) >= 54 and frame[12:14] == b"\x86\xdd" and frame[14] >> 4 == 6


def dhcp_from_wire(frame: bytes) -> Dhcp | None:
    """Read a DHCP or BOOTP message for Ethernet in an unfragmented UDP packet, or return None."""
    data = _udp_data(frame)
    if len(data) < _FIXED or data[0] not in (BOOTREQUEST, BOOTREPLY) or data[1:3] != b"\x01\x06":
        return None
    options = _options(data[_FIXED + 4 :]) if data[_FIXED : _FIXED + 4] == MAGIC else {}
    number = int.from_bytes
    wants = options.get(_REQUESTED, b"")
    return Dhcp(
        op=data[0],
        type=number(options.get(_TYPE, b"")[:1], "big"),
        client=number(data[28:34], "big"),
        has=number(data[12:16], "big"),
        gets=number(data[16:20], "big"),
        wants=number(wants, "big") if len(wants) == 4 else 0,
        name=options.get(_HOST_NAME, b"").rstrip(b"\0").decode(errors="replace"),
    )


def _udp_data(frame: bytes) -> bytes:
    """Return the payload of a UDP packet between the ports of DHCP; empty for anything else."""
    if ip_from_wire(frame) is None or frame[23] != _UDP or int.from_bytes(frame[20:22], "big") & 0x3FFF:
        return b""
    transport = 14 + (frame[14] & 15) * 4
    ports = frame[transport : transport + 2], frame[transport + 2 : transport + 4]
    if len(frame) < transport + 8 or {int.from_bytes(port, "big") for port in ports} - set(PORTS):
        return b""
    length = int.from_bytes(frame[transport + 4 : transport + 6], "big")
    return frame[transport + 8 : transport + length]


def _options(data: bytes) -> dict[int, bytes]:
    """Return the first option of each code, up to one that is cut off."""
    found: dict[int, bytes] = {}
    at = 0
    while at < len(data) and data[at] != _END:
        if data[at] == _PAD:
            at += 1
            continue
        end = at + 2 + (data[at + 1] if at + 1 < len(data) else len(data))
        if end > len(data):
            break
        found.setdefault(data[at], data[at + 2 : end])
        at = end
    return found
