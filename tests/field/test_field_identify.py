"""Tests of `identify`: which prefixes are asked, and which settings of this computer reach the device."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scapy.layers.l2 import ARP, Ether

from netcheck.addr import Prefix, quad
from netcheck.field.identify import (
    EVERYWHERE,
    LARGEST,
    QUIET,
    USUAL,
    Reach,
    ask,
    hear,
    hosts_of,
    prefixes_to_ask,
    reach,
)
from netcheck.field.listen import Listener
from netcheck.wire.link import Carrier, Heard
from tests.field.test_field_sweep import DEVICE, STATION, Wire, says

MINE = 0xC0A801FE  # 192.168.1.254


def whole(text: str) -> int:
    """Return an address as a number, by the standard library."""
    return int(ipaddress.IPv4Address(text))


def none(address: int) -> bool:
    """Return that no address is taken."""
    return False


@pytest.mark.parametrize(
    ("device", "own", "nets", "told"),
    [
        ("192.168.1.47", [], [], Reach(whole("192.168.1.254"), 24, guessed=True)),
        ("192.168.1.254", [], [], Reach(whole("192.168.1.253"), 24, guessed=True)),
        ("192.168.1.47", [("192.168.1.9", 24)], [], Reach(whole("192.168.1.9"), 24, ours=True)),
        ("192.168.1.47", [("192.168.2.9", 24)], [], Reach(whole("192.168.1.254"), 24, guessed=True)),
        ("192.168.1.47", [("192.168.1.47", 24)], [], Reach(whole("192.168.1.254"), 24, guessed=True)),
        ("10.62.20.61", [], [("10.62.20.0", 26)], Reach(whole("10.62.20.62"), 26)),
        ("169.254.7.7", [], [], Reach(whole("169.254.254.255"), 16, guessed=True)),
    ],
)
def test_what_to_set(device: str, own: list[tuple[str, int]], nets: list[tuple[str, int]], told: Reach) -> None:
    """The computer keeps its address in the same subnet; else it gets one of the plan's prefix, else one of a /24.

    Link-local is RFC 3927 section 2.1.
    """
    given_own = [(whole(address), length) for address, length in own]
    assert reach(whole(device), given_own, [(whole(net), length) for net, length in nets], none) == told


@given(st.integers(1, (1 << 32) - 2), st.sets(st.integers(200, 254)))
def test_the_proposed_address_is_free_and_in_the_same_network(device: int, taken: set[int]) -> None:
    """The proposed address is free, in the device's network by the standard library, and not the device's address."""
    to = reach(device, [], [], lambda address: address & 0xFF in taken)
    network = ipaddress.ip_network((device, to.length), strict=False)
    assert ipaddress.ip_address(to.address) in network
    assert to.address not in (device, int(network.network_address), int(network.broadcast_address))
    assert to.address & 0xFF not in taken


def test_the_usual_prefixes_are_private() -> None:
    """The usual prefixes are private (RFC 1918). The plan's come first, of large ones only a part, and none twice."""
    assert all(ipaddress.ip_network(str(prefix)).is_private for prefix in USUAL)
    planned = [Prefix.from_text("10.62.0.0/16"), Prefix.from_text("192.168.1.0/24")]
    asked = list(prefixes_to_ask(planned))
    assert [str(prefix) for prefix in asked[:2]] == [f"10.62.0.0/{LARGEST}", "192.168.1.0/24"]
    assert len(asked) == len(set(asked)) == len(USUAL) + 1


def test_it_asks_without_a_sender_until_somebody_answers() -> None:
    """Prefixes are asked in order, each address once and own addresses not at all, until a host answers."""
    first, second, third = (Prefix.from_text(f"192.168.{n}.0/24") for n in (0, 1, 2))
    device = whole("192.168.1.47")
    wire = Wire({device: [(0.01, says(DEVICE, device))]})
    told: list[str] = []
    came = ask(wire, [first, second, third], frozenset({MINE}), 500.0, lambda words, done, of: told.append(words))
    assert [(quad(host.address), host.mac) for host in hosts_of(came.answers)] == [("192.168.1.47", DEVICE)]
    assert came.asked == (first, second)
    sent = [Ether(frame)[ARP] for _, frame in wire.sent]
    assert {packet.psrc for packet in sent} == {"0.0.0.0"}
    assert len(sent) == 254 + 253
    assert len({packet.pdst for packet in sent}) == len(sent)
    assert set(told) == {"asking 192.168.0.0/24", "asking 192.168.1.0/24"}


def test_a_cable_that_comes_out_ends_it() -> None:
    """The result has the earlier answers and the reason."""
    wire = Wire({}, [Carrier(100.5, 0, False)])
    came = ask(wire, [Prefix.from_text("192.168.0.0/24")], frozenset(), 100.0, lambda words, done, of: None)
    assert came.asked == ()
    assert came.why == "the cable came out, or the interface was switched off"


def test_hearing_ends_soon_after_an_address_is_known() -> None:
    """After an announcement is heard, listening ends before its time is over."""
    announcement = bytes(
        Ether(src="00:00:5e:00:53:14", dst="ff:ff:ff:ff:ff:ff")
        / ARP(op=1, hwsrc="00:00:5e:00:53:14", psrc="192.168.1.47", pdst="192.168.1.47")
    )
    wire, listener = Wire({}, [Heard(104.0, 0, announcement)]), Listener(frozenset({STATION}), EVERYWHERE)
    assert hear(wire, listener, 60.0, lambda passed: None) == ""
    assert 4 + QUIET <= wire.now() - 100 <= 4 + QUIET + 1.5
    assert wire.sent == []
    assert [quad(host.address) for host in listener.found()] == ["192.168.1.47"]
