"""All fixes of one run fit together: if all are applied, each resolves its findings."""

from __future__ import annotations

import ipaddress
from dataclasses import replace
from datetime import date
from typing import TypeVar

from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Address, InterfaceAddress, Mac, Prefix, Range
from netcheck.plan.model import Accepted, Cell, Interface, Plan, Position, Router, Station, Subnet, SurveyEntry
from netcheck.rules.engine import Checked, check
from netcheck.rules.finding import Finding
from netcheck.survey.host_table import HostTable, SiteHost
from netcheck.survey.model import Survey

T = TypeVar("T")
HERE = Position("plan.toml")
TODAY = date(2026, 11, 2)
# The rules whose findings are resolved by another address, which `suggest --write` writes.
MENDABLE = {
    "outside-subnet",
    "unusable-address",
    "planned-twice",
    "taken-on-site",
    "inside-pool",
    "inside-reserved",
    "is-gateway",
    "is-station",
    "special-purpose",
    "public-address",
    "too-near",
}
BASE = Address.from_text("10.62.20.0").value
# Small, overlapping, documentation (RFC 5737) and partly public (RFC 1918 section 3) prefixes; in 172.0.0.0/11 all
# below 172.16.0.0 is public.
PREFIXES = ("10.62.20.0/28", "10.62.20.0/29", "10.62.20.16/29", "10.62.20.24/31", "192.0.2.0/29", "172.0.0.0/11")

octets = st.integers(0, 40)
addresses = st.one_of(
    octets.map(lambda octet: Address(4, BASE + octet)),
    st.sampled_from(["192.0.2.3", "127.0.0.1", "172.15.255.250", "172.16.0.3", "8.0.0.1"]).map(Address.from_text),
)
macs = st.none() | st.integers(0, 6).map(lambda low: Mac(0x00005E005300 + low))


def cell(value: T) -> Cell[T]:
    """Return a readable cell."""
    return Cell(str(value), value, HERE)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Draw crowded plans with many clashes, each with its site hosts."""
    prefixes = draw(st.lists(st.sampled_from(PREFIXES), min_size=1, max_size=3))
    subnets = tuple(draw(subnet_of(f"subnet-{index}", text)) for index, text in enumerate(prefixes))
    interfaces = tuple(
        draw(interface_of(f"device-{index // 2}", f"if-{index}", subnets)) for index in range(draw(st.integers(1, 9)))
    )
    routers = (Router("router-1", (cell(InterfaceAddress(draw(addresses), 28)),), HERE),)
    stations = (Station("laptop", cell(InterfaceAddress(draw(addresses), 28)), HERE),)
    entry = SurveyEntry(file="site-hosts.csv", position=HERE, taken=TODAY)
    return Plan(
        name="Example",
        slug="example",
        folder=".",
        sha256="",
        keep_clear=draw(st.integers(0, 4)),
        subnets=subnets,
        interfaces=interfaces,
        routers=routers,
        stations=stations,
        surveys=(entry,),
    )


@st.composite
def subnet_of(draw: st.DrawFn, name: str, text: str) -> Subnet:
    """Draw a subnet, with or without gateway, pool and reserved range."""
    low, high = sorted(draw(st.tuples(octets, octets)))
    span = cell(Range(4, BASE + low, BASE + min(high, low + 5)))
    island = draw(st.sampled_from(["site", "site", "line-2"]))
    prefix = cell(Prefix.from_text(text))
    gateway = cell(draw(addresses)) if draw(st.booleans()) else None
    return Subnet(
        name=name,
        prefix=prefix,
        position=HERE,
        gateway=gateway,
        vlan=None,
        island=island,
        pools=(span,) if draw(st.booleans()) else (),
    )


@st.composite
def interface_of(draw: st.DrawFn, device: str, name: str, subnets: tuple[Subnet, ...]) -> Interface:
    """Draw an interface, with or without address, of one of two kinds or none."""
    address = draw(st.none() | addresses)
    mac = draw(macs)
    return Interface(
        device,
        name,
        draw(st.sampled_from(subnets)).name,
        HERE,
        draw(st.sampled_from(["", "drive", "controller"])),
        address=cell(address) if address else None,
        mac=cell(mac) if mac else None,
        granted=draw(st.sampled_from(["", "", "site IT"])),
    )


def surveys_of(plan: Plan, hosts: list[SiteHost]) -> tuple[Survey, ...]:
    """Return the only survey of the plan, with these hosts."""
    return (Survey(entry=plan.surveys[0], hosts=HostTable.of(hosts), kind="csv"),)


def applied(plan: Plan, found: Checked) -> Plan:
    """Return the plan with every fix of a check applied."""
    new = {
        subject: address
        for finding in found.findings
        for subject, address in (finding.fix.addresses if finding.fix else ())
    }
    moved = (
        each._replace(address=cell(new[each.subject])) if each.subject in new else each for each in plan.interfaces
    )
    return replace(plan, interfaces=tuple(moved))


def with_fix(found: Checked) -> list[Finding]:
    """Return the findings that have a fix."""
    return [finding for finding in found.findings if finding.fix]


hosts_lists = st.lists(st.tuples(addresses, macs).map(lambda one: SiteHost(*one)), max_size=8)


@settings(max_examples=120, deadline=None)
@given(plans(), hosts_lists)
def test_all_fixes_together_resolve_their_findings(plan: Plan, hosts: list[SiteHost]) -> None:
    """After all fixes, their findings are gone and no other subject has a new clash."""
    before = check(plan, surveys_of(plan, hosts), TODAY)
    after = check(applied(plan, before), surveys_of(plan, hosts), TODAY)
    left = {(finding.rule, subject) for finding in after.findings for subject in finding.subjects}
    for finding in with_fix(before):
        assert finding.fix
        for subject, _ in finding.fix.addresses:
            assert (finding.rule, subject) not in left
    had = {(finding.rule, subject) for finding in before.findings for subject in finding.subjects}
    intrinsic = {"special-purpose", "public-address"}  # of a subnet that has no address for private use at all
    assert {(rule, subject) for rule, subject in left - had if rule in MENDABLE - intrinsic} == set()


@settings(max_examples=60, deadline=None)
@given(plans(), hosts_lists)
def test_no_address_is_offered_twice(plan: Plan, hosts: list[SiteHost]) -> None:
    """A subject has the same new address in all its findings, and the subjects of an island get different ones."""
    found = check(plan, surveys_of(plan, hosts), TODAY)
    offers: dict[str, set[Address]] = {}
    for finding in with_fix(found):
        assert finding.fix
        for subject, address in finding.fix.addresses:
            offers.setdefault(subject, set()).add(address)
    assert all(len(several) == 1 for several in offers.values())
    taken = [(plan.island_of(plan.interface_named[subject]), *several) for subject, several in offers.items()]
    assert len(set(taken)) == len(taken)
    for subject, several in offers.items():
        network = ipaddress.ip_network(str(plan.subnet_of(plan.interface_named[subject]).prefix.value))
        assert all(ipaddress.ip_address(str(address)) in network for address in several)


@settings(max_examples=60, deadline=None)
@given(plans(), hosts_lists)
def test_the_first_holder_keeps_a_shared_address(plan: Plan, hosts: list[SiteHost]) -> None:
    """A fix of `planned-twice` moves all subjects but one.

    The installed subject keeps the address; if none is installed, a granted one; otherwise the first. Fixes of other
    rules give each subject an address.
    """
    for finding in with_fix(check(plan, surveys_of(plan, hosts), TODAY)):
        assert finding.fix
        subjects = [subject for subject, _ in finding.fix.addresses]
        interfaces = [plan.interface_named[subject] for subject in finding.subjects if subject in plan.interface_named]
        there = {(str(host.address), host.mac) for host in hosts if host.mac is not None}
        of_site = [one for one in interfaces if plan.island_of(one) == plan.surveys[0].island and one.mac]
        installed = [one.subject for one in of_site if one.mac and (finding.address, one.mac.value) in there]
        granted = [one.subject for one in interfaces if one.granted]
        keeper = [*installed, *granted, *finding.subjects][0] if finding.rule == "planned-twice" else None
        assert subjects == [subject for subject in finding.subjects if subject != keeper]
        assert finding.rule in MENDABLE | {"unplaced"}


@settings(max_examples=60, deadline=None)
@given(plans(), hosts_lists, st.data())
def test_accepted_addresses_are_left_alone(plan: Plan, hosts: list[SiteHost], data: st.DataObject) -> None:
    """An accepted finding is not counted in any severity and gets no fix."""
    before = check(plan, surveys_of(plan, hosts), TODAY)
    if before.findings:
        chosen = data.draw(st.sampled_from(before.findings))
        entry = Accepted(
            rule=chosen.rule,
            subject=chosen.subjects[0],
            by="site IT",
            because="seen",
            position=HERE,
            until=None,
            address=chosen.address or "",
            other=chosen.other,
        )
        after = check(replace(plan, accepted=(entry,)), surveys_of(plan, hosts), TODAY)
        assert [agreed.finding.key for agreed in after.accepted] == [chosen.key]
        assert all(agreed.finding.fix is None for agreed in after.accepted)
        assert chosen.key not in {finding.key for finding in after.findings}
        assert len(after.findings) == len(before.findings) - 1


@settings(max_examples=60, deadline=None)
@given(plans(), hosts_lists)
def test_a_check_is_reproducible_and_keys_are_unique(plan: Plan, hosts: list[SiteHost]) -> None:
    """A check depends only on its inputs, and all findings have different keys."""
    surveys = surveys_of(plan, hosts)
    found = check(plan, surveys, TODAY)
    assert found == check(plan, surveys, TODAY)
    assert len({finding.key for finding in found.findings}) == len(found.findings)
