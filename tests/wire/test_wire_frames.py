"""Tests frames against published vectors and scapy's builders and dissectors, and with damaged bytes."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scapy.layers.inet import ICMP, IP, UDP, IPOption_NOP
from scapy.layers.l2 import ARP, Dot1Q, Ether
from scapy.packet import Raw

from netcheck.wire.frames import (
    BROADCAST,
    ECHO_REPLY,
    ECHO_REQUEST,
    REPLY,
    REQUEST,
    SHORTEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_reply,
    arp_request,
    arp_to_wire,
    believable,
    checksum,
    echo_from_wire,
    echo_to_wire,
    lldp_from_wire,
    padded,
)

TESTER, TESTER_IP = 0x00005E005301, 0xC0000201
DEVICE, DEVICE_IP = 0x00005E005314, 0xC0000214

# Built with scapy 2.8.0 and their checksums verified by independent code; addresses of RFC 5737 and RFC 7042.
VECTOR_REQUEST = bytes.fromhex(
    "ffff ffff ffff 0000 5e00 5301 0806 0001 0800 0604 0001 0000 5e00 5301 c000 0201 0000 0000 0000 c000 0214"
)
VECTOR_REPLY = bytes.fromhex(
    "0000 5e00 5301 0000 5e00 5314 0806 0001 0800 0604 0002 0000 5e00 5314 c000 0214 0000 5e00 5301 c000 0201"
)
VECTOR_PROBE = bytes.fromhex(
    "ffff ffff ffff 0000 5e00 5301 0806 0001 0800 0604 0001 0000 5e00 5301 0000 0000 0000 0000 0000 c000 0214"
)
VECTOR_ANNOUNCEMENT = bytes.fromhex(
    "ffff ffff ffff 0000 5e00 5314 0806 0001 0800 0604 0001 0000 5e00 5314 c000 0214 0000 0000 0000 c000 0214"
)
VECTOR_VLAN = bytes.fromhex(
    "ffff ffff ffff 0000 5e00 5301 8100 0064 0806 0001 0800 0604 0001 0000 5e00 5301 c000 0201 0000 0000 0000 c000 0214"
)
VECTOR_ECHO = bytes.fromhex(
    "0000 5e00 5314 0000 5e00 5301 0800 4500 0024 0001 4000 4001 b6c2 c000 0201 c000 0214 0800 3731 1234 0001 "
    "6e65 7463 6865 636b"
)
VECTOR_ECHO_REPLY = bytes.fromhex(
    "0000 5e00 5301 0000 5e00 5314 0800 4500 0024 0002 0000 4001 f6c1 c000 0214 c000 0201 0000 3f31 1234 0001 "
    "6e65 7463 6865 636b"
)
VECTOR_UNREACHABLE = bytes.fromhex(
    "0000 5e00 5301 0000 5e00 53fe 0800 4500 0038 0003 0000 4001 f5c2 c000 02fe c000 0201 0301 ab98 0000 0000 4500 "
    "0024 0001 4000 4001 b6c2 c000 0201 c000 0214 0800 3731 1234 0001"
)
VECTOR_LLDP = bytes.fromhex(
    "0180 c200 000e 0000 5e00 5314 88cc 0207 0400 005e 0053 1404 0305 7031 0602 0078 0a05 706c 632d 6100 0000"
).ljust(60, b"\0")
# A gratuitous ARP request as printed on a public packet-analyser's page; its target MAC is all ones.
PUBLISHED_GRATUITOUS = bytes.fromhex(
    "ffff ffff ffff 0202 0202 0202 0806 0001 0800 0604 0001 0202 0202 0202 c0a8 0101 ffff ffff ffff c0a8 0101"
).ljust(60, b"\0")

macs = st.integers(0, BROADCAST)
addresses = st.integers(0, 0xFFFFFFFF)
words = st.integers(0, 0xFFFF)
arps = st.builds(Arp, macs, macs, st.sampled_from([REQUEST, REPLY]), macs, addresses, macs, addresses)
echoes = st.builds(
    Echo, macs, macs, addresses, addresses, st.integers(0, 255), st.sampled_from([ECHO_REPLY, ECHO_REQUEST]),
    words, words, st.binary(max_size=1472),
)  # fmt: skip


def colons(mac: int) -> str:
    """Return a MAC as scapy writes it."""
    return mac.to_bytes(6, "big").hex(":")


def dotted(address: int) -> str:
    """Return an address as the standard library writes it."""
    return str(ipaddress.IPv4Address(address))


@pytest.mark.parametrize(
    ("built", "vector"),
    [
        pytest.param(arp_request(TESTER, TESTER_IP, DEVICE_IP), VECTOR_REQUEST, id="request"),
        pytest.param(arp_reply(DEVICE, DEVICE_IP, TESTER, TESTER_IP), VECTOR_REPLY, id="reply"),
        pytest.param(arp_request(TESTER, 0, DEVICE_IP), VECTOR_PROBE, id="probe"),
        pytest.param(arp_request(DEVICE, DEVICE_IP, DEVICE_IP), VECTOR_ANNOUNCEMENT, id="announcement"),
        pytest.param(
            echo_to_wire(Echo(DEVICE, TESTER, TESTER_IP, DEVICE_IP, 64, 8, 0x1234, 1, b"netcheck"), 1),
            VECTOR_ECHO,
            id="echo request",
        ),
        pytest.param(
            echo_to_wire(Echo(TESTER, DEVICE, DEVICE_IP, TESTER_IP, 64, 0, 0x1234, 1, b"netcheck"), 2),
            VECTOR_ECHO_REPLY,
            id="echo reply",
        ),
    ],
)
def test_built_frames_are_the_vectors(built: bytes, vector: bytes) -> None:
    """Frames are byte for byte those that scapy built for the same values."""
    assert built == vector


@pytest.mark.parametrize(
    ("vector", "arp"),
    [
        pytest.param(VECTOR_REQUEST, Arp(BROADCAST, TESTER, 1, TESTER, TESTER_IP, 0, DEVICE_IP), id="request"),
        pytest.param(VECTOR_REPLY, Arp(TESTER, DEVICE, 2, DEVICE, DEVICE_IP, TESTER, TESTER_IP), id="reply"),
        pytest.param(VECTOR_PROBE, Arp(BROADCAST, TESTER, 1, TESTER, 0, 0, DEVICE_IP), id="probe"),
        pytest.param(
            VECTOR_ANNOUNCEMENT, Arp(BROADCAST, DEVICE, 1, DEVICE, DEVICE_IP, 0, DEVICE_IP), id="announcement"
        ),
        pytest.param(
            PUBLISHED_GRATUITOUS,
            Arp(BROADCAST, 0x020202020202, 1, 0x020202020202, 0xC0A80101, BROADCAST, 0xC0A80101),
            id="published gratuitous",
        ),
        pytest.param(VECTOR_VLAN, None, id="tagged for a VLAN"),
        pytest.param(VECTOR_ECHO, None, id="echo"),
        pytest.param(VECTOR_LLDP, None, id="lldp"),
    ],
)
def test_arp_vectors_are_read(vector: bytes, arp: Arp | None) -> None:
    """Published ARP frames give their fields, with and without padding; other ARP gives None."""
    assert arp_from_wire(vector) == arp
    assert arp_from_wire(padded(vector)) == arp


@pytest.mark.parametrize(
    ("vector", "echo"),
    [
        pytest.param(
            VECTOR_ECHO, Echo(DEVICE, TESTER, TESTER_IP, DEVICE_IP, 64, 8, 0x1234, 1, b"netcheck"), id="request"
        ),
        pytest.param(
            VECTOR_ECHO_REPLY, Echo(TESTER, DEVICE, DEVICE_IP, TESTER_IP, 64, 0, 0x1234, 1, b"netcheck"), id="reply"
        ),
        pytest.param(VECTOR_UNREACHABLE, None, id="host unreachable"),
        pytest.param(VECTOR_REPLY, None, id="arp"),
    ],
)
def test_echo_vectors_are_read(vector: bytes, echo: Echo | None) -> None:
    """Echo frames give their fields, with and without padding; other ICMP gives None."""
    assert echo_from_wire(vector) == echo
    assert echo_from_wire(padded(vector)) == echo


@pytest.mark.parametrize(
    ("data", "total"),
    [
        pytest.param("0001 f203 f4f5 f6f7", 0x220D, id="RFC 1071 section 3"),
        pytest.param("4500 0073 0000 4000 4011 0000 c0a8 0001 c0a8 00c7", 0xB861, id="widely printed IPv4 header"),
        pytest.param("4500 0073 0000 4000 4011 b861 c0a8 0001 c0a8 00c7", 0, id="the same, verified"),
        pytest.param("", 0xFFFF, id="nothing"),
        pytest.param("ff", 0x00FF, id="odd length: padded with a zero, RFC 1071 section 4.1"),
        pytest.param("5555 cd7a", 0xDD2F, id="RFC 1624 section 4, old header"),
        pytest.param("3285 cd7a", 0, id="RFC 1624 section 4, new header"),
    ],
)
def test_checksum_of_published_examples(data: str, total: int) -> None:
    """The Internet checksum of RFC 1071, on its own example (sum ddf2) and on others."""
    assert checksum(bytes.fromhex(data)) == total


def test_checksum_of_parts_with_an_odd_length() -> None:
    """RFC 1071 section 3, last example: f201 and, swapped, ebf0 make ddf2 again."""
    first, second = bytes.fromhex("0001 f2"), bytes.fromhex("03 f4f5 f6f7")
    one, other = checksum(first) ^ 0xFFFF, checksum(second) ^ 0xFFFF
    assert (one, other) == (0xF201, 0xF0EB)
    swapped = (other & 0xFF) << 8 | other >> 8
    assert swapped == 0xEBF0
    assert (one + swapped & 0xFFFF) + (one + swapped >> 16) == 0xDDF2


@settings(deadline=None)
@given(arps)
def test_scapy_reads_the_arp_built_here(arp: Arp) -> None:
    """scapy's dissector finds every field, and builds the same bytes from them."""
    frame = arp_to_wire(arp)
    seen = Ether(frame)
    assert (seen.dst, seen.src, seen.type) == (colons(arp.destination), colons(arp.source), 0x0806)
    assert (seen[ARP].op, seen[ARP].hwsrc, seen[ARP].psrc) == (arp.op, colons(arp.sender_mac), dotted(arp.sender_ip))
    assert (seen[ARP].hwdst, seen[ARP].pdst) == (colons(arp.target_mac), dotted(arp.target_ip))
    rebuilt = Ether(dst=seen.dst, src=seen.src) / ARP(
        op=arp.op, hwsrc=seen[ARP].hwsrc, psrc=seen[ARP].psrc, hwdst=seen[ARP].hwdst, pdst=seen[ARP].pdst
    )
    assert bytes(rebuilt) == frame


@settings(deadline=None)
@given(arps, st.binary(max_size=30))
def test_arp_reads_back_with_any_padding(arp: Arp, padding: bytes) -> None:
    """Padding is not part of the packet, whatever its content."""
    assert arp_from_wire(arp_to_wire(arp) + padding) == arp


@settings(deadline=None)
@given(echoes, words)
@example(Echo(1, 2, 0, 0, 0, ECHO_REPLY, 0, 0, b""), 0)
def test_scapy_reads_the_echo_built_here(echo: Echo, packet_id: int) -> None:
    """scapy's dissector finds every field, and computes the same checksums."""
    frame = echo_to_wire(echo, packet_id)
    seen = Ether(frame)
    assert (seen.dst, seen.src) == (colons(echo.destination), colons(echo.source))
    assert (seen[IP].src, seen[IP].dst) == (dotted(echo.source_ip), dotted(echo.target_ip))
    assert (seen[IP].ttl, seen[IP].proto, seen[IP].id, seen[IP].len) == (echo.ttl, 1, packet_id, len(frame) - 14)
    assert (seen[ICMP].type, seen[ICMP].id, seen[ICMP].seq) == (echo.type, echo.identifier, echo.sequence)
    assert bytes(seen[ICMP].payload) == echo.payload
    found = seen[IP].chksum, seen[ICMP].chksum
    del seen[IP].chksum, seen[ICMP].chksum
    again = Ether(bytes(seen))
    assert (again[IP].chksum, again[ICMP].chksum) == found


@settings(deadline=None)
@given(echoes, st.binary(max_size=30), st.booleans())
def test_echo_built_by_scapy_is_read(echo: Echo, padding: bytes, options: bool) -> None:
    """Echo frames from scapy's builder, with and without IP options, give the values that were put in."""
    frame = bytes(
        Ether(dst=colons(echo.destination), src=colons(echo.source))
        / IP(
            src=dotted(echo.source_ip), dst=dotted(echo.target_ip), ttl=echo.ttl,
            options=[IPOption_NOP()] * 4 if options else [],
        )
        / ICMP(type=echo.type, id=echo.identifier, seq=echo.sequence)
        / Raw(echo.payload)
    )  # fmt: skip
    assert echo_from_wire(frame + padding) == echo


@pytest.mark.parametrize(
    "packet",
    [
        pytest.param(IP(flags="MF") / ICMP() / b"xxxxxxxx", id="first fragment"),
        pytest.param(IP(frag=185) / ICMP() / b"xxxxxxxx", id="later fragment"),
        pytest.param(IP(proto=17) / ICMP(), id="another protocol"),
        pytest.param(IP() / UDP() / b"xxxxxxxx", id="UDP"),
        pytest.param(IP(version=6) / ICMP(), id="version 6 in the header"),
        pytest.param(IP(chksum=1) / ICMP(), id="wrong header checksum"),
        pytest.param(IP() / ICMP(chksum=1), id="wrong ICMP checksum"),
        pytest.param(IP() / ICMP(type=8, code=1), id="code not 0"),
        pytest.param(IP() / ICMP(type=13), id="timestamp request"),
        pytest.param(IP(len=27) / ICMP(), id="too short for ICMP"),
        pytest.param(IP(len=2000) / ICMP(), id="longer than the frame"),
        pytest.param(IP(ihl=4) / ICMP(), id="header shorter than a header"),
        pytest.param(IP(ihl=15) / ICMP(), id="header longer than the packet"),
        pytest.param(Dot1Q(vlan=100) / IP() / ICMP(), id="tagged"),
    ],
)
def test_malformed_or_foreign_ip_is_no_echo(packet: object) -> None:
    """A packet that is incomplete or malformed is not read as echo (RFC 791, RFC 792)."""
    frame = bytes(Ether(dst=colons(TESTER), src=colons(DEVICE)) / packet)
    assert echo_from_wire(padded(frame)) is None


@pytest.mark.parametrize(
    ("at", "value"),
    [
        pytest.param(14, b"\x00\x06", id="hardware type not Ethernet"),
        pytest.param(16, b"\x86\xdd", id="protocol not IPv4"),
        pytest.param(18, b"\x08", id="hardware length"),
        pytest.param(19, b"\x10", id="protocol length"),
        pytest.param(20, b"\x00\x03", id="reverse ARP request"),
        pytest.param(20, b"\x00\x00", id="operation 0"),
    ],
)
def test_other_arp_is_not_read(at: int, value: bytes) -> None:
    """ARP for other hardware, protocols or operations is not read (RFC 826)."""
    frame = bytearray(VECTOR_REQUEST)
    frame[at : at + len(value)] = value
    assert arp_from_wire(bytes(frame)) is None


@pytest.mark.parametrize(
    ("mac", "believed"),
    [
        pytest.param(DEVICE, True, id="documentation unicast, RFC 7042 section 2.1.2"),
        pytest.param(0x01005E901000, False, id="documentation multicast, RFC 7042 section 2.1.2"),
        pytest.param(BROADCAST, False, id="broadcast"),
        pytest.param(0, False, id="zeros"),
        pytest.param(0x020000000001, True, id="locally administered"),
    ],
)
def test_group_addresses_are_not_accepted(mac: int, believed: bool) -> None:
    """A broadcast or multicast MAC in an ARP reply is not accepted (RFC 1812 section 3.3.2)."""
    assert believable(mac) is believed


@settings(deadline=None)
@given(
    st.sampled_from([VECTOR_REQUEST, VECTOR_REPLY, VECTOR_ECHO, VECTOR_ECHO_REPLY, VECTOR_UNREACHABLE, VECTOR_LLDP]),
    st.lists(st.tuples(st.integers(0, 80), st.integers(0, 255)), max_size=4),
    st.integers(0, 80),
    st.binary(max_size=20),
)
def test_damaged_frames_raise_no_error(vector: bytes, changes: list[tuple[int, int]], cut: int, tail: bytes) -> None:
    """A cut, extended or changed frame gives complete values or None, and the values build the same frame again."""
    frame = bytearray(vector[:cut] + tail)
    for at, value in changes:
        if at < len(frame):
            frame[at] = value
    arp, echo, found = arp_from_wire(bytes(frame)), echo_from_wire(bytes(frame)), lldp_from_wire(bytes(frame))
    assert [arp, echo, found].count(None) >= 2
    if arp is not None:
        assert arp_to_wire(arp) == frame[:42]
    if echo is not None:
        assert echo_from_wire(echo_to_wire(echo)) == echo


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_random_bytes_raise_no_error(noise: bytes) -> None:
    """No bytes raise an error, also after the EtherType of each kind."""
    for head in (b"", VECTOR_REQUEST[:14], VECTOR_ECHO[:14], VECTOR_ECHO[:34], VECTOR_LLDP[:14]):
        frame = head + noise
        assert [arp_from_wire(frame), echo_from_wire(frame), lldp_from_wire(frame)].count(None) >= 2


@pytest.mark.parametrize(("given_size", "size"), [(0, 60), (42, 60), (60, 60), (61, 61), (1514, 1514)])
def test_padding_to_the_shortest_frame(given_size: int, size: int) -> None:
    """RFC 894: at least 46 octets of data after 14 of header, filled with zeros."""
    frame = padded(b"\x01" * given_size)
    assert (len(frame), SHORTEST) == (size, 60)
    assert frame == b"\x01" * given_size + b"\0" * (size - given_size)
