"""Rules on subnets and VLANs: overlaps, reused VLAN IDs, misplaced pools, full subnets."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations, islice

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Subnet
from netcheck.rules.finding import Breach, Severity, places
from netcheck.rules.rule import PROCESS, Rule, one, plan
from netcheck.rules.scene import Scene
from netcheck.space.intervals import Prefixes, Spans, single
from netcheck.space.occupancy import Island
from netcheck.space.usable import usable_ranges
from netcheck.text import listed

VLAN_LOW, VLAN_HIGH = 1, 4094  # RFC 4363 section 5, VlanId
# A subnet that clashes with more than this number of others gets one finding for all of them, because a finding for
# each pair would hide all other findings. Common practice, no source.
MOST_PAIRS = 20
SHOWN = 6  # subnets that such a finding names


def _pair(first: Subnet, second: Subnet, message: str) -> Breach:
    return Breach((first.name, second.name), message, places((first.position, second.position)))


def _overlap(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        numbered = [(number, subnet, subnet.prefix.value) for number, subnet in enumerate(island.subnets)]
        readable = [(number, subnet, prefix) for number, subnet, prefix in numbered if prefix is not None]
        prefixes = Prefixes((number, prefix) for number, _, prefix in readable)
        counts = {number: prefixes.count(prefix) - 1 for number, _, prefix in readable}
        for number, subnet, prefix in readable:
            others = (other for other in prefixes.sharing(prefix) if other != number)
            if counts[number] > MOST_PAIRS:
                named = ", ".join(island.subnets[other].name for other in islice(others, SHOWN))
                with_whom = f"{counts[number]} other subnets: {named} and {counts[number] - SHOWN} more"
                message = f"{prefix} of {subnet.name} shares addresses with {with_whom}"
                yield Breach((subnet.name,), message, str(subnet.position))
                continue
            for other in sorted(others):
                if other > number and counts[other] <= MOST_PAIRS:
                    second = island.subnets[other]
                    message = f"{prefix} of {subnet.name} and {second.prefix.value} of {second.name} share addresses"
                    yield _pair(subnet, second, message)
    yield from _overlap_elsewhere(scene)


def _overlap_elsewhere(scene: Scene) -> Iterator[Breach]:
    """Compare each subnet with those of other plans; at most `MOST_PAIRS` clashes of a subnet are reported."""
    theirs = list(scene.others.subnets())
    alike: dict[tuple[object, ...], list[int]] = {}  # the numbers of those with one description
    for number, (_, subnet) in enumerate(theirs):
        if subnet.prefix.value is not None:
            alike.setdefault(_description(subnet), []).append(number)
    groups = {numbers[0]: numbers for numbers in alike.values()}
    firsts: dict[str, list[tuple[int, Prefix]]] = {}
    for number in groups:
        subnet = theirs[number][1]
        if subnet.prefix.value is not None:
            firsts.setdefault(subnet.island, []).append((number, subnet.prefix.value))
    prefixes = {island: Prefixes(pairs) for island, pairs in firsts.items()}
    for subnet in scene.plan.subnets if prefixes else ():
        prefix, island = subnet.prefix.value, subnet.island
        sharing = sorted(prefixes[island].sharing(prefix)) if prefix and island in prefixes else ()
        clashing = ((first, message) for first in sharing if (message := _clash(subnet, theirs[first][1])))
        several = [(number, message) for first, message in islice(clashing, MOST_PAIRS + 1) for number in groups[first]]
        for count, (number, message) in enumerate(sorted(several)[: MOST_PAIRS + 1]):
            other, one = theirs[number]
            party = f"{other.label}: {one.name}"
            what = f"{message} of subnet {one.name} in plan {other.label}"
            if count == MOST_PAIRS:
                what = f"{prefix} clashes with further subnets of other plans; the next one is {party}"
            yield Breach((subnet.name,), what, str(subnet.position), others=(party,))


def _description(subnet: Subnet) -> tuple[object, ...]:
    """Return what `_clash` compares of a subnet of another plan, and its island."""
    gateway = subnet.gateway.value if subnet.gateway else None
    return subnet.island, subnet.prefix.value, gateway, subnet.vlan, tuple(cell.value for cell in subnet.pools)


def _clash(mine: Subnet, theirs: Subnet) -> str:
    """Return in words how the subnet of another plan clashes with this one; empty if both descriptions agree."""
    if mine.prefix.value != theirs.prefix.value:
        return f"{mine.prefix.value} shares addresses with {theirs.prefix.value}"
    differences = list(_differences(mine, theirs))
    return f"{mine.prefix.value} has {listed(differences)}" if differences else ""


def _differences(mine: Subnet, theirs: Subnet) -> Iterator[str]:
    """Yield in words each difference between two descriptions of one subnet; each may omit the gateway or the VLAN."""
    here, there = (one.gateway.value if one.gateway else None for one in (mine, theirs))
    if here is not None and there is not None and here != there:
        yield f"gateway {here} and not {there}"
    if mine.vlan is not None and theirs.vlan is not None and mine.vlan != theirs.vlan:
        yield f"VLAN {mine.vlan} and not {theirs.vlan}"
    pools, others = (Spans(cell.value for cell in one.pools if cell.value) for one in (mine, theirs))
    if list(pools.ranges()) != list(others.ranges()):
        shown = [listed([str(span) for span in spans.ranges()]) for spans in (pools, others)]
        yield f"pools {shown[0]} and not {shown[1]}"


def _vlan_unusable(scene: Scene) -> Iterator[Breach]:
    for subnet in scene.plan.subnets:
        if subnet.vlan is not None and not VLAN_LOW <= subnet.vlan <= VLAN_HIGH:
            message = f"VLAN ID {subnet.vlan} is not from {VLAN_LOW} to {VLAN_HIGH}"
            yield Breach((subnet.name,), message, str(subnet.position))


def _vlan_reused(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        users: dict[int, list[Subnet]] = {}
        for subnet in island.subnets:
            if subnet.vlan is not None:
                users.setdefault(subnet.vlan, []).append(subnet)
        for vlan, subnets in users.items():
            if len(subnets) > MOST_PAIRS + 1:
                names = [subnet.name for subnet in subnets]
                message = f"VLAN ID {vlan} is used for {len(names)} subnets: {listed(names)}"
                yield Breach(tuple(names), message, places(subnet.position for subnet in subnets))
                continue
            for first, second in combinations(subnets, 2):
                if not _dual_stack(first, second):
                    yield _pair(first, second, f"VLAN ID {vlan} is used for both {first.name} and {second.name}")


def _dual_stack(first: Subnet, second: Subnet) -> bool:
    """Return whether the two are the IPv4 and the IPv6 subnet of one segment."""
    one, two = first.prefix.value, second.prefix.value
    return one is not None and two is not None and one.family != two.family


def _crowded(scene: Scene) -> Iterator[Breach]:
    limit = Fraction(str(scene.plan.crowded))
    for island in scene.islands.values():
        for subnet in island.subnets:
            if subnet.prefix.value is not None:
                used, usable = _use(island, subnet, subnet.prefix.value)
                if usable and Fraction(used, usable) > limit:
                    share = f"{100 * used / usable:.4g} %"
                    message = f"{used} of {usable} usable addresses are in use or reserved, {share}; the limit is "
                    yield Breach((subnet.name,), message + f"{100 * float(limit):g} %", str(subnet.position))


def _use(island: Island, subnet: Subnet, prefix: Prefix) -> tuple[int, int]:
    """Return the number of used addresses without the gateway, and the number of usable addresses.

    Used are planned addresses, site hosts, pools and reserved ranges.
    """
    used = usable = 0
    gateway = subnet.gateway.value if subnet.gateway else None
    for span in usable_ranges(prefix):
        usable += span.size
        used += island.used(span)
        if gateway and span.holds(gateway):
            used -= island.used(single(gateway))
    return used, usable


def _pool_outside(scene: Scene) -> Iterator[Breach]:
    for subnet in scene.plan.subnets:
        prefix = subnet.prefix.value
        for kind, cells in (("pool", subnet.pools), ("reserved range", subnet.reserved)):
            for cell in cells if prefix is not None else ():
                span = cell.value
                if span is not None and prefix is not None and not _inside(prefix, span):
                    message = f"the {kind} {span} is not inside {prefix}"
                    yield Breach((subnet.name,), message, str(cell.position), others=(str(span),))


def _inside(prefix: Prefix, span: Range) -> bool:
    return all(prefix.holds(Address(span.family, end)) for end in (span.low, span.high))


def _second(prefix: str, more: str = "") -> str:
    return f'[[subnet]]\nname = "packing"\nprefix = "{prefix}"\n{more}'


SUBNETS_OVERLAP = Rule(
    slug="subnets-overlap",
    severity=Severity.CONFLICT,
    what="Two subnets of one island share addresses, or another plan of the same call describes a subnet differently.",
    why="The shared addresses belong to two segments. Hosts of one segment treat hosts of the other as on-link, and a "
    "router sends to the longer prefix. If two plans give one subnet a different gateway, VLAN or pools, one is wrong.",
    bad=plan(_second("10.62.20.128/25")),
    good=plan(_second("10.62.21.0/25")),
    source="our own rule, because of RFC 1122 section 3.3.1.1 and RFC 1812 section 5.2.4.3 together",
    check=_overlap,
)
VLAN_UNUSABLE = Rule(
    slug="vlan-unusable",
    severity=Severity.CONFLICT,
    what="The VLAN ID is outside 1..4094.",
    why="0 means no VLAN and 4095 is reserved; switches accept neither.",
    bad=plan(subnet=PROCESS + "\nvlan = 4095"),
    good=plan(subnet=PROCESS + "\nvlan = 4094"),
    source="RFC 4363 section 5; RFC 6325 section 4.1.1",
    check=_vlan_unusable,
)
VLAN_REUSED = Rule(
    slug="vlan-reused",
    severity=Severity.RISK,
    what="One VLAN ID is used for two subnets of an island.",
    why="Either both subnets share a segment, which the site must know, or one of the IDs is wrong and devices will be "
    "connected to the wrong segment.",
    bad=plan(_second("10.62.30.0/24", "vlan = 620"), subnet=PROCESS + "\nvlan = 620"),
    good=plan(_second("10.62.30.0/24", "vlan = 630"), subnet=PROCESS + "\nvlan = 620"),
    source="our own rule, because one VLAN is one segment, and two subnets on one segment are rarely intended",
    check=_vlan_reused,
)
CROWDED = Rule(
    slug="crowded",
    severity=Severity.RISK,
    what="Planned addresses, site hosts, pools and reserved ranges take more of a subnet's usable addresses than the "
    "share `crowded`.",
    why="The next device will not fit, and renumbering a running plant costs far more than a larger subnet now.",
    bad=one('address = "10.62.20.2"', subnet='prefix = "10.62.20.0/29"\npools = ["10.62.20.3-10.62.20.6"]'),
    good=one('address = "10.62.20.2"', subnet='prefix = "10.62.20.0/28"\npools = ["10.62.20.3-10.62.20.6"]'),
    source="our own rule, because a full subnet must be renumbered; the limit is `crowded` of the plan",
    check=_crowded,
)
POOL_OUTSIDE_SUBNET = Rule(
    slug="pool-outside-subnet",
    severity=Severity.CONFLICT,
    what="A pool or reserved range is not inside the prefix of its subnet.",
    why="A digit is wrong, or the range belongs to another subnet. The addresses that the site really assigns are then "
    "unknown, and one of them may be proposed.",
    bad=plan(subnet=PROCESS + '\npools = ["10.62.20.200-10.62.21.20"]'),
    good=plan(subnet=PROCESS + '\npools = ["10.62.20.200-10.62.20.220"]'),
    source="RFC 2131 section 4.3.1: a server selects addresses of the client's subnet",
    check=_pool_outside,
)
