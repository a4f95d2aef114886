"""The kernel's filter, run by the kernel on frames sent through a local socket pair, which needs no rights."""

from __future__ import annotations

import ctypes
import socket
import struct
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.layers.inet import ICMP, IP, TCP, UDP, IPOption_NOP
from scapy.layers.l2 import ARP, Dot1Q, Ether

from netcheck.wire.linux import bpf

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="classic BPF on sockets is Linux's")

OURS = 0x00005E005301
OUR_MAC, DEVICE_MAC = "00:00:5e:00:53:01", "00:00:5e:00:53:14"
SO_ATTACH_FILTER = 26


@contextmanager
def filtered(mac: int, overhears: bool = False) -> Iterator[tuple[socket.socket, socket.socket]]:
    """Two connected datagram sockets; frames sent from the first to the second pass the filter."""
    one, other = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    program = bpf.program(mac, overhears)
    kept = ctypes.create_string_buffer(program)
    where = struct.pack("@HP", len(program) // 8, ctypes.addressof(kept))
    other.setsockopt(socket.SOL_SOCKET, SO_ATTACH_FILTER, where)
    other.setblocking(False)
    with one, other:
        yield one, other


def passed(ends: tuple[socket.socket, socket.socket], frame: bytes) -> bytes | None:
    """Return the part of a frame that the kernel passes; None if it drops the frame."""
    try:
        ends[0].send(frame)
        return ends[1].recv(70_000)
    except OSError:  # the sender of a dropped datagram gets EPERM
        return None


@pytest.mark.parametrize("overhears", [False, True])
def test_the_filter_passes_the_frames_that_are_read(overhears: bool) -> None:
    """The filter passes exactly those frames of scapy that a reader needs."""
    ours = Ether(dst=OUR_MAC, src=DEVICE_MAC)
    theirs = Ether(dst="00:00:5e:00:53:99", src=DEVICE_MAC)
    everybody = Ether(dst="ff:ff:ff:ff:ff:ff", src=DEVICE_MAC)
    expected = {
        "arp to everybody": (everybody / ARP(), True),
        "arp to another": (theirs / ARP(op=2), True),
        "lldp": (Ether(dst="01:80:c2:00:00:0e", src=DEVICE_MAC, type=0x88CC) / b"\x02\x02\x07x", True),
        "echo reply to us": (ours / IP() / ICMP(type=0), True),
        "echo request to us": (ours / IP() / ICMP(type=8), True),
        "echo reply with IP options": (ours / IP(options=[IPOption_NOP()] * 4) / ICMP(type=0), True),
        "echo reply to another": (theirs / IP() / ICMP(type=0), overhears),
        "echo request to another": (theirs / IP() / ICMP(type=8), False),
        "echo request to everybody": (everybody / IP() / ICMP(type=8), False),
        "host unreachable to us": (ours / IP() / ICMP(type=3), False),
        "a later fragment": (ours / IP(frag=10) / ICMP(type=0), False),
        "a first fragment": (ours / IP(flags="MF") / ICMP(type=0), False),
        "a DHCP request": (everybody / IP() / UDP(sport=68, dport=67), True),
        "a DHCP answer": (everybody / IP() / UDP(sport=67, dport=68), False),
        "other UDP to everybody": (everybody / IP() / UDP(sport=67, dport=137), False),
        "TCP to us": (ours / IP() / TCP(dport=67), False),
        "IPv6": (Ether(dst=OUR_MAC, type=0x86DD) / b"x", False),
        "arp tagged for a VLAN": (everybody / Dot1Q(vlan=100) / ARP(), False),
    }
    with filtered(OURS, overhears) as ends:
        seen = {name: passed(ends, bytes(frame)) is not None for name, (frame, _) in expected.items()}
    assert seen == {name: passes for name, (_, passes) in expected.items()}


def test_long_frames_are_cut() -> None:
    """The kernel keeps the first part of a jumbo frame, which contains everything that is read."""
    with filtered(OURS) as ends:
        assert passed(ends, bytes(Ether() / ARP()).ljust(9000, b"\0")) == bytes(Ether() / ARP()).ljust(2048, b"\0")


vectors = [
    bytes(Ether(dst=OUR_MAC) / IP() / ICMP(type=0) / b"xx"),
    bytes(Ether(dst=OUR_MAC) / IP(options=[IPOption_NOP()] * 4) / ICMP(type=8)),
    bytes(Ether(dst="ff:ff:ff:ff:ff:ff") / IP() / UDP(dport=67)),
    bytes(Ether() / ARP()),
]


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(vectors),
    st.lists(st.tuples(st.integers(0, 45), st.sampled_from([0, 1, 6, 8, 17, 20, 67, 255]))),
    st.integers(1, 60),
)
def test_the_kernel_filter_and_wanted_agree(vector: bytes, changes: list[tuple[int, int]], size: int) -> None:
    """`wanted`, for links without a filter, selects the same frames as the kernel, also of damaged frames."""
    frame = bytearray(vector[:size])
    for at, value in changes:
        if at < len(frame):
            frame[at] = value
    with filtered(OURS) as ends:
        assert (passed(ends, bytes(frame)) is not None) == bpf.wanted(bytes(frame), OURS)
