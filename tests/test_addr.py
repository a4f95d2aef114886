"""Tests of addresses, prefixes, ranges, masks and MACs against published examples and `ipaddress`."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range, ranges_without

V4 = st.integers(0, 2**32 - 1)
V6 = st.integers(0, 2**128 - 1)


@given(V4)
def test_ipv4_text_is_that_of_the_standard_library(value: int) -> None:
    """An IPv4 address that is written and read back equals the one of `ipaddress`."""
    address = Address(4, value)
    assert str(address) == str(ipaddress.IPv4Address(value))
    assert Address.from_text(str(address)) == address


@given(V6)
def test_ipv6_text_reads_back(value: int) -> None:
    """The text of an IPv6 address reads back, and `ipaddress` reads it as the same address."""
    text = str(Address(6, value))
    assert int(ipaddress.IPv6Address(text)) == value
    assert Address.from_text(text) == Address(6, value)


@pytest.mark.parametrize(
    ("text", "short"),
    [
        ("2001:0db8::0001", "2001:db8::1"),  # RFC 5952 section 4.1
        ("2001:db8:0:0:0:0:2:1", "2001:db8::2:1"),  # section 4.2.1
        ("2001:db8::1:1:1:1:1", "2001:db8:0:1:1:1:1:1"),  # section 4.2.2
        ("2001:db8:0:0:1:0:0:1", "2001:db8::1:0:0:1"),  # section 4.2.3
        ("2001:DB8::ABCD", "2001:db8::abcd"),  # section 4.3
        ("0:0:0:0:0:ffff:192.0.2.1", "::ffff:192.0.2.1"),  # section 5
        ("2001:DB8:0:0:8:800:200C:417A", "2001:db8::8:800:200c:417a"),  # RFC 4291 section 2.2
        ("FF01:0:0:0:0:0:0:101", "ff01::101"),
        ("::13.1.68.3", "::d01:4403"),
    ],
)
def test_ipv6_is_written_as_rfc_5952_recommends(text: str, short: str) -> None:
    """Each published example is written in the recommended form."""
    assert str(Address.from_text(text)) == short


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("172.2O.16.33", "has the letter O in place of a digit; if a digit is meant, write 172.20.16.33"),
        ("10.0.0.l6", "has the letter l in place of a digit; if a digit is meant, write 10.0.0.16"),
        ("1O.0.0.300", "is not an address of four decimal octets"),
        ("010.0.0.1", "leading zero"),  # RFC 6943 section 3.1.1: lenient software reads 8.0.0.1
        ("10.0.258", "four decimal octets"),  # the same section: lenient software reads 10.0.1.2
        ("0xA000102", "four decimal octets"),
        ("012.0x102", "four decimal octets"),
        ("10.11.12", "four decimal octets"),
        ("10.62.20.256", "above 255"),
        ("10.62.20.61/24", "prefix length"),
        ("10.62.20.61 ", ""),  # surrounding spaces are allowed
        ("", "empty"),
        ("fe80::1%eth0", "zone"),  # RFC 4007
        ("1::2::3", "IPv6"),
        ("\u0661.2.3.4", "four decimal octets"),  # a digit of another script
        ("1" * 5000, "four decimal octets"),
    ],
)
def test_ambiguous_addresses_are_refused_with_the_reason(text: str, why: str) -> None:
    """Texts that lenient readers accept are refused with the reason."""
    if not why:
        assert str(Address.from_text(text)) == text.strip()
        return
    with pytest.raises(ValueError, match=why) as caught:
        Address.from_text(text)
    assert len(str(caught.value)) < 400


@given(st.text(max_size=40))
def test_any_text_is_read_as_ipaddress_does_or_refused(text: str) -> None:
    """Any text gives the same address as `ipaddress`, or ValueError."""
    try:
        address = Address.from_text(text)
    except ValueError:
        return
    assert address.value == int(ipaddress.ip_address(text.strip()))


@given(V4, st.integers(0, 32))
def test_prefixes_agree_with_the_standard_library(value: int, length: int) -> None:
    """First, last, size and usable addresses of every IPv4 prefix equal those of `ipaddress`."""
    prefix = Prefix.of(Address(4, value), length)
    network = ipaddress.ip_network((value, length), strict=False)
    assert str(prefix) == str(network)
    assert (prefix.size, str(prefix.last)) == (network.num_addresses, str(network.broadcast_address))
    if length >= 24:
        hosts = [int(host) for host in network.hosts()]
        assert (prefix.usable.low, prefix.usable.high) == (hosts[0], hosts[-1])
        assert prefix.usable.size == len(hosts)


@pytest.mark.parametrize(
    ("host", "mask", "subnet", "last"),
    [
        ("36.40.0.123", "255.255.0.0", "36.40.0.0/16", "36.40.255.255"),  # RFC 950 appendix II, example 1
        ("128.99.4.123", "255.255.252.0", "128.99.4.0/22", "128.99.7.255"),  # example 2
        ("172.16.0.9", "255.255.0.0", "172.16.0.0/16", "172.16.255.255"),  # RFC 4632 section 3.1
        ("10.24.9.1", "255.248.0.0", "10.24.0.0/13", "10.31.255.255"),  # RFC 4632 section 6.1
    ],
)
def test_worked_examples_of_masks(host: str, mask: str, subnet: str, last: str) -> None:
    """Published pairs of host and mask give the published subnet."""
    length = Mask.from_text(mask).length
    assert length is not None
    prefix = InterfaceAddress.from_text(f"{host}/{length}").prefix
    assert (str(prefix), str(prefix.last)) == (subnet, last)


@pytest.mark.parametrize("length", range(1, 33))
def test_every_contiguous_mask(length: int) -> None:
    """The dotted mask of each length (RFC 4632 section 3.1, by the standard library) has that length."""
    mask = str(ipaddress.ip_network(f"0.0.0.0/{length}").netmask)
    assert Mask.from_text(mask).length == length
    assert Mask.from_text(f"/{length}").value == Mask.from_text(mask).value


@pytest.mark.parametrize(
    "text",
    [
        "255.255.255.88",  # RFC 950 appendix II, example 3; forbidden by RFC 1812 section 10.2.2
        "0.0.0.255",  # a wildcard mask, which the standard library accepts as a mask
        "0.0.0.0",
        "255.0.255.0",
        "/0",
    ],
)
def test_non_contiguous_masks_have_no_length(text: str) -> None:
    """A non-contiguous mask is read, so that a rule can report it, and has no length."""
    assert Mask.from_text(text).length is None


@pytest.mark.parametrize("text", ["255.255.255.256", "/33", "/024", "24", "255.255.255", "mask", ""])
def test_text_that_is_not_a_mask_is_refused(text: str) -> None:
    """Any other text is refused."""
    with pytest.raises(ValueError, match=r"mask|prefix length"):
        Mask.from_text(text)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("10.62.20.61/24", r"meant is probably 10\.62\.20\.0/24"),
        ("10.24.12.0/20", r"meant is probably 10\.24\.0\.0/20"),  # the misprint in RFC 4632 section 6.1
        ("10.0.0.0/33", "0 to 32"),
        ("10.0.0.0/08", "0 to 32"),
        ("10.0.0.0", "no prefix length"),
        ("2001:db8::cd30/60", "host bits set"),  # RFC 4291 section 2.3: a truncated form of 2001:db8:0:cd30::/60
    ],
)
def test_bad_prefixes_are_refused(text: str, why: str) -> None:
    """A prefix with host bits is refused with the likely prefix, and a bad length is refused."""
    with pytest.raises(ValueError, match=why):
        Prefix.from_text(text)


@pytest.mark.parametrize(
    ("text", "size", "written"),
    [
        ("10.0.0.5-10.0.0.9", 5, "10.0.0.5-10.0.0.9"),
        ("10.0.0.5", 1, "10.0.0.5"),
        ("10.0.0.0/29", 8, "10.0.0.0-10.0.0.7"),
        (" 10.0.0.5 - 10.0.0.5 ", 1, "10.0.0.5"),
    ],
)
def test_ranges(text: str, size: int, written: str) -> None:
    """A range is written as two addresses, one address, or a prefix."""
    span = Range.from_text(text)
    assert (span.size, str(span)) == (size, written)


@pytest.mark.parametrize("text", ["10.0.0.9-10.0.0.5", "10.0.0.1-::1", "10.0.0.1-", "-", "a-b"])
def test_bad_ranges_are_refused(text: str) -> None:
    """Reversed, mixed and incomplete ranges are refused."""
    with pytest.raises(ValueError, match=r"reversed|mixes|empty|octets"):
        Range.from_text(text)


def test_a_shortened_range_is_refused_with_the_full_form() -> None:
    """A shortened range, as is common in spreadsheets, is refused with the full form."""
    with pytest.raises(ValueError, match=r"'10\.0\.0\.20-29' is not a range such as 10\.0\.0\.20-10\.0\.0\.29"):
        Range.from_text("10.0.0.20-29")


@pytest.mark.parametrize(
    "text", ["00-00-5E-00-53-21", "00:00:5e:00:53:21", "0000.5e00.5321", "00005E005321", " 00-00-5e-00-53-21 "]
)
def test_macs_in_every_form(text: str) -> None:
    """Hyphen, colon, dot and bare forms in any case give one MAC, written as IEEE 802 does."""
    mac = Mac.from_text(text)
    assert str(mac) == "00-00-5E-00-53-21"
    assert not mac.group
    assert not mac.local


@pytest.mark.parametrize("text", ["00-00-5E-00-53-2", "00-00:5E-00-53-21", "00-00-5E-00-53-2G", "00005E00532", ""])
def test_text_that_is_not_a_mac_is_refused(text: str) -> None:
    """Any other text is refused."""
    with pytest.raises(ValueError, match="MAC"):
        Mac.from_text(text)


def test_group_and_local_bits() -> None:
    """Bits 0x01 and 0x02 of the first octet mark group and local MACs (RFC 7042 section 2.1).

    01-00-5E-90-10-00 is for documentation.
    """
    assert Mac.from_text("01-00-5E-90-10-00").group
    assert Mac.from_text("02-00-00-00-00-01").local


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), max_size=8), st.integers(0, 60), st.integers(0, 60))
def test_ranges_without_excluded_ones(pairs: list[tuple[int, int]], one: int, other: int) -> None:
    """The parts hold exactly the addresses that no excluded range has, checked address by address."""
    span = Range(4, min(one, other), max(one, other))
    excluded = [Range(4, min(pair), max(pair)) for pair in pairs] + [Range(6, 0, 99)]
    parts = [part for _, part in ranges_without([("", span)], excluded)]
    left = {
        value
        for value in range(span.low, span.high + 1)
        if not any(low <= value <= high for _, low, high in excluded[:-1])
    }
    assert [value for part in parts for value in range(part.low, part.high + 1)] == sorted(left)
