"""Overlapping subnets: the sweep finds the same pairs as a comparison of all pairs."""

from __future__ import annotations

import ipaddress
from datetime import date
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, Prefix
from netcheck.plan.model import Cell, Plan, Position, Subnet
from netcheck.rules.catalogue.subnet import MOST_PAIRS
from netcheck.rules.engine import check
from netcheck.rules.finding import Finding
from netcheck.rules.other_plans import OtherPlan, OtherPlans

HERE = Position("plan.toml")
prefixes = st.builds(
    lambda family, low, bits: Prefix.of(Address(family, low << (96 if family == 6 else 0)), 24 + bits),
    st.sampled_from([4, 6]),
    st.integers(0x0A000000, 0x0A0001FF),
    st.integers(0, 8),
)


@given(st.lists(st.tuples(prefixes, st.sampled_from(["site", "line-2"])), max_size=10))
def test_pairs_that_share_addresses(subnets: list[tuple[Prefix, str]]) -> None:
    """The pairs are exactly those for which `overlaps` of `ipaddress` is true, the first subnet of the plan first."""
    named = [
        Subnet(name=f"s{index}", prefix=Cell(str(prefix), prefix, HERE), position=HERE, island=island)
        for index, (prefix, island) in enumerate(subnets)
    ]
    found = check(
        Plan(name="Example", slug="example", folder=".", sha256="", subnets=tuple(named)), (), date(2026, 11, 2)
    )
    networks = {one.name: ipaddress.ip_network(one.prefix.text) for one in named}
    wanted = {
        (one.name, two.name)
        for one, two in combinations(named, 2)
        if one.island == two.island
        and networks[one.name].version == networks[two.name].version
        and networks[one.name].overlaps(networks[two.name])
    }
    pairs = [finding.subjects for finding in found.findings if finding.rule == "subnets-overlap"]
    assert set(pairs) == wanted
    assert len(pairs) == len(wanted)


def plan_of(*subnets: Subnet) -> Plan:
    """Return a plan of subnets alone."""
    return Plan(name="Example", slug="example", folder=".", sha256="", subnets=subnets)


def subnet(name: str, prefix: str, vlan: int | None = None) -> Subnet:
    """Return a subnet."""
    return Subnet(name=name, prefix=Cell(prefix, Prefix.from_text(prefix), HERE), position=HERE, vlan=vlan)


def found_in(plan: Plan, rule: str, others: OtherPlans | None = None) -> list[Finding]:
    """Return the findings of one rule."""
    checked = check(plan, (), date(2026, 11, 2), others=others or OtherPlans())
    return [finding for finding in checked.findings if finding.rule == rule]


def test_many_overlaps_of_a_subnet_are_one_finding() -> None:
    """Up to `MOST_PAIRS` others each pair is a finding; one more, and the subnet has one finding with their number.
    The pairs of the other subnets stay.
    """
    inner = [subnet(f"line-{index}", f"10.0.{index}.0/24") for index in range(MOST_PAIRS)]
    whole = subnet("whole", "10.0.0.0/16")
    half = subnet("half", "10.0.0.0/25")
    pairs = found_in(plan_of(whole, *inner), "subnets-overlap")
    assert [finding.subjects for finding in pairs] == [("whole", one.name) for one in inner]
    assert pairs[0].message == "10.0.0.0/16 of whole and 10.0.0.0/24 of line-0 share addresses"
    several, pair = found_in(plan_of(whole, *inner, half), "subnets-overlap")
    assert several.subjects == ("whole",)
    assert several.message == (
        "10.0.0.0/16 of whole shares addresses with 21 other subnets: "
        "line-0, half, line-1, line-2, line-3, line-4 and 15 more"
    )
    assert pair.subjects == ("line-0", "half")


def test_the_number_of_overlaps_found_grows_with_the_subnets() -> None:
    """Of 400 subnets of one prefix each has one finding, not one for each of 79,800 pairs."""
    alike = [subnet(f"s{index}", "10.0.0.0/8") for index in range(400)]
    found = found_in(plan_of(*alike), "subnets-overlap")
    assert [finding.subjects for finding in found] == [(one.name,) for one in alike]
    assert all("399 other subnets" in finding.message for finding in found)


def test_clashes_with_other_plans_are_bounded() -> None:
    """`MOST_PAIRS` subnets of other plans are named one by one, and one finding says that there are more."""
    other = OtherPlan(label="b", plan=plan_of(*(subnet(f"t{n}", f"10.0.{n}.0/24") for n in range(MOST_PAIRS + 5))))
    found = found_in(plan_of(subnet("whole", "10.0.0.0/16")), "subnets-overlap", OtherPlans((other,)))
    assert [finding.others for finding in found] == [(f"b: t{n}",) for n in range(MOST_PAIRS + 1)]
    assert found[0].message == "10.0.0.0/16 shares addresses with 10.0.0.0/24 of subnet t0 in plan b"
    assert found[-1].message == "10.0.0.0/16 clashes with further subnets of other plans; the next one is b: t20"


def test_a_vlan_of_many_subnets_is_one_finding() -> None:
    """Of 22 subnets with one VLAN ID all are named in one finding; of three each pair is one."""
    for number, findings in ((3, 3), (MOST_PAIRS + 2, 1)):
        subnets = [subnet(f"s{index}", f"10.0.{index}.0/24", vlan=620) for index in range(number)]
        found = found_in(plan_of(*subnets), "vlan-reused")
        assert len(found) == findings
        assert {name for finding in found for name in finding.subjects} == {one.name for one in subnets}
    assert found[0].message == "VLAN ID 620 is used for 22 subnets: s0, s1, s2, s3, s4, s5 and 16 more"
