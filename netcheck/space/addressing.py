"""Finds the subnet of each address: of interfaces by address family, of outside addresses and of router interfaces.

Rules treat a dual-stack interface as two interfaces: one with `address` in its subnet, one with `address6` in the
subnet that contains it. The plan's numbering scheme gives ranges of a subnet to interfaces by kind, place or name.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fnmatch import translate
from functools import cached_property
from itertools import chain
from operator import attrgetter

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Cell, Interface, LastOctets, Plan, Position, Router, Scheme, Subnet, Translation
from netcheck.space.intervals import Cover, Spans, range_of


class SubnetLookup:
    """Finds the subnet of an address in an island of the plan."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._by_island: dict[str, list[Subnet]] = {}
        for subnet in plan.subnets:
            self._by_island.setdefault(subnet.island, []).append(subnet)
        self._covers: dict[str, Cover[Subnet]] = {}
        self._partners: dict[tuple[str, int | None], Subnet | None] = {}

    def at(self, island: str, address: Address) -> Subnet | None:
        """Return the subnet with the longest prefix that contains an address, or None."""
        if island not in self._covers:
            subnets = self._by_island.get(island, ())
            readable = [(subnet.prefix.value, subnet) for subnet in subnets if subnet.prefix.value is not None]
            readable.sort(key=lambda pair: -pair[0].length)  # the most specific first
            self._covers[island] = Cover((range_of(prefix), subnet) for prefix, subnet in readable)
        return self._covers[island].at(address)

    def ipv6_partner(self, subnet: Subnet) -> Subnet | None:
        """Return the IPv6 subnet on the same segment: the only one of its VLAN, else of its island."""
        key = subnet.island, subnet.vlan
        if key not in self._partners:
            self._partners[key] = self._ipv6_partner(*key)
        return self._partners[key]

    def _ipv6_partner(self, island: str, vlan: int | None) -> Subnet | None:
        subnets = self._by_island.get(island, ())
        every = [one for one in subnets if one.prefix.value is not None and one.prefix.value.family == 6]
        same = [one for one in every if vlan is not None and one.vlan == vlan]
        candidates = same or every
        return candidates[0] if len(candidates) == 1 else None

    def islands_of_link(self, router: Router, address: Address) -> tuple[str, ...]:
        """Return the islands of a router's interface: the router's own island, or islands that it translates for.

        The second applies if the router's own island has no subnet that contains the address and one of those has.
        """
        inner = self._translated.get(router.name, ())
        if not inner or self.at(router.island, address) is not None:
            return (router.island,)
        return tuple(island for island in inner if self.at(island, address) is not None) or (router.island,)

    @cached_property
    def _translated(self) -> dict[str, tuple[str, ...]]:
        """Return, by router, the other islands that it translates for or to."""
        found: dict[str, dict[str, None]] = {}
        for translation in self._plan.translations:
            router = self._plan.router_named.get(translation.at)
            if router is not None:
                both = (translation.island, self._plan.outer_island(translation))
                found.setdefault(router.name, {}).update((one, None) for one in both if one != router.island)
        return {name: tuple(islands) for name, islands in found.items()}


def interfaces_by_family(plan: Plan) -> Iterator[tuple[Interface, Subnet]]:
    """Yield every interface with its subnet, and each dual-stack interface a second time with its IPv6 values."""
    subnets = map(plan.subnet_named.__getitem__, map(attrgetter("subnet"), plan.interfaces))
    firsts = zip(plan.interfaces, subnets, strict=True)
    return _with_ipv6(plan, firsts) if any(map(attrgetter("address6"), plan.interfaces)) else firsts


def _with_ipv6(plan: Plan, firsts: Iterable[tuple[Interface, Subnet]]) -> Iterator[tuple[Interface, Subnet]]:
    lookup = SubnetLookup(plan)
    for first in firsts:
        yield first
        if first[0].address6 is not None:
            yield ipv6_interface(plan, lookup, first[0])


def ipv6_interface(plan: Plan, lookup: SubnetLookup, interface: Interface) -> tuple[Interface, Subnet]:
    """Return the IPv6 values of a dual-stack interface as a separate interface, and the subnet of its IPv6 address.

    If that subnet is not known, a subnet without a readable prefix stands for it.
    """
    own = plan.subnet_of(interface)
    address = interface.address6.value if interface.address6 else None
    if interface.subnet6:
        subnet: Subnet | None = plan.subnet_named[interface.subnet6]
    elif own.prefix.value is not None and own.prefix.value.family == 6:
        subnet = own
    else:
        subnet = (lookup.at(own.island, address) if address else None) or lookup.ipv6_partner(own)
    home = subnet or _unknown_subnet(own.island, interface.position)
    ipv6 = interface._replace(
        subnet=home.name,
        address=interface.address6,
        mask=interface.mask6,
        gateway=interface.gateway6,
        address6=None,
        mask6=None,
        gateway6=None,
    )
    return ipv6, home


def _unknown_subnet(island: str, place: Position) -> Subnet:
    return Subnet(name="", prefix=Cell("", None, place, "no subnet is named"), position=place, island=island)


def outside_interfaces(plan: Plan) -> Iterator[tuple[Interface, Subnet, Translation]]:
    """Yield every translation as an interface of its router on the outside, named by its address, with its subnet."""
    lookup = SubnetLookup(plan)
    for translation in plan.translations:
        if translation.outside.value is not None:
            island = plan.outer_island(translation)
            home = lookup.at(island, translation.outside.value) or _unknown_subnet(island, translation.position)
            address = translation.outside
            outside = Interface(
                device=translation.at,
                name=str(address.value),
                subnet=home.name,
                position=translation.position,
                address=address,
            )
            yield outside, home, translation


def plan_with(plan: Plan, addresses: Mapping[str, Address]) -> Plan:
    """Return the plan with other addresses of some interfaces."""

    def moved(each: Interface) -> Interface:
        address = addresses.get(each.subject)
        return each if address is None else each._replace(address=Cell(str(address), address, each.position))

    return replace(plan, interfaces=tuple(map(moved, plan.interfaces)))


_WILD = frozenset("*?[")  # of fnmatch
MOST_BLOCKS = 256  # a range of last octets applies to at most this many /24 blocks of a subnet


class Schemes:
    """The numbering schemes of a plan. If several match an interface, the first one in the plan applies."""

    def __init__(self, plan: Plan) -> None:
        self._readable = [(one, _Matcher(one)) for one in plan.schemes if one.range.value is not None]
        self._found: dict[tuple[str, str, str, str, str], Scheme | None] = {}
        self._exact: dict[tuple[int, str], list[int]] = {}  # by a criterion without `*`: the numbers of its schemes
        self._loose: list[int] = []  # the numbers of all others
        for number, (_, matcher) in enumerate(self._readable):
            alike = self._loose if matcher.exact is None else self._exact.setdefault(matcher.exact, [])
            alike.append(number)

    def __bool__(self) -> bool:
        return bool(self._readable)

    def of(self, interface: Interface, subnet: Subnet) -> Scheme | None:
        """Return the scheme for an interface in a subnet, or None."""
        key = interface.kind, interface.location, interface.device, interface.name, subnet.name
        if key not in self._found:
            values = _criteria(interface)
            exact = (self._exact.get(pair, ()) for pair in enumerate(values))
            likely = (self._readable[number] for number in sorted(chain(self._loose, *exact)))
            fitting = (one for one, matcher in likely if matcher.fits(values) and spans_of(one, subnet))
            self._found[key] = next(fitting, None)
        return self._found[key]

    def all_in(self, subnet: Subnet) -> list[Range]:
        """Return ranges inside a subnet that together are those of all schemes."""
        prefix = subnet.prefix.value
        if prefix is None or not self._readable:
            return []
        named = (span for scheme in self._of_subnet.get(subnet.name, ()) for span in spans_of(scheme, subnet))
        last_octets = (_clipped(block, prefix) for octets in self._last_octets for block in _blocks(octets, prefix))
        return [*named, *filter(None, last_octets), *self._ranges.within(range_of(prefix))]

    @cached_property
    def _of_subnet(self) -> dict[str, list[Scheme]]:
        """Return the schemes of single subnets by the subnet's name."""
        found: dict[str, list[Scheme]] = {}
        for scheme, _ in self._readable:
            if scheme.subnet:
                found.setdefault(scheme.subnet, []).append(scheme)
        return found

    @cached_property
    def _last_octets(self) -> list[LastOctets]:
        """Return the ranges of last octets of the schemes of all subnets, joined."""
        found = (scheme.range.value for scheme, _ in self._readable if not scheme.subnet)
        joined = Spans(Range(4, one.low, one.high) for one in found if isinstance(one, LastOctets))
        return [LastOctets(span.low, span.high) for span in joined.ranges()]

    @cached_property
    def _ranges(self) -> Spans:
        """Return the address ranges of the schemes of all subnets, joined."""
        found = (scheme.range.value for scheme, _ in self._readable if not scheme.subnet)
        return Spans(one for one in found if isinstance(one, Range))


def _criteria(interface: Interface) -> tuple[str, str, str, str]:
    """Return the values of an interface that a scheme may name, in the order of `_Matcher`, without case."""
    values = (interface.kind, interface.location, interface.device, interface.subject)
    kind, location, device, subject = map(str.casefold, values)
    return kind, location, device, subject


class _Matcher:
    """Compares an interface with the criteria of a scheme, without regard to case; `*` stands for any text.

    The criteria are kind, place, and the name of a device or of an interface. `exact` is the position and the text of
    the first criterion without a wildcard, or None.
    """

    def __init__(self, scheme: Scheme) -> None:
        whole = "/" in scheme.name
        texts = (scheme.kind, scheme.location, "" if whole else scheme.name, scheme.name if whole else "")
        self._texts = [(position, text.casefold()) for position, text in enumerate(texts) if text]
        self.exact = next((pair for pair in self._texts if _WILD.isdisjoint(pair[1])), None)

    @cached_property
    def _patterns(self) -> tuple[tuple[int, re.Pattern[str]], ...]:
        return tuple((position, re.compile(translate(text))) for position, text in self._texts)

    def fits(self, values: Sequence[str]) -> bool:
        """Return whether the values of an interface match all criteria."""
        return all(pattern.match(values[position]) for position, pattern in self._patterns)


def spans_of(scheme: Scheme, subnet: Subnet) -> list[Range]:
    """Return the ranges of a scheme inside a subnet, ascending."""
    prefix, span = subnet.prefix.value, scheme.range.value
    if prefix is None or span is None or (scheme.subnet and scheme.subnet != subnet.name):
        return []
    inside = (_clipped(one, prefix) for one in (_blocks(span, prefix) if isinstance(span, LastOctets) else (span,)))
    return [one for one in inside if one is not None]


def _blocks(octets: LastOctets, prefix: Prefix) -> Iterator[Range]:
    if prefix.family == 4:
        first = prefix.value & ~0xFF
        for number in range(min(MOST_BLOCKS, max(1, prefix.size >> 8))):
            start = first + (number << 8)
            yield Range(4, start + octets.low, start + octets.high)


def _clipped(span: Range, prefix: Prefix) -> Range | None:
    low, high = max(span.low, prefix.value), min(span.high, prefix.last.value)
    return Range(span.family, low, high) if span.family == prefix.family and low <= high else None
