"""Builds and reads frames as bytes: ARP (RFC 826) and ICMP echo (RFC 792) in IPv4 (RFC 791); reads LLDP (IEEE 802.1AB).

For listening it also reads the sender of IPv4, DHCP and BOOTP messages (RFC 2131, RFC 951), and whether a frame is
IPv6.

MACs and addresses are integers. Readers accept any bytes, check every length, and return None for a malformed frame.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import NamedTuple

from netcheck.addr import mac_text, quad

BROADCAST = 0xFFFF_FFFF_FFFF
ETHERTYPE_IPV4 = 0x0800  # RFC 7042 appendix B
ETHERTYPE_ARP = 0x0806
ETHERTYPE_LLDP = 0x88CC
REQUEST, REPLY = 1, 2  # RFC 826, ar$op
ECHO_REPLY, ECHO_REQUEST = 0, 8  # RFC 792
SHORTEST = 60  # bytes before the frame check sequence: RFC 894, 46 octets of data

_ARP = struct.Struct("!6s6sH HHBBH 6sI6sI")
_ETHERNET_IP = struct.Struct("!6s6sH BBHHHBBHII")
_ECHO = struct.Struct("!BBHHH")
_ETHERNET_IP_ECHO = struct.Struct("!6s6sH BBHHHBBHII BBHHH")


class Arp(NamedTuple):
    """An ARP packet for IPv4 on Ethernet, with the two Ethernet addresses of its frame."""

    destination: int
    source: int
    op: int
    sender_mac: int
    sender_ip: int
    target_mac: int
    target_ip: int


class Echo(NamedTuple):
    """An ICMP echo request or reply (`type`), with the Ethernet and IPv4 addresses of its frame."""

    destination: int
    source: int
    source_ip: int
    target_ip: int
    ttl: int
    type: int
    identifier: int
    sequence: int
    payload: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Lldp:
    """What a neighbour on this cable announces about itself; bridges do not forward LLDP.

    `ttl` is in seconds; 0 means that the neighbour is leaving. The texts come from outside: pass them through
    `netcheck.text.safe` before showing them.
    """

    source: int
    chassis: str
    port: str
    ttl: int
    port_description: str = ""
    system_name: str = ""
    address: int = 0  # its IPv4 management address, 0 if it sends none


def believable(mac: int) -> bool:
    """Return whether a MAC can belong to one host: it is neither zero nor a group address.

    RFC 1812 section 3.3.2 forbids accepting a group address from an ARP reply.
    """
    return mac != 0 and not mac >> 40 & 1


def checksum(data: bytes) -> int:
    """Return the Internet checksum of RFC 1071: the complement of the ones' complement sum of 16-bit words.

    That sum equals the data read as one number, modulo 2**16 - 1, since every power of 2**16 leaves 1. It is 0 only if
    all bytes are 0.
    """
    return _complement(_number(data))


def _number(data: bytes) -> int:
    number = int.from_bytes(data)
    return number << 8 if len(data) % 2 else number


def _complement(number: int) -> int:
    return 0xFFFF - (number % 0xFFFF or (0xFFFF if number else 0))


def padded(frame: bytes) -> bytes:
    """Fill a frame with zeros to the shortest length of Ethernet."""
    return frame.ljust(SHORTEST, b"\0")


def arp_to_wire(arp: Arp) -> bytes:
    """Return an ARP frame of 42 bytes, without padding."""
    to, source, op, sender_mac, sender_ip, target_mac, target_ip = arp
    return _ARP.pack(
        to.to_bytes(6, "big"), source.to_bytes(6, "big"), ETHERTYPE_ARP, 1, ETHERTYPE_IPV4, 6, 4, op,
        sender_mac.to_bytes(6, "big"), sender_ip, target_mac.to_bytes(6, "big"), target_ip,
    )  # fmt: skip


def arp_request(mac: int, sender_ip: int, target_ip: int, to: int = BROADCAST) -> bytes:
    """Return an ARP request; with sender 0 it is an ARP probe (RFC 5227 section 1.1), with `to` a unicast request."""
    return arp_to_wire(Arp(to, mac, REQUEST, mac, sender_ip, 0, target_ip))


def arp_reply(mac: int, sender_ip: int, to_mac: int, to_ip: int) -> bytes:
    """Return an ARP reply, unicast to the requester."""
    return arp_to_wire(Arp(to_mac, mac, REPLY, mac, sender_ip, to_mac, to_ip))


def echo_to_wire(echo: Echo, packet_id: int = 0) -> bytes:
    """Return an echo request or reply; `packet_id` is the IPv4 identification.

    The fields of each checksum are added as whole numbers, because a number of two words gives the same sum; see
    `checksum`.
    """
    to, source, source_ip, target_ip, ttl, kind, identifier, sequence, payload = echo
    length, whole = 28 + len(payload), 0x4000 if kind == ECHO_REQUEST else 0
    ip = 0x4500 + length + packet_id + whole + (ttl << 8 | 1) + source_ip + target_ip
    icmp = (kind << 8) + identifier + sequence + _number(payload)
    return _ETHERNET_IP_ECHO.pack(
        to.to_bytes(6, "big"), source.to_bytes(6, "big"), ETHERTYPE_IPV4,
        0x45, 0, length, packet_id, whole, ttl, 1, _complement(ip), source_ip, target_ip,
        kind, 0, _complement(icmp), identifier, sequence,
    ) + payload  # fmt: skip


def arp_from_wire(frame: bytes) -> Arp | None:
    """Read an ARP frame for IPv4 on Ethernet, or return None."""
    if frame[12:14] != b"\x08\x06" or len(frame) < _ARP.size:
        return None
    to, source, _, hrd, pro, hln, pln, op, sender, spa, target, tpa = _ARP.unpack_from(frame)
    if (hrd, pro, hln, pln) != (1, ETHERTYPE_IPV4, 6, 4) or op not in (REQUEST, REPLY):
        return None
    number = int.from_bytes  # big-endian, as the wire is
    return Arp(number(to), number(source), op, number(sender), spa, number(target), tpa)


def echo_from_wire(frame: bytes) -> Echo | None:
    """Read an ICMP echo request or reply in an unfragmented IPv4 packet whose checksums are right, or return None."""
    if len(frame) < 42 or frame[12:14] != b"\x08\x00" or frame[14] >> 4 != 4 or frame[23] != 1:
        return None
    to, source, _, version, _, total, _, fragment, ttl, _, _, source_ip, target_ip = _ETHERNET_IP.unpack_from(frame)
    header = (version & 15) * 4
    if header < 20 or total < header + 8 or len(frame) < 14 + total or fragment & 0x3FFF:
        return None
    packet = frame[14 : 14 + total]
    body = packet[header:]
    kind, code, _, identifier, sequence = _ECHO.unpack_from(body)
    if code or kind not in (ECHO_REPLY, ECHO_REQUEST) or checksum(packet[:header]) or checksum(body):
        return None
    return Echo(
        int.from_bytes(to), int.from_bytes(source), source_ip, target_ip, ttl,
        kind, identifier, sequence, body[8:],
    )  # fmt: skip


# TLV types and subtypes: IEEE 802.1AB. A MAC is subtype 4 in the chassis id and 3 in the port id, a network address 5
# and 4.
_CHASSIS, _PORT, _TTL, _PORT_DESCRIPTION, _SYSTEM_NAME, _MANAGEMENT = 1, 2, 3, 4, 5, 8
_CHASSIS_MAC, _CHASSIS_ADDRESS, _PORT_MAC, _PORT_ADDRESS = 4, 5, 3, 4


def lldp_from_wire(frame: bytes) -> Lldp | None:
    """Read an LLDP frame with the three mandatory TLVs in order, or return None.

    If a later TLV is repeated, the first counts.
    """
    if frame[12:14] != b"\x88\xcc":
        return None
    parts = _lldp_parts(frame)
    if parts is None or [kind for kind, _ in parts[:3]] != [_CHASSIS, _PORT, _TTL]:
        return None
    chassis, port, ttl = (value for _, value in parts[:3])
    if len(chassis) < 2 or len(port) < 2 or len(ttl) < 2:
        return None
    said = dict(reversed(parts[3:]))
    return Lldp(
        source=int.from_bytes(frame[6:12], "big"),
        chassis=_lldp_name(chassis, _CHASSIS_MAC, _CHASSIS_ADDRESS),
        port=_lldp_name(port, _PORT_MAC, _PORT_ADDRESS),
        ttl=int.from_bytes(ttl[:2], "big"),
        port_description=said.get(_PORT_DESCRIPTION, b"").decode(errors="replace"),
        system_name=said.get(_SYSTEM_NAME, b"").decode(errors="replace"),
        address=_lldp_address(chassis, parts),
    )


def _lldp_parts(frame: bytes) -> list[tuple[int, bytes]] | None:
    """Return all TLVs up to the end mark or the end of the frame; None if one is longer than the rest of the frame."""
    parts, at = [], 14
    while at + 2 <= len(frame):
        head = int.from_bytes(frame[at : at + 2], "big")
        kind, end = head >> 9, at + 2 + (head & 0x1FF)
        if kind == 0:
            break
        if end > len(frame):
            return None
        parts.append((kind, frame[at + 2 : end]))
        at = end
    return parts


def _lldp_name(value: bytes, mac: int, address: int) -> str:
    """Return a chassis or port ID as text; its subtype says whether it is a MAC, an IPv4 address (family 1) or text."""
    subtype, rest = value[0], value[1:]
    if subtype == mac and len(rest) == 6:
        return mac_text(int.from_bytes(rest, "big"))
    if subtype == address and len(rest) == 5 and rest[0] == 1:
        return quad(int.from_bytes(rest[1:], "big"))
    return rest.decode(errors="replace")


def _lldp_address(chassis: bytes, parts: list[tuple[int, bytes]]) -> int:
    """Return the first IPv4 management address, or the IPv4 address in the chassis ID, or 0.

    A management address is its length, family 1 and the address.
    """
    said = [value[1:6] for kind, value in parts if kind == _MANAGEMENT and value[:1] == b"\x05"]
    said += [chassis[1:]] if chassis[0] == _CHASSIS_ADDRESS else []
    return next((int.from_bytes(one[1:], "big") for one in said if len(one) == 5 and one[0] == 1), 0)


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

    `client` is the client's MAC. `has` is the address that the client uses, `gets` the address that the server gives
    it, `wants` the address that it requests; each is 0 if absent. `name` comes from outside. `type` is 0 in BOOTP.
    """

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
    """Return the first option of each code; reading ends at an option that is cut off."""
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
