"""Tests of the listener: it finds hosts in the frames that they send, in bounded memory. The frames are scapy's."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scapy.contrib.lldp import (
    LLDPDU,
    LLDPDUChassisID,
    LLDPDUEndOfLLDPDU,
    LLDPDUManagementAddress,
    LLDPDUPortID,
    LLDPDUSystemName,
    LLDPDUTimeToLive,
)
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import ARP, Ether

from netcheck.addr import quad
from netcheck.field.discovery import MOST
from netcheck.field.listen import ANNOUNCED, Listener
from netcheck.field.listen import ARP as BY_ARP

STATION, DEVICE = 0x00005E005301, 0x00005E005314
MAC, OTHER = "00:00:5e:00:53:14", "00:00:5e:00:53:15"
NETS = [(0xC0000200, 24)]


def listener_of(*frames: object) -> Listener:
    """Return a listener that has heard these frames on 192.0.2.0/24."""
    hears = Listener(frozenset({STATION}), NETS)
    for frame in frames:
        hears.hear(bytes(frame))  # type: ignore[call-overload]
    return hears


def told(hears: Listener) -> list[tuple[str, int, tuple[str, ...]]]:
    """Return address, last octet of the MAC, and how each host was heard."""
    return [(quad(host.address), host.mac & 0xFF, host.by) for host in hears.found()]


def arp(op: int, mac: str, sender: str, target: str) -> Ether:
    """Return an ARP frame from a MAC."""
    return Ether(src=mac, dst="ff:ff:ff:ff:ff:ff") / ARP(op=op, hwsrc=mac, psrc=sender, pdst=target)


@pytest.mark.parametrize(
    ("frame", "hosts"),
    [
        pytest.param(arp(1, MAC, "192.0.2.20", "192.0.2.1"), [("192.0.2.20", 0x14, (BY_ARP,))], id="a question"),
        pytest.param(arp(1, MAC, "192.0.2.20", "192.0.2.20"), [("192.0.2.20", 0x14, (ANNOUNCED,))], id="announced"),
        pytest.param(arp(2, MAC, "192.0.2.20", "192.0.2.1"), [("192.0.2.20", 0x14, (BY_ARP,))], id="an answer"),
        pytest.param(arp(1, MAC, "0.0.0.0", "192.0.2.20"), [], id="a probe: no owner yet (RFC 5227)"),
        pytest.param(arp(1, MAC, "224.0.0.1", "192.0.2.1"), [], id="multicast is no host's (RFC 1112)"),
        pytest.param(arp(1, MAC, "127.0.0.1", "192.0.2.1"), [], id="loopback is no host's (RFC 1122)"),
        pytest.param(arp(1, "00:00:5e:00:53:01", "192.0.2.9", "192.0.2.1"), [], id="our own"),
        pytest.param(
            Ether(src=MAC) / IP(src="192.0.2.20", dst="192.0.2.1"), [("192.0.2.20", 0x14, ("IPv4",))], id="IPv4"
        ),
        pytest.param(Ether(src=MAC) / IP(src="198.51.100.7", dst="192.0.2.1"), [], id="came by a router"),
        pytest.param(
            Ether(src=MAC) / IP(src="198.51.100.7", dst="224.0.0.251"),
            [("198.51.100.7", 0x14, ("IPv4",))],
            id="never forwarded (RFC 5771 section 4)",
        ),
        pytest.param(
            Ether(src=MAC) / IP(src="198.51.100.7", dst="255.255.255.255"),
            [("198.51.100.7", 0x14, ("IPv4",))],
            id="limited broadcast (RFC 1812 section 5.3.5.1)",
        ),
    ],
)
def test_who_is_a_host(frame: Ether, hosts: list[tuple[str, int, tuple[str, ...]]]) -> None:
    """Senders of ARP are hosts. Senders of IPv4 are hosts if no router can have forwarded the frame."""
    assert told(listener_of(frame)) == hosts


def test_two_owners_are_both_listed() -> None:
    """One address with two MACs is listed as two hosts, and each way in which a host was heard is listed once."""
    hears = listener_of(*[arp(1, mac, "192.0.2.20", "192.0.2.1") for mac in (MAC, OTHER, MAC)])
    assert told(hears) == [("192.0.2.20", 0x14, (BY_ARP,)), ("192.0.2.20", 0x15, (BY_ARP,))]


def test_a_requested_address_is_no_host_yet() -> None:
    """A DHCP request for an address or an ARP probe gives no host until the address is used."""
    discover = (
        Ether(src=MAC, dst="ff:ff:ff:ff:ff:ff")
        / IP(src="0.0.0.0", dst="255.255.255.255")
        / UDP(sport=68, dport=67)
        / BOOTP(chaddr=bytes.fromhex(MAC.replace(":", "")))
        / DHCP(
            options=[("message-type", "discover"), ("requested_addr", "192.0.2.20"), ("hostname", b"press\x1b3"), "end"]
        )
    )
    hears = listener_of(discover)
    assert told(hears) == []
    (one,) = hears.wanted()
    assert (quad(one.address), one.mac, one.name) == ("192.0.2.20", DEVICE, "press\x1b3")
    assert [each.mac for each in hears.nameless()] == [DEVICE]
    hears.hear(bytes(arp(1, MAC, "192.0.2.20", "192.0.2.20")))
    assert hears.wanted() == ()
    assert hears.nameless() == ()
    assert hears.found()[0].name == "press\x1b3"  # the report makes it safe


def test_lldp_tells_name_and_address() -> None:
    """The management address is the address of the host, and the system name its name (IEEE 802.1AB)."""
    frame = (
        Ether(src=MAC, dst="01:80:c2:00:00:0e", type=0x88CC)
        / LLDPDU()
        / LLDPDUChassisID(subtype=4, id=MAC)
        / LLDPDUPortID(subtype=7, id=b"p1")
        / LLDPDUTimeToLive(ttl=120)
        / LLDPDUSystemName(system_name=b"cell-switch")
        / LLDPDUManagementAddress(
            management_address_subtype=1,
            management_address=b"\xc0\0\x02\x15",
            interface_numbering_subtype=1,
            interface_number=1,
        )
        / LLDPDUEndOfLLDPDU()
    )
    (host,) = listener_of(frame).found()
    assert (quad(host.address), host.mac, host.name, host.by) == ("192.0.2.21", DEVICE, "cell-switch", ("LLDP",))


def test_a_flood_of_forged_hosts_fills_no_memory() -> None:
    """Hosts beyond the limit are counted and not kept."""
    hears = Listener(frozenset({STATION}), NETS)
    template = bytes(arp(1, MAC, "192.0.2.20", "192.0.2.1"))
    for number in range(MOST + 500):
        address = (0x0A000001 + number).to_bytes(4, "big")
        hears.hear(template[:28] + address + template[32:])
    assert len(hears.hosts) == MOST
    assert hears.left_out >= 500
    assert hears.frames == MOST + 500


@given(st.lists(st.binary(max_size=120), max_size=20))
def test_no_frame_raises_an_error(frames: list[bytes]) -> None:
    """No bytes raise an error."""
    hears = Listener(frozenset({STATION}), NETS)
    for frame in frames:
        hears.hear(frame)
    assert hears.frames == len(frames)
