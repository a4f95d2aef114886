"""What is read from rtnetlink against what `ip` (iproute2) prints, and against damage."""

from __future__ import annotations

import json
import struct
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Address, Mac
from netcheck.wire import netlink
from tests.lab.netns import Lab

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="rtnetlink is Linux's")


@settings(deadline=None)
@given(st.binary(max_size=300))
def test_noise_raises_nothing(noise: bytes) -> None:
    """Any bytes at all are taken apart without error, and no message is longer than what there was."""
    assert sum(len(message.body) + 16 for message in netlink.messages(noise)) <= len(noise) + 3
    netlink.link_from(noise)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 0xFFFF), st.integers(0, 0xFFFFFFFF), st.binary(max_size=40)), max_size=5))
def test_messages_are_found_one_after_another(whole: list[tuple[int, int, bytes]]) -> None:
    """A header of 16 bytes with its length, padding to four bytes: RFC 3549 section 2.3.2."""
    data = b"".join(
        (struct.pack("=IHHII", 16 + len(body), kind, 0, sequence, 0) + body).ljust(16 + (len(body) + 3 & ~3), b"\0")
        for kind, sequence, body in whole
    )
    assert [(found.type, found.sequence, found.body) for found in netlink.messages(data)] == whole


@pytest.mark.lab
def test_interfaces_and_addresses_are_those_that_ip_prints(lab: Lab) -> None:
    """Names, MACs, states and all addresses, a secondary one and a point-to-point one too."""
    here, there = lab.namespace("here"), lab.namespace("there")
    lab.veth((here, "eth0"), (there, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.veth((here, "eth1"), (there, "eth1"), up=False)
    lab.address(here, "eth0", "192.0.2.1/24", "192.0.2.2/24", "198.51.100.1/32")
    lab.run(here, ["ip", "addr", "add", "203.0.113.1", "peer", "203.0.113.2/32", "dev", "eth0"])
    printed = json.loads(lab.run(here, ["ip", "-j", "-d", "addr"]).stdout)
    with lab.inside(here):
        links, addresses = netlink.links(), netlink.addresses()
    assert [(one.index, one.name) for one in links] == [(one["ifindex"], one["ifname"]) for one in printed]
    assert [str(Mac(one.mac)) for one in links[1:]] == [
        one["address"].upper().replace(":", "-") for one in printed if one["link_type"] == "ether"
    ]
    assert [one.up for one in links] == ["UP" in one["flags"] for one in printed]
    assert [one.carrier for one in links] == ["LOWER_UP" in one["flags"] for one in printed]
    assert [one.loopback for one in links] == ["LOOPBACK" in one["flags"] for one in printed]
    assert [one.ethernet for one in links] == [one["link_type"] == "ether" for one in printed]
    told = {index: {str(Address(4, value)) for value, _ in held} for index, held in addresses.items()}
    assert told == {one["ifindex"]: {info["local"] for info in one["addr_info"]} for one in printed if one["addr_info"]}
    eth0 = next(one for one in links if one.name == "eth0")
    assert sorted(length for _, length in addresses[eth0.index]) == [24, 24, 32, 32]


@pytest.mark.lab
def test_neighbours_are_those_that_were_resolved(lab: Lab) -> None:
    """After a ping the kernel knows the device's MAC; an address where nobody answered is not in the table."""
    here, there = lab.namespace("here"), lab.namespace("there")
    lab.veth((here, "eth0"), (there, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(here, "eth0", "192.0.2.1/24")
    lab.address(there, "eth0", "192.0.2.20/24")
    lab.run(here, ["ping", "-c", "1", "-W", "1", "192.0.2.20"])
    lab.run(here, ["ping", "-c", "1", "-W", "0.1", "192.0.2.21"])
    with lab.inside(here):
        index = next(one.index for one in netlink.links() if one.name == "eth0")
        with netlink.opened() as table:
            assert netlink.neighbours(index, table) == {0xC0000214: 0x00005E005314}
            assert netlink.neighbours(index + 1, table) == {}
