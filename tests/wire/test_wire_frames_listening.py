"""IPv4 addresses and DHCP or BOOTP messages, read from frames that scapy builds and from damaged ones."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether
from scapy.packet import Raw

from netcheck.wire.frames import ACK, BOOTREPLY, BOOTREQUEST, Dhcp, Ip, dhcp_from_wire, ip_from_wire

DEVICE = 0x00005E005314
MAC, GATEWAY = "00:00:5e:00:53:14", "00:00:5e:00:53:fe"  # a frame without a destination makes scapy ask the network


def request(*options: object, ciaddr: str = "0.0.0.0") -> bytes:
    """Return a client's message as scapy builds it (RFC 2131 section 2)."""
    return bytes(
        Ether(src=MAC, dst="ff:ff:ff:ff:ff:ff")
        / IP(src="0.0.0.0", dst="255.255.255.255")
        / UDP(sport=68, dport=67)
        / BOOTP(chaddr=bytes.fromhex(MAC.replace(":", "")), ciaddr=ciaddr)
        / DHCP(options=[*options, "end"])
    )


def test_the_ends_of_a_packet() -> None:
    """The addresses of an IPv4 header with and without options (RFC 791 section 3.1)."""
    plain = Ether(src=MAC, dst=GATEWAY) / IP(src="192.0.2.20", dst="192.0.2.1") / Raw(b"x" * 40)
    assert ip_from_wire(bytes(plain)) == Ip(DEVICE, 0xC0000214, 0xC0000201)
    assert ip_from_wire(bytes(plain)[:33]) is None
    assert ip_from_wire(bytes(Ether(src=MAC, dst=GATEWAY, type=0x86DD)) + b"\x60" + b"\0" * 60) is None


@pytest.mark.parametrize(
    ("frame", "seen"),
    [
        pytest.param(
            request(("message-type", "discover"), ("requested_addr", "192.0.2.20"), ("hostname", b"press-3")),
            Dhcp(op=BOOTREQUEST, type=1, client=DEVICE, has=0, gets=0, wants=0xC0000214, name="press-3"),
            id="discover",
        ),
        pytest.param(
            request(("message-type", "request"), ciaddr="192.0.2.20"),
            Dhcp(op=BOOTREQUEST, type=3, client=DEVICE, has=0xC0000214, gets=0, wants=0, name=""),
            id="renewing",
        ),
        pytest.param(
            bytes(
                Ether(src=GATEWAY, dst=MAC)
                / IP(src="192.0.2.1", dst="192.0.2.20")
                / UDP(sport=67, dport=68)
                / BOOTP(op=2, chaddr=bytes.fromhex(MAC.replace(":", "")), yiaddr="192.0.2.20")
                / DHCP(options=[("message-type", "ack"), "end"])
            ),
            Dhcp(op=BOOTREPLY, type=ACK, client=DEVICE, has=0, gets=0xC0000214, wants=0, name=""),
            id="acknowledged",
        ),
        pytest.param(
            bytes(
                Ether(src=MAC, dst="ff:ff:ff:ff:ff:ff")
                / IP(src="0.0.0.0", dst="255.255.255.255")
                / UDP(sport=68, dport=67)
                / BOOTP(chaddr=bytes.fromhex(MAC.replace(":", "")), options=b"")
            ),
            Dhcp(op=BOOTREQUEST, type=0, client=DEVICE, has=0, gets=0, wants=0, name=""),
            id="BOOTP without options (RFC 951)",
        ),
    ],
)
def test_dhcp_and_bootp(frame: bytes, seen: Dhcp) -> None:
    """The address that the client uses, gets or requests, and its name (RFC 2131 section 2, RFC 2132)."""
    assert dhcp_from_wire(frame) == seen


def test_other_ports_and_fragments_are_not_read() -> None:
    """UDP to other ports is not DHCP, and fragments are not read."""
    frame = request(("message-type", "discover"))
    assert dhcp_from_wire(frame[:36] + b"\x00\x44" + frame[38:]) is not None  # port 68 to 68 is between DHCP's ports
    assert dhcp_from_wire(frame[:36] + b"\x00\x50" + frame[38:]) is None
    assert dhcp_from_wire(frame[:20] + b"\x20\x00" + frame[22:]) is None


@given(
    cut=st.integers(0, 320),
    flips=st.lists(st.tuples(st.integers(12, 319), st.integers(0, 255)), max_size=12),
    tail=st.binary(max_size=64),
)
def test_damaged_frames_raise_no_error(cut: int, flips: list[tuple[int, int]], tail: bytes) -> None:
    """Cut, changed and padded frames are read or ignored; an address never has more than 32 bits."""
    frame = bytearray(request(("message-type", "discover"), ("requested_addr", "192.0.2.20"), ("hostname", b"x")))
    for at, value in flips:
        if at < len(frame):
            frame[at] = value
    broken = bytes(frame[:cut]) + tail
    ip_from_wire(broken)
    said = dhcp_from_wire(broken)
    if said is not None:
        assert all(0 <= each < 1 << 32 for each in (said.has, said.gets, said.wants))
        assert len(said.name) <= 255
