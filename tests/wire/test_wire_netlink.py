"""Data from rtnetlink compared with the output of `ip` (iproute2), and damaged messages."""

from __future__ import annotations

import json
import struct
import sys
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Address, Mac
from netcheck.wire.linux import netlink
from tests.lab.netns import Lab

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="rtnetlink is Linux's")


@settings(deadline=None)
@given(st.binary(max_size=300))
def test_random_bytes_raise_no_error(noise: bytes) -> None:
    """No bytes raise an error, and no message is longer than the data."""
    assert sum(len(message.body) + 16 for message in netlink.messages(noise)) <= len(noise) + 3
    netlink.link_from(noise)
    netlink.routes_from(noise)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 0xFFFF), st.integers(0, 0xFFFFFFFF), st.binary(max_size=40)), max_size=5))
def test_messages_are_found_one_after_another(whole: list[tuple[int, int, bytes]]) -> None:
    """Each message has a header of 16 bytes with its length, and padding to four bytes (RFC 3549 section 2.3.2)."""
    data = b"".join(
        (struct.pack("=IHHII", 16 + len(body), kind, 0, sequence, 0) + body).ljust(16 + (len(body) + 3 & ~3), b"\0")
        for kind, sequence, body in whole
    )
    assert [(found.type, found.sequence, found.body) for found in netlink.messages(data)] == whole


@pytest.mark.lab
def test_interfaces_and_addresses_are_those_that_ip_prints(lab: Lab) -> None:
    """Names, MACs, states and all addresses agree, including a secondary and a point-to-point address."""
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
    """After an echo request the kernel knows the device's MAC; an address that did not answer is not in the table."""
    here, there = lab.namespace("here"), lab.namespace("there")
    lab.veth((here, "eth0"), (there, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(here, "eth0", "192.0.2.1/24")
    lab.address(there, "eth0", "192.0.2.20/24")
    assert lab.echo(here, "192.0.2.20") == 1
    assert lab.echo(here, "192.0.2.21", wait=0.1) == 0
    with lab.inside(here):
        index = next(one.index for one in netlink.links() if one.name == "eth0")
        with netlink.opened() as table:
            assert netlink.neighbours(index, table) == {0xC0000214: 0x00005E005314}
            assert netlink.neighbours(index + 1, table) == {}


@pytest.mark.lab
def test_routes_are_those_that_ip_prints(lab: Lab) -> None:
    """Prefix, interface, gateway, metric and table agree; a multipath route with two hops counts twice."""
    here, there = lab.namespace("here"), lab.namespace("there")
    lab.veth((here, "eth0"), (there, "eth0"))
    lab.veth((here, "eth1"), (there, "eth1"))
    lab.address(here, "eth0", "192.0.2.1/24")
    lab.address(here, "eth1", "198.51.100.1/25")
    for words in (
        ["default", "via", "192.0.2.254", "metric", "600"],
        ["128.0.0.0/1", "via", "198.51.100.2"],
        ["203.0.113.0/24", "dev", "eth1", "table", "51820"],
        ["10.62.0.0/16", "nexthop", "via", "192.0.2.2", "nexthop", "via", "198.51.100.3"],
    ):
        assert lab.run(here, ["ip", "route", "add", *words]).returncode == 0
    lab.run(here, ["ip", "route", "add", "blackhole", "10.99.0.0/16"])
    with lab.inside(here):
        names = {one.index: one.name for one in netlink.links()}
        read = netlink.routes()
    told = sorted(
        (f"{Address(4, r.first)}/{r.length}", names[r.index], str(Address(4, r.gateway)), r.metric, r.table)
        for r in read
        if r.table != netlink.LOCAL
    )
    assert told == sorted(
        printed_routes(json.loads(lab.run(here, ["ip", "-j", "route", "show", "table", "all"]).stdout))
    )


def printed_routes(printed: list[dict[str, Any]]) -> list[tuple[str, str, str, int, int]]:
    """Return the output of `ip -j route show table all` in the same form."""
    rows = []
    for one in printed:
        if one.get("type", "unicast") != "unicast":
            continue
        to = "0.0.0.0/0" if one["dst"] == "default" else one["dst"]
        to = to if "/" in to else f"{to}/32"
        for hop in one.get("nexthops", [one]):
            table = int(one.get("table", netlink.MAIN))
            rows.append((to, hop["dev"], hop.get("gateway", "0.0.0.0"), one.get("metric", 0), table))
    return rows
