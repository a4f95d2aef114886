"""The rules that apply to IPv6, on IPv6-only and dual-stack interfaces."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address
from netcheck.rules.engine import Checked

HEAD = """format = 1
[site]
name = "Example"
[[subnet]]
name = "four"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"
[[subnet]]
name = "six"
prefix = "fd62:20::/64"
gateway = "fe80::1"
[[survey]]
file = "site-hosts.csv"
taken = 2026-10-28
covers = ["0.0.0.0/0", "::/0"]
"""
CPU = "plc/cpu"


def device(name: str, keys: str) -> str:
    """Return a device with one interface."""
    return f'[[device]]\nname = "{name}"\n[[device.interface]]\nname = "cpu"\n{keys}\n'


def dual(address6: str, more: str = "") -> str:
    """Return a dual-stack interface."""
    return device("plc", f'subnet = "four"\naddress = "10.62.20.61"\naddress6 = "{address6}"\n{more}')


def alone(address: str, more: str = "") -> str:
    """Return an IPv6-only interface."""
    return device("plc", f'subnet = "six"\naddress = "{address}"\n{more}')


@pytest.mark.parametrize(
    ("text", "hosts", "rules"),
    [
        pytest.param(alone("fd62:20::61"), "", set(), id="a good one"),
        pytest.param(dual("fd62:20::61"), "", set(), id="a good pair"),
        pytest.param(alone("fd62:21::61"), "", {"outside-subnet"}, id="outside"),
        pytest.param(dual("fd62:21::61", 'subnet6 = "six"'), "", {"outside-subnet"}, id="the second outside"),
        pytest.param(alone("fd62:20::"), "", {"unusable-address"}, id="subnet-router anycast (RFC 4291 section 2.6.1)"),
        pytest.param(alone("ff02::1"), "", {"outside-subnet", "unusable-address"},
                     id="multicast (RFC 4291 section 2.7)"),
        pytest.param(alone("fd62:20::61"), "fd62:20::61,00-00-5E-00-53-99,camera\n", {"taken-on-site"}, id="taken"),
        pytest.param(dual("fd62:20::61"), "FD62:20:0:0::0061,00-00-5E-00-53-99,camera\n", {"taken-on-site"},
                     id="taken, the second, in another spelling"),
        pytest.param(alone("fd62:20::61") + device("twin", 'subnet = "six"\naddress = "FD62:20:0::61"'), "",
                     {"planned-twice"}, id="planned twice in two spellings (RFC 5952)"),
        pytest.param(dual("fd62:20::61") + device("twin", 'subnet = "six"\naddress = "fd62:20::61"'), "",
                     {"planned-twice"}, id="planned twice, as the second and alone"),
        pytest.param(alone("fd62:20::61", 'gateway = "fe80::9"'), "", {"gateway-differs"}, id="link-local gateway"),
        pytest.param(alone("fd62:20::61", 'gateway = "fe80::1%eth0"'), "", set(), id="with its zone (RFC 4007)"),
        pytest.param(alone("fd62:20::61", 'gateway = "fd62:21::1"'), "", {"gateway-off-link", "gateway-differs"},
                     id="gateway off link"),
        pytest.param(dual("fd62:20::61", 'gateway6 = "fd62:21::1"'), "", {"gateway-off-link", "gateway-differs"},
                     id="the second's gateway off link"),
        pytest.param(alone("fd62:20::61", 'mask = "/56"'), "", {"mask-differs"}, id="prefix length"),
        pytest.param(alone("2001:db8::1"), "", {"outside-subnet", "special-purpose"}, id="documentation (RFC 3849)"),
        pytest.param(dual("10.62.20.62"), "", {"unreadable-value"}, id="IPv4 where IPv6 is expected"),
        pytest.param(dual("fd62:20::g"), "", {"unreadable-value"}, id="unreadable"),
        pytest.param('[[subnet]]\nname = "half"\nprefix = "fd62:20::/65"\n' + alone("fd62:20::61"), "",
                     {"subnets-overlap"}, id="overlap"),
    ],
)  # fmt: skip
def test_what_is_found(text: str, hosts: str, rules: set[str], checked: Callable[..., Checked]) -> None:
    """Exactly these rules are broken."""
    found = checked(HEAD + text, "address,mac,name\n" + hosts)
    assert {finding.rule for finding in found.findings} == rules


def test_conversations_use_the_common_family(checked: Callable[..., Checked]) -> None:
    """A dual-stack interface reaches an IPv6-only one from its second address, through a link-local gateway."""
    text = (
        HEAD
        + '[[subnet]]\nname = "far"\nprefix = "fd62:30::/64"\ngateway = "fd62:30::1"\n'
        + '[[router]]\nname = "site-router"\ninterfaces = ["fe80::1/64", "fd62:20::1/64", "fd62:30::1/64"]\n'
        + dual("fd62:20::61")
        + device("panel", 'subnet = "far"\naddress = "fd62:30::7"')
        + '[[conversation]]\nfrom = "plc/cpu"\nto = "panel/cpu"\n'
    )
    (talk,) = checked(text).conversations
    assert [way.outcome.value for way in (talk.there, talk.back)] == ["delivered", "delivered"]
    assert [str(hop) for hop in talk.back.through] == ["fd62:30::1"]


@given(st.integers(0, (1 << 128) - 1))
def test_addresses_are_written_as_rfc_5952_says(value: int) -> None:
    """Addresses have the text of the standard library, which is the form of RFC 5952, and are read back."""
    text = str(Address(6, value))
    assert ipaddress.IPv6Address(text) == ipaddress.IPv6Address(value)
    assert Address.from_text(text) == Address(6, value)
    if value >> 32 != 0xFFFF:  # older versions write IPv4-mapped addresses in hexadecimal (RFC 5952 section 5)
        assert text == str(ipaddress.IPv6Address(value))
