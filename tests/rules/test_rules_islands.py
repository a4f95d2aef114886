"""Machines with the same inside addresses behind translating routers: conflicts outside, and conversations."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from netcheck.rules.engine import Checked

SITE = """format = 1
[site]
name = "Example"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"
pools = ["10.62.20.200-10.62.20.219"]
[[device]]
name = "server"
[[device.interface]]
name = "lan"
subnet = "process"
address = "10.62.20.50"
[[survey]]
file = "site-hosts.csv"
taken = 2026-10-28
covers = ["10.62.20.0/24"]
"""
MACHINE = """
[[subnet]]
name = "m{n}"
prefix = "192.168.10.0/24"
gateway = "192.168.10.1"
island = "machine-{n}"
[[device]]
name = "plc{n}"
[[device.interface]]
name = "cpu"
subnet = "m{n}"
address = "192.168.10.5"
{keys}
[[router]]
name = "skid-{n}"
interfaces = ["10.62.20.{n}0/24", "192.168.10.1/24"]
[[survey]]
file = "site-hosts.csv"
taken = 2026-10-28
covers = ["192.168.10.0/24"]
island = "machine-{n}"
"""


def machine(number: int, keys: str = "") -> str:
    """Return a machine on its own island, with its router."""
    return MACHINE.format(n=number, keys=keys)


def translation(number: int, outside: str, inside: str = "192.168.10.5") -> str:
    """Return a translation of a machine's router."""
    keys = f'outside = "{outside}"\ninside = "{inside}"\nisland = "machine-{number}"\nat = "skid-{number}"'
    return f"[[translation]]\n{keys}\n"


def talk(source: str, target: str) -> str:
    """Return a conversation."""
    return f'[[conversation]]\nfrom = "{source}"\nto = "{target}"\n'


TWO = SITE + machine(6) + machine(7)
BOTH = TWO + translation(6, "10.62.20.61") + translation(7, "10.62.20.71")


def broken(found: Checked) -> list[tuple[str, tuple[str, ...]]]:
    """Return the broken rules and their subjects."""
    return [(finding.rule, finding.subjects) for finding in found.findings]


def test_the_same_inside_addresses_are_no_clash(checked: Callable[..., Checked]) -> None:
    """Two equal machines with different outside addresses cause no finding, and packets arrive in both directions."""
    found = checked(
        BOTH + talk("server/lan", "plc6/cpu") + talk("plc7/cpu", "server/lan") + talk("plc6/cpu", "plc7/cpu")
    )
    assert broken(found) == []
    ways = [[way.outcome.value for way in (talk.there, talk.back)] for talk in found.conversations]
    assert ways == [["delivered", "delivered"]] * 3
    assert [str(hop) for hop in found.conversations[0].there.through] == ["10.62.20.61"]
    assert [str(hop) for hop in found.conversations[1].there.through] == ["192.168.10.1"]
    assert [str(hop) for hop in found.conversations[2].there.through] == ["192.168.10.1", "10.62.20.71"]


@pytest.mark.parametrize(
    ("more", "hosts", "rules"),
    [
        pytest.param(translation(6, "10.62.20.61", "192.168.10.99"), "",
                     [("translation-to-nothing", ("skid-6/10.62.20.61",))],
                     id="to nothing"),
        pytest.param(translation(6, "10.62.20.61") + translation(7, "10.62.20.61"), "",
                     [("translated-twice", ("skid-6/10.62.20.61", "skid-7/10.62.20.61"))],
                     id="one outside for two"),
        pytest.param(translation(6, "10.62.20.61") + translation(6, "10.62.20.62"), "",
                     [("translated-twice", ("skid-6/10.62.20.61", "skid-6/10.62.20.62"))], id="two outside for one"),
        pytest.param(translation(6, "10.62.20.60"), "", [("outside-address-taken", ("skid-6/10.62.20.60",))],
                     id="the router's own"),
        pytest.param(translation(6, "10.62.20.50"), "", [("planned-twice", ("server/lan", "skid-6/10.62.20.50"))],
                     id="a planned one"),
        pytest.param(translation(6, "10.62.20.99"), "10.62.20.99,00-00-5E-00-53-99,camera\n",
                     [("taken-on-site", ("skid-6/10.62.20.99",))], id="a site host's"),
        pytest.param(translation(6, "10.62.20.1"), "", [("is-gateway", ("skid-6/10.62.20.1",))], id="the gateway's"),
        pytest.param(translation(6, "10.62.20.255"), "", [("unusable-address", ("skid-6/10.62.20.255",))],
                     id="broadcast"),
        pytest.param(translation(6, "10.62.20.205"), "", [("inside-pool", ("skid-6/10.62.20.205",))], id="in a pool"),
        pytest.param(translation(6, "10.62.20.300"), "", [("unreadable-value", ("skid-6/10.62.20.300",))],
                     id="unreadable"),
    ],
)  # fmt: skip
def test_outside_addresses_are_checked_like_planned_ones(
    more: str, hosts: str, rules: list[tuple[str, tuple[str, ...]]], checked: Callable[..., Checked]
) -> None:
    """All rules on addresses check them as `router/outside address`; translation rules check the translation."""
    assert sorted(broken(checked(TWO + more, "address,mac,name\n" + hosts))) == sorted(rules)


def test_without_a_translation_no_packet_passes(checked: Callable[..., Checked]) -> None:
    """The finding says which translation is missing."""
    found = checked(SITE + machine(6) + talk("server/lan", "plc6/cpu"))
    (finding,) = found.findings
    assert finding.rule == "no-way-there"
    assert finding.subjects == ("server/lan", "plc6/cpu")
    assert "no translation gives plc6/cpu an address on island site" in finding.message
    assert "add a translation" in finding.message


def test_an_inside_gateway_that_is_wrong_stops_the_answer(checked: Callable[..., Checked]) -> None:
    """The packets arrive, but the reply goes to a gateway that does not exist: it is undecided or lost."""
    text = (
        SITE + machine(6, 'gateway = "192.168.11.1"') + translation(6, "10.62.20.61") + talk("server/lan", "plc6/cpu")
    )
    found = checked(text)
    assert found.conversations[0].there.outcome.value == "delivered"
    assert found.conversations[0].back.outcome.value == "lost"
    assert ("no-way-back", ("server/lan", "plc6/cpu")) in broken(found)


@pytest.mark.parametrize(
    ("hosts", "pools", "rules"),
    [
        ("10.62.20.10,00-00-5E-00-53-99,camera", "", ["taken-on-site"]),
        ("10.62.20.10,,", "", ["taken-on-site"]),
        ("10.62.20.10,,skid-1", "", []),
        ("192.168.10.1,,", "", []),
        ("10.62.20.80,,", '"10.62.20.8-10.62.20.12", ', ["inside-pool"]),
    ],
)
def test_the_outside_address_of_the_router_itself_is_checked(
    hosts: str, pools: str, rules: list[str], checked: Callable[..., Checked]
) -> None:
    """A translating router is new on the site: the address of its outside interface must be free there."""
    text = SITE.replace("pools = [", f"pools = [{pools}") + machine(1)
    found = checked(text + translation(1, "10.62.20.61"), f"address,mac,name\n{hosts}\n").findings
    assert [(finding.rule, finding.subjects) for finding in found if finding.rule != "already-there"] == [
        (rule, ("skid-1",)) for rule in rules
    ]


SHARED = """[[translation]]
outside = "10.62.20.10"
inside = "192.168.10.0/24"
island = "machine-1"
at = "skid-1"
"""


@pytest.mark.parametrize(
    ("ends", "starts", "outcomes"),
    [
        (("plc1/cpu", "server/lan"), "", ["delivered", "delivered"]),
        (("plc1/cpu", "server/lan"), "from", ["delivered", "delivered"]),
        (("server/lan", "plc1/cpu"), "to", ["delivered", "delivered"]),
        (("server/lan", "plc1/cpu"), "", ["lost", "delivered"]),
        (("plc1/cpu", "server/lan"), "to", ["delivered", "lost"]),
        (("plc1/cpu", "server/lan"), "both", ["delivered", "lost"]),
    ],
)
def test_many_inside_share_one_outside_address(
    ends: tuple[str, str], starts: str, outcomes: list[str], checked: Callable[..., Checked]
) -> None:
    """RFC 3022 section 2.2: only inside hosts open connections; the outside address may be the router's own."""
    text = SITE + machine(1) + SHARED + talk(*ends).rstrip() + f'\nstarts = "{starts}"\n'
    found = checked(text)
    (one,) = found.conversations
    assert [one.there.outcome.value, one.back.outcome.value] == outcomes
    rules = [finding.rule for finding in found.findings]
    assert rules == [{"lost": "no-way-there", "delivered": "no-way-back"}[outcomes[0]]] * ("lost" in outcomes)
