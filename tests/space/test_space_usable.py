"""Usable addresses are compared with the tables of RFC 4632 and RFC 1878, with RFC 3021 and the standard library."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, Prefix, Range
from netcheck.space.usable import usable_ranges, why_unusable


def prefix(text: str) -> Prefix:
    """Return a prefix with its host bits cleared."""
    return Prefix.from_text(str(ipaddress.ip_network(text, strict=False)))


@pytest.mark.parametrize("length", range(8, 33))
def test_count_of_hosts(length: int) -> None:
    """RFC 4632 section 3.1: 2^(32-n) addresses, two fewer by RFC 1122 section 3.2.1.3, both in a /31 by RFC 3021."""
    addresses = 2 ** (32 - length)
    wanted = addresses if length >= 31 else addresses - 2
    assert sum(span.size for span in usable_ranges(prefix(f"10.0.0.0/{length}"))) == wanted


@pytest.mark.parametrize(
    ("subnet", "low", "high"),
    [
        # RFC 1878 table 1-2, first and last line of each mask.
        ("192.0.2.0/25", 1, 126),
        ("192.0.2.128/25", 129, 254),
        ("192.0.2.0/26", 1, 62),
        ("192.0.2.192/26", 193, 254),
        ("192.0.2.0/27", 1, 30),
        ("192.0.2.224/27", 225, 254),
        ("192.0.2.0/28", 1, 14),
        ("192.0.2.240/28", 241, 254),
        ("192.0.2.0/29", 1, 6),
        ("192.0.2.248/29", 249, 254),
        ("192.0.2.0/30", 1, 2),
        ("192.0.2.252/30", 253, 254),
    ],
)
def test_range_of_hosts(subnet: str, low: int, high: int) -> None:
    """RFC 1878 table 1-2: the hosts of a subnet of a class C network."""
    base = prefix("192.0.2.0/24").value
    assert list(usable_ranges(prefix(subnet))) == [Range(4, base + low, base + high)]


@given(st.integers(0, 2**32 - 1), st.integers(20, 32))
def test_hosts_as_the_standard_library_has_them(value: int, length: int) -> None:
    """In ordinary blocks `hosts()` of the standard library gives the same first and last host."""
    network = ipaddress.ip_network((value, length), strict=False)
    ordinary = not (network.is_multicast or network.is_reserved or network.is_loopback or value >> 24 == 0)
    if ordinary:
        found = list(usable_ranges(Prefix(4, int(network.network_address), length)))
        hosts = list(network.hosts())
        assert found == [Range(4, int(hosts[0]), int(hosts[-1]))]


@pytest.mark.parametrize(
    ("address", "subnet", "words"),
    [
        ("10.62.20.0", "10.62.20.0/24", "network address of 10.62.20.0/24"),
        ("10.62.20.255", "10.62.20.0/24", "directed-broadcast address of 10.62.20.0/24"),
        ("128.99.7.255", "128.99.4.0/22", "directed-broadcast address"),  # RFC 950 appendix II, example 2
        ("128.9.255.255", "128.9.0.0/16", "directed-broadcast address"),  # RFC 950 section 2.1: all hosts on 128.9
        ("0.0.0.37", "0.0.0.0/8", "this network"),  # RFC 950 section 2.1
        ("127.0.0.1", "10.62.20.0/24", "loopback"),  # RFC 1122 section 3.2.1.3 (g)
        ("224.0.0.1", "10.62.20.0/24", "multicast"),  # RFC 1112 section 4
        ("240.0.0.1", "10.62.20.0/24", "reserved block"),
        ("255.255.255.255", "10.62.20.0/24", "limited broadcast"),  # RFC 919 section 7
        ("2001:db8::", "2001:db8::/64", "subnet-router anycast"),  # RFC 4291 section 2.6.1
        ("2001:db8::fdff:ffff:ffff:ff80", "2001:db8::/64", "reserved anycast"),  # RFC 5453 section 3
        ("2001:db8::fdff:ffff:ffff:ffff", "2001:db8::/64", "reserved anycast"),
        ("ff02::1", "2001:db8::/64", "multicast"),  # RFC 4291 section 2.7
        ("::1", "2001:db8::/64", "loopback"),
        ("::", "2001:db8::/64", "unspecified"),
    ],
)
def test_unusable(address: str, subnet: str, words: str) -> None:
    """No host may have these published addresses, and each has its reason."""
    assert words in why_unusable(Address.from_text(address), Prefix.from_text(subnet))
    assert not any(span.holds(Address.from_text(address)) for span in usable_ranges(Prefix.from_text(subnet)))


@pytest.mark.parametrize(
    ("address", "subnet"),
    [
        ("192.0.2.0", "192.0.2.0/31"),  # RFC 3021 section 2.1
        ("192.0.2.1", "192.0.2.0/31"),
        ("192.0.2.1", "192.0.2.1/32"),
        ("128.99.4.123", "128.99.4.0/22"),  # RFC 950 appendix II, example 2
        ("10.62.20.255", "10.62.20.0/23"),
        ("10.62.21.0", "10.62.20.0/23"),
        ("2001:db8::ffff", "2001:db8::/112"),  # IPv6 has no broadcast
        ("2001:db8::", "2001:db8::/127"),  # RFC 6164 section 6
        ("2001:db8::fdff:ffff:ffff:ff7f", "2001:db8::/64"),
        ("2001:db8::fdff:ffff:ffff:ff80", "2001:db8::/60"),
    ],
)
def test_usable(address: str, subnet: str) -> None:
    """A host may have these unusual addresses."""
    assert why_unusable(Address.from_text(address), Prefix.from_text(subnet)) == ""
    assert any(span.holds(Address.from_text(address)) for span in usable_ranges(Prefix.from_text(subnet)))


def test_ends_of_another_subnet_are_no_ends() -> None:
    """An address outside its subnet is neither its network nor its broadcast address."""
    assert why_unusable(Address.from_text("10.62.21.255"), Prefix.from_text("10.62.20.0/24")) == ""
    assert why_unusable(Address.from_text("10.62.21.255"), None) == ""
