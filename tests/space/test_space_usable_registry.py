"""The dated registry table is compared with the RFCs and the standard library; the differences are listed."""

from __future__ import annotations

import ipaddress

import pytest

from netcheck.addr import Address, Prefix
from netcheck.space.usable import BLOCKS, SpecialBlock, block_of, is_public

# Blocks, by their first address, for which `is_global` of Python 3.11 differs from the registries of 2026-07-18. A
# later Python may agree with the registry.
DIFFERENT = {
    "192.0.0.0/24",
    "192.0.0.8/32",
    "192.0.0.9/32",
    "192.0.0.10/32",
    "192.88.99.0/24",
    "192.88.99.2/32",
    "64:ff9b:1::/48",
    "100:0:0:1::/64",
    "2001:1::1/128",
    "2001:1::2/128",
    "2001:1::3/128",
    "2001:3::/32",
    "2001:4:112::/48",
    "2001:20::/28",
    "2001:30::/28",
    "2002::/16",
    "3fff::/20",
    "5f00::/16",
}


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: str(block.prefix))
def test_flags_are_consistent(block: SpecialBlock) -> None:
    """RFC 6890 section 2.2.1, RFC 8190 section 2.1: a non-destination is neither forwardable nor global."""
    flags = tuple(block.flags)
    assert len(flags) == 5
    assert set(flags) <= set("TF-")
    if flags[1] == "F":
        assert flags[2:4] == ("F", "F")


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: str(block.prefix))
def test_first_and_last_address_agree_with_the_standard_library(block: SpecialBlock) -> None:
    """`ipaddress.is_global` agrees with the registry, except for the listed blocks."""
    for address in (block.prefix.first, block.prefix.last):
        if block_of(address) is block and str(block.prefix) not in DIFFERENT:
            assert is_public(address) == ipaddress.ip_address(str(address)).is_global


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("10.255.255.255", "Private-Use"),  # RFC 1918 section 3
        ("172.31.255.255", "Private-Use"),
        ("192.168.255.255", "Private-Use"),
        ("100.64.0.1", "Shared Address Space"),  # RFC 6598 section 7
        ("169.254.1.0", "Link Local"),  # RFC 3927 section 2.1
        ("192.0.2.1", "Documentation (TEST-NET-1)"),  # RFC 5737 section 3
        ("198.51.100.1", "Documentation (TEST-NET-2)"),
        ("203.0.113.1", "Documentation (TEST-NET-3)"),
        ("198.19.255.255", "Benchmarking"),  # RFC 2544 appendix C.2.2
        ("192.0.0.7", "IPv4 Service Continuity Prefix"),  # RFC 7335, inside 192.0.0.0/24
        ("192.0.0.11", "IETF Protocol Assignments"),
        ("2001:db8::1", "Documentation"),  # RFC 3849 section 2
        ("3fff:fff::1", "Documentation"),  # RFC 9637
        ("fd00::1", "Unique-Local"),  # RFC 4193 section 3.1
        ("2001:1::1", "Port Control Protocol Anycast"),  # RFC 7723, inside 2001::/23
    ],
)
def test_the_most_specific_block_counts(text: str, name: str) -> None:
    """The longest prefix that contains an address is the block of that address."""
    block = block_of(Address.from_text(text))
    assert block is not None
    assert block.name == name
    assert block.prefix.holds(Address.from_text(text))


@pytest.mark.parametrize(
    "text",
    ["172.15.255.255", "172.32.0.0", "11.0.0.0", "100.63.255.255", "100.128.0.0", "192.167.255.255", "198.20.0.0"],
)
def test_neighbours_of_blocks_are_public(text: str) -> None:
    """The address next to a block is in no block and is global; the standard library agrees."""
    address = Address.from_text(text)
    assert block_of(address) is None
    assert is_public(address)
    assert ipaddress.ip_address(text).is_global


def test_blocks_are_nested_or_apart() -> None:
    """Two prefixes are nested or disjoint, and no prefix occurs twice."""
    prefixes = [block.prefix for block in BLOCKS]
    assert len(set(prefixes)) == len(prefixes)
    assert all(isinstance(prefix, Prefix) for prefix in prefixes)
