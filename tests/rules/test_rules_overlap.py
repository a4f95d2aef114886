"""Overlapping subnets: the sweep finds the same pairs as a comparison of all pairs."""

from __future__ import annotations

import ipaddress
from datetime import date
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, Prefix
from netcheck.plan.model import Cell, Plan, Position, Subnet
from netcheck.rules.engine import check

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
