"""Tests against the complete tables of RFC 1878 and RFC 4632, and the unambiguous texts of RFC 4291 and RFC 5952."""

from __future__ import annotations

import pytest

from netcheck.addr import Address, InterfaceAddress, Mask, Prefix

# RFC 4632 section 3.1 and the main table of RFC 1878: length, dotted mask, hexadecimal mask (1878), addresses (4632).
TABLE = """
/1 128.0.0.0 80.00.00.00 2147483648
/2 192.0.0.0 C0.00.00.00 1073741824
/3 224.0.0.0 E0.00.00.00 536870912
/4 240.0.0.0 F0.00.00.00 268435456
/5 248.0.0.0 F8.00.00.00 134217728
/6 252.0.0.0 FC.00.00.00 67108864
/7 254.0.0.0 FE.00.00.00 33554432
/8 255.0.0.0 FF.00.00.00 16777216
/9 255.128.0.0 FF.80.00.00 8388608
/10 255.192.0.0 FF.C0.00.00 4194304
/11 255.224.0.0 FF.E0.00.00 2097152
/12 255.240.0.0 FF.F0.00.00 1048576
/13 255.248.0.0 FF.F8.00.00 524288
/14 255.252.0.0 FF.FC.00.00 262144
/15 255.254.0.0 FF.FE.00.00 131072
/16 255.255.0.0 FF.FF.00.00 65536
/17 255.255.128.0 FF.FF.80.00 32768
/18 255.255.192.0 FF.FF.C0.00 16384
/19 255.255.224.0 FF.FF.E0.00 8192
/20 255.255.240.0 FF.FF.F0.00 4096
/21 255.255.248.0 FF.FF.F8.00 2048
/22 255.255.252.0 FF.FF.FC.00 1024
/23 255.255.254.0 FF.FF.FE.00 512
/24 255.255.255.0 FF.FF.FF.00 256
/25 255.255.255.128 FF.FF.FF.80 128
/26 255.255.255.192 FF.FF.FF.C0 64
/27 255.255.255.224 FF.FF.FF.E0 32
/28 255.255.255.240 FF.FF.FF.F0 16
/29 255.255.255.248 FF.FF.FF.F8 8
/30 255.255.255.252 FF.FF.FF.FC 4
/31 255.255.255.254 FF.FF.FF.FE 2
/32 255.255.255.255 FF.FF.FF.FF 1
"""
ROWS = [row.split() for row in TABLE.split("\n") if row]


@pytest.mark.parametrize(("length", "dotted", "digits", "size"), ROWS, ids=[row[0] for row in ROWS])
def test_the_table_of_prefixes(length: str, dotted: str, digits: str, size: str) -> None:
    """Both spellings of each mask give one mask, and its block has the printed number of addresses."""
    mask = Mask.from_text(dotted)
    assert mask == Mask.from_text(length)
    assert f"/{mask.length}" == length
    assert mask.value == int(digits.replace(".", ""), 16)
    assert Prefix.of(Address(4, 0), int(length[1:])).size == int(size)


# RFC 1878 tables 1-1 and 1-2: hosts in each subnet, and number of subnets of a /16 and of a /24. For 255.255.255.0 the
# RFC prints 255 and 253 and omits the last subnet; 256 and 254 are correct (RFC 1122 section 3.2.1.3).
@pytest.mark.parametrize(
    ("whole", "dotted", "subnets", "hosts"),
    [
        (16, "255.255.128.0", 2, 32766),
        (16, "255.255.192.0", 4, 16382),
        (16, "255.255.224.0", 8, 8190),
        (16, "255.255.240.0", 16, 4094),
        (16, "255.255.248.0", 32, 2046),
        (16, "255.255.252.0", 64, 1022),
        (16, "255.255.254.0", 128, 510),
        (16, "255.255.255.0", 256, 254),
        (24, "255.255.255.128", 2, 126),
        (24, "255.255.255.192", 4, 62),
        (24, "255.255.255.224", 8, 30),
        (24, "255.255.255.240", 16, 14),
        (24, "255.255.255.248", 32, 6),
        (24, "255.255.255.252", 64, 2),
    ],
)
def test_subnets_of_a_network(whole: int, dotted: str, subnets: int, hosts: int) -> None:
    """The last subnet ends where the network ends (in table 1-1, the RFC misprints 255.255 as 254.255)."""
    length = Mask.from_text(dotted).length
    assert length is not None
    network = Prefix.of(Address.from_text("172.16.0.0"), whole)
    last = Prefix.of(network.last, length)
    assert network.size // last.size == subnets
    assert last.usable.size == hosts
    assert last.last == network.last
    assert (last.usable.low, last.usable.high) == (last.value + 1, network.last.value - 1)


# RFC 1878 tables 2-1 (of a /16) and 2-2 (of a /24): bits of the subnet number, subnets, hosts in each. Both omit the
# subnets of all zeros and all ones; the RFC calls this rule obsolete, and RFC 1812 section 4.2.2.11 drops it.
TABLE_2_1 = [
    (2, 2, 16382), (3, 6, 8190), (4, 14, 4094), (5, 30, 2046), (6, 62, 1022), (7, 126, 510), (8, 254, 254),
    (9, 510, 126), (10, 1022, 62), (11, 2046, 30), (12, 4094, 14), (13, 8190, 6), (14, 16382, 2),
]  # fmt: skip
TABLE_2_2 = [(2, 2, 62), (3, 6, 30), (4, 14, 14), (5, 30, 6), (6, 62, 2)]


@pytest.mark.parametrize(
    ("whole", "bits", "subnets", "hosts"),
    [(length, *row) for length, table in ((16, TABLE_2_1), (24, TABLE_2_2)) for row in table],
)
def test_subnets_of_a_network_by_bits(whole: int, bits: int, subnets: int, hosts: int) -> None:
    """Each subnet has the printed number of hosts; there are two more subnets, because zero and the last are usable."""
    network = Prefix.of(Address.from_text("172.16.0.0"), whole)
    zero, ones = Prefix.of(network.first, whole + bits), Prefix.of(network.last, whole + bits)
    assert zero.usable.size == ones.usable.size == hosts
    assert (ones.value - zero.value) // zero.size + 1 == subnets + 2


def test_point_to_point_links() -> None:
    """RFC 3021 section 1: 500 point-to-point links with /31 in place of /30 save 1,000 addresses."""
    four, two = (Prefix.of(Address.from_text("10.0.0.0"), length) for length in (30, 31))
    assert four.usable.size == two.usable.size == 2
    assert 500 * (four.size - two.size) == 1000


# RFC 4632 section 6.1: each client's prefix, its mask as printed and its number of addresses. The figure labels
# C4 as a /20, which contradicts its mask in the text.
@pytest.mark.parametrize(
    ("client", "dotted", "size", "inside"),
    [
        ("10.24.0.0/21", "255.255.248.0", 2048, True),
        ("10.24.16.0/20", "255.255.240.0", 4096, True),
        ("10.24.8.0/22", "255.255.252.0", 1024, True),
        ("10.24.12.0/22", "255.255.252.0", 1024, True),
        ("10.24.32.0/23", "255.255.254.0", 512, True),
        ("10.24.34.0/23", "255.255.254.0", 512, True),
        ("10.32.0.0/20", "255.255.240.0", 4096, False),
    ],
    ids=lambda value: str(value),
)
def test_clients_of_a_provider(client: str, dotted: str, size: int, inside: bool) -> None:
    """Each client has the printed mask and number of addresses, and all but C7 are inside the provider's block."""
    provider, prefix = Prefix.from_text("10.24.0.0/13"), Prefix.from_text(client)
    assert Mask.from_text(dotted).length == prefix.length
    assert prefix.size == size
    assert provider.holds(prefix.first) is provider.holds(prefix.last) is inside


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("2001:db8::0:1", "2001:db8::1"),  # RFC 5952 section 4.2.1
        ("2001:0:0:1:0:0:0:1", "2001:0:0:1::1"),  # section 4.2.3: the longest run
        ("0:0:0:0:0:0:0:1", "::1"),  # RFC 4291 section 2.2
        ("0:0:0:0:0:0:0:0", "::"),
        ("::FFFF:129.144.52.38", "::ffff:129.144.52.38"),
        ("4037::01:800:200E:8C6C", "4037::1:800:200e:8c6c"),  # RFC 4291 section 2.7.1
    ],
)
def test_more_ipv6_text(text: str, written: str) -> None:
    """Each address has one text, in the recommended form."""
    assert str(Address.from_text(text)) == written


@pytest.mark.parametrize(
    "text",
    ["2001:0DB8:0000:CD30:0000:0000:0000:0000/60", "2001:0DB8::CD30:0:0:0:0/60", "2001:0DB8:0:CD30::/60"],
)
def test_the_legal_forms_of_a_prefix(text: str) -> None:
    """Three ways to write one 60-bit prefix give that prefix (RFC 4291 section 2.3)."""
    assert str(Prefix.from_text(text)) == "2001:db8:0:cd30::/60"


@pytest.mark.parametrize("text", ["2001:0DB8:0:CD3/60", "2001:0DB8::CD30/60", "2001:0DB8::CD3/60"])
def test_the_illegal_forms_of_a_prefix(text: str) -> None:
    """Illegal forms are refused (RFC 4291 section 2.3): the first is no address; the others have host bits set."""
    with pytest.raises(ValueError, match=r"IPv6|host bits"):
        Prefix.from_text(text)


def test_node_and_prefix_in_one() -> None:
    """The address of a node with its length gives its subnet (RFC 4291 section 2.3)."""
    both = InterfaceAddress.from_text("2001:0DB8:0:CD30:123:4567:89AB:CDEF/60")
    assert str(both.prefix) == "2001:db8:0:cd30::/60"
    assert str(both.address) == "2001:db8:0:cd30:123:4567:89ab:cdef"


@pytest.mark.parametrize(
    ("text", "size", "last"),
    [
        ("10.0.0.0/8", 16777216, "10.255.255.255"),
        ("172.16.0.0/12", 1048576, "172.31.255.255"),
        ("192.168.0.0/16", 65536, "192.168.255.255"),
    ],
)
def test_private_space(text: str, size: int, last: str) -> None:
    """The three private blocks have the printed size and last address (RFC 1918 section 3)."""
    prefix = Prefix.from_text(text)
    assert (prefix.size, str(prefix.last)) == (size, last)
