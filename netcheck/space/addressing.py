"""What an interface shows to each family of addresses, what a translating router shows outside, and where routers are.

A dual-stack interface has two faces: its IPv4 address with its subnet, and `address6` with the subnet that it is in.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from operator import attrgetter

from netcheck.addr import Address
from netcheck.plan.model import Cell, Interface, Plan, Position, Router, Subnet, Translation
from netcheck.space.intervals import Cover, range_of


class Homes:
    """The subnets of a plan by island, asked which of them an address is in."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._by_island: dict[str, list[Subnet]] = {}
        for subnet in plan.subnets:
            self._by_island.setdefault(subnet.island, []).append(subnet)
        self._covers: dict[str, Cover[Subnet]] = {}
        self._meant: dict[tuple[str, int | None], Subnet | None] = {}

    def at(self, island: str, address: Address) -> Subnet | None:
        """The subnet of the longest prefix that holds an address, or None."""
        if island not in self._covers:
            subnets = self._by_island.get(island, ())
            readable = [(subnet.prefix.value, subnet) for subnet in subnets if subnet.prefix.value is not None]
            readable.sort(key=lambda pair: -pair[0].length)  # the most specific first
            self._covers[island] = Cover((range_of(prefix), subnet) for prefix, subnet in readable)
        return self._covers[island].at(address)

    def of_ipv6(self, beside: Subnet) -> Subnet | None:
        """The IPv6 subnet that can be meant beside a subnet: the only one of its VLAN, or of its island."""
        key = beside.island, beside.vlan
        if key not in self._meant:
            self._meant[key] = self._of_ipv6(*key)
        return self._meant[key]

    def _of_ipv6(self, island: str, vlan: int | None) -> Subnet | None:
        subnets = self._by_island.get(island, ())
        every = [one for one in subnets if one.prefix.value is not None and one.prefix.value.family == 6]
        same = [one for one in every if vlan is not None and one.vlan == vlan]
        meant = same or every
        return meant[0] if len(meant) == 1 else None

    def of_link(self, router: Router, address: Address) -> tuple[str, ...]:
        """The islands that a router's interface is in: the router's own, or those it translates for where only they
        have a subnet that holds the address."""
        inner = self._translated.get(router.name, ())
        if not inner or self.at(router.island, address) is not None:
            return (router.island,)
        return tuple(island for island in inner if self.at(island, address) is not None) or (router.island,)

    @cached_property
    def _translated(self) -> dict[str, tuple[str, ...]]:
        """By router, the islands besides its own that it translates for or to."""
        found: dict[str, dict[str, None]] = {}
        for translation in self._plan.translations:
            router = self._plan.router_named.get(translation.at)
            if router is not None:
                both = (translation.island, self._plan.outer_island(translation))
                found.setdefault(router.name, {}).update((one, None) for one in both if one != router.island)
        return {name: tuple(islands) for name, islands in found.items()}


def faces_of(plan: Plan) -> Iterator[tuple[Interface, Subnet]]:
    """Every interface with its subnet, and dual-stack ones a second time with their IPv6 values."""
    subnets = map(plan.subnet_named.__getitem__, map(attrgetter("subnet"), plan.interfaces))
    firsts = zip(plan.interfaces, subnets, strict=True)
    return _with_seconds(plan, firsts) if any(map(attrgetter("address6"), plan.interfaces)) else firsts


def _with_seconds(plan: Plan, firsts: Iterable[tuple[Interface, Subnet]]) -> Iterator[tuple[Interface, Subnet]]:
    homes = Homes(plan)
    for first in firsts:
        yield first
        if first[0].address6 is not None:
            yield second_face(plan, homes, first[0])


def second_face(plan: Plan, homes: Homes, interface: Interface) -> tuple[Interface, Subnet]:
    """A dual-stack interface as IPv6 sees it; where its subnet is not known, one whose prefix cannot be read."""
    beside = plan.subnet_of(interface)
    address = interface.address6.value if interface.address6 else None
    if interface.subnet6:
        subnet: Subnet | None = plan.subnet_named[interface.subnet6]
    elif beside.prefix.value is not None and beside.prefix.value.family == 6:
        subnet = beside
    else:
        subnet = (homes.at(beside.island, address) if address else None) or homes.of_ipv6(beside)
    home = subnet or _nowhere(beside.island, interface.position)
    face = interface._replace(
        subnet=home.name,
        address=interface.address6,
        mask=interface.mask6,
        gateway=interface.gateway6,
        address6=None,
        mask6=None,
        gateway6=None,
    )
    return face, home


def _nowhere(island: str, place: Position) -> Subnet:
    return Subnet("", Cell("", None, place, "no subnet is named"), place, island=island)


def outsides_of(plan: Plan) -> Iterator[tuple[Interface, Subnet, Translation]]:
    """Every translation as the interface that its router is outside: named by its address, in the subnet it is in."""
    homes = Homes(plan)
    for translation in plan.translations:
        if translation.outside.value is not None:
            island = plan.outer_island(translation)
            home = homes.at(island, translation.outside.value) or _nowhere(island, translation.position)
            address = translation.outside
            name = str(address.value)
            yield Interface(translation.at, name, home.name, translation.position, address=address), home, translation
