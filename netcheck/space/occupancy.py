"""Finds the users of each address of an island: interfaces, site hosts, pools, reserved ranges, gateways, stations."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from typing import Any, NamedTuple, TypeVar

from netcheck.addr import WIDTH, Address, Range, with_digits
from netcheck.plan.model import Cell, Interface, Plan, Router, Station, Subnet, Translation
from netcheck.space.addressing import SubnetLookup, interfaces_by_family, outside_interfaces
from netcheck.space.intervals import Cover, Spans, single
from netcheck.survey.host_table import HostTable
from netcheck.survey.model import ServedRange, Survey, hosts_of
from netcheck.text import Pattern

LARGEST_DOUBTFUL = 1 << 16  # addresses of a range that is kept although one of its ends cannot be read
LONGEST_CELL = 1000  # characters of an unreadable cell that are searched
_QUAD = Pattern(r"(?<![\w.,])\d{1,4}(?:[.,]\d{1,4}){3}(?![.,]?\d)")
_WORD = Pattern(r"[0-9A-Fa-f:.]*:[0-9A-Fa-f:.]*:[0-9A-Fa-f:.]*")  # IPv6

K = TypeVar("K")
V = TypeVar("V")


class Placed(NamedTuple):
    """An interface with a readable address; or the outside address of a translation, as an interface of its router."""

    interface: Interface
    subnet: Subnet
    address: Address
    translation: Translation | None = None


class HeldRange(NamedTuple):
    """A pool or reserved range with its subnet."""

    subnet: Subnet
    span: Range
    cell: Cell[Range]


class Gateway(NamedTuple):
    """The router side of an address: the gateway of a subnet, or one interface of a router."""

    address: Address
    owner: Subnet | Router

    def __str__(self) -> str:
        if isinstance(self.owner, Subnet):
            return f"the gateway of subnet {self.owner.name}"
        return f"an interface of router {self.owner.name}"


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Island:
    """One routing domain: its subnets, the planned interfaces and the site hosts."""

    name: str
    subnets: tuple[Subnet, ...]
    placed: tuple[Placed, ...]
    hosts: HostTable
    gateways: tuple[Gateway, ...]
    stations: tuple[tuple[Address, Station], ...]
    avoided: tuple[
        Range, ...
    ] = ()  # never proposed: meanings of unreadable cells, next hops, addresses of other plans, ranges of DHCP servers
    served: tuple[ServedRange, ...] = ()  # ranges that DHCP servers assign, as their configuration says

    @cached_property
    def pools(self) -> Cover[HeldRange]:
        """Return the pools of all subnets."""
        return Cover((held.span, held) for subnet in self.subnets for held in _held(subnet, subnet.pools))

    @cached_property
    def reserved(self) -> Cover[HeldRange]:
        """Return the reserved ranges of all subnets."""
        return Cover((held.span, held) for subnet in self.subnets for held in _held(subnet, subnet.reserved))

    @cached_property
    def served_at(self) -> Cover[ServedRange]:
        """Return the ranges that DHCP servers assign."""
        return Cover((one.span, one) for one in self.served)

    @cached_property
    def placed_at(self) -> dict[Address, tuple[Placed, ...]]:
        """Return the planned interfaces by address, in plan order."""
        return _grouped_by([placed.address for placed in self.placed], self.placed)

    @cached_property
    def _planned(self) -> dict[int, list[int]]:
        """Return, by family, the distinct planned addresses in ascending order."""
        found: dict[int, list[int]] = {family: [] for family in WIDTH}
        for family, value in sorted(self.placed_at):
            found[family].append(value)
        return found

    @cached_property
    def _shared(self) -> dict[int, list[int]]:
        return {family: sorted(self.hosts.among(family, values)) for family, values in self._planned.items()}

    @cached_property
    def met(self) -> set[Address]:
        """Return the planned addresses that a site host has as well."""
        return {Address(family, value) for family, values in self._shared.items() for value in values}

    def used(self, span: Range) -> int:
        """Return the number of addresses of a range that are planned, of a site host, in a pool or reserved."""
        if any(self.kept.within(span)):
            inside = sum(map(self.hosts.count, self.filled.within(span)))
            return self.filled.count(span) + self.hosts.count(span) - inside
        planned, met = (_count(values[span.family], span) for values in (self._planned, self._shared))
        return planned + self.hosts.count(span) - met

    def planned_in(self, span: Range) -> list[int]:
        """Return the distinct planned addresses in a range as ascending integers."""
        values = self._planned[span.family]
        return values[bisect_left(values, span.low) : bisect_right(values, span.high)]

    def placed_in(self, span: Range) -> list[Placed]:
        """Return the planned interfaces in a range of addresses, ascending."""
        placed_at, family = self.placed_at, span.family
        return [placed for value in self.planned_in(span) for placed in placed_at[Address(family, value)]]

    @cached_property
    def gateways_at(self) -> dict[Address, tuple[Gateway, ...]]:
        """Return the gateways and router interfaces by address."""
        return _grouped((gateway.address, gateway) for gateway in self.gateways)

    def routers_at(self, address: Address) -> frozenset[str]:
        """Return the names of the routers that have an address."""
        return self._routers_at.get(address, frozenset())

    @cached_property
    def _routers_at(self) -> dict[Address, frozenset[str]]:
        owners = ((one.address, one.owner.name) for one in self.gateways if isinstance(one.owner, Router))
        return {address: frozenset(names) for address, names in _grouped(owners).items()}

    @cached_property
    def stations_at(self) -> dict[Address, tuple[Station, ...]]:
        """Return the stations by address."""
        return _grouped(self.stations)

    @cached_property
    def kept(self) -> Spans:
        """Return all pools and reserved ranges as one set."""
        return Spans(held.span for each in self.subnets for held in _held(each, (*each.pools, *each.reserved)))

    @cached_property
    def filled(self) -> Spans:
        """Return the planned addresses, pools and reserved ranges as one set."""
        return self.kept.joined(map(single, self.placed_at))

    def claims(self, address: Address) -> bool:
        """Return whether the plan uses an address: membership in `claimed`, without building that set."""
        single_ones = self.placed_at, self.gateways_at, self.stations_at
        return any(address in ones for ones in single_ones) or self._kept_or_avoided.holds(*address)

    @cached_property
    def claimed(self) -> Spans:
        """Return every address that the plan uses: planned, pools, reserved ranges, gateways, routers and stations."""
        return self.claimed_by_site.joined(map(single, self.placed_at))

    @cached_property
    def claimed_by_site(self) -> Spans:
        """Return every address that the plan uses for anything but a planned interface."""
        return self._kept_or_avoided.joined(map(single, [*self.gateways_at, *self.stations_at]))

    @cached_property
    def _kept_or_avoided(self) -> Spans:
        return self.kept.joined(self.avoided) if self.avoided else self.kept


def islands_of(plan: Plan, surveys: tuple[Survey, ...], avoided: Iterable[tuple[str, Range]] = ()) -> dict[str, Island]:
    """Return every island that the plan or a survey names, by name.

    `avoided` are further ranges that no proposal may use, each with its island.
    """
    names = dict.fromkeys(
        each.island
        for group in (plan.subnets, plan.routers, plan.stations, plan.surveys, plan.translations)
        for each in group
    )
    names |= dict.fromkeys(plan.outer_island(translation) for translation in plan.translations)
    every = tuple(placed_of(plan))
    placed = _grouped_by([one.subnet.island for one in every], every)
    subnets = _grouped((subnet.island, subnet) for subnet in plan.subnets)
    gateways = _grouped(_gateways(plan))
    stations = _grouped(
        (each.island, (each.address.value.address, each)) for each in plan.stations if each.address.value is not None
    )
    served = _grouped((survey.island, one) for survey in surveys for one in survey.served)
    assigned = ((island, one.span) for island, several in served.items() for one in several)
    kept_clear = _grouped([*_unreadable(plan), *_next_hops(plan), *avoided, *assigned])
    return {
        name: Island(
            name=name,
            subnets=subnets.get(name, ()),
            placed=placed.get(name, ()),
            hosts=hosts_of(surveys, name),
            gateways=gateways.get(name, ()),
            stations=stations.get(name, ()),
            avoided=kept_clear.get(name, ()),
            served=served.get(name, ()),
        )
        for name in names
    }


def _unreadable(plan: Plan) -> Iterator[tuple[str, Range]]:
    """Yield the island and the range of every address that occurs in the text of an unreadable cell."""
    for interface in plan.interfaces:
        for cell in (interface.address, interface.gateway):
            if cell is not None and cell.value is None:
                yield from ((plan.island_of(interface), single(one)) for one in addresses_in(cell.text))
    for subnet in plan.subnets:
        cells: tuple[Cell[Any] | None, ...] = (subnet.gateway, *subnet.pools, *subnet.reserved)
        for each in cells:
            if each is not None and each.value is None:
                yield from ((subnet.island, span) for span in _span_in(addresses_in(each.text)))
    for router in plan.routers:
        for link in router.interfaces:
            if link.value is None:
                yield from ((router.island, single(one)) for one in addresses_in(link.text))
    for station in plan.stations:
        if station.address.value is None:
            yield from ((station.island, single(one)) for one in addresses_in(station.address.text))


def _next_hops(plan: Plan) -> Iterator[tuple[str, Range]]:
    """Yield the island and the address of the gateways of interfaces and the next hops of routes.

    A router has these addresses, even if the plan does not contain the router.
    """
    typed = {
        (plan.island_of(interface), cell.value)
        for interface in plan.interfaces
        for cell in (interface.gateway, interface.gateway6)
        if cell is not None and cell.value is not None
    }
    vias = {
        (router.island, route.via.value)
        for router in plan.routers
        for route in router.routes
        if route.via.value is not None
    }
    yield from ((island, single(address)) for island, address in sorted(typed | vias))


def _span_in(addresses: list[Address]) -> Iterator[Range]:
    """Yield the range between two addresses if it is small, because the text may mean it; else yield each address."""
    if len(addresses) == 2 and addresses[0].family == addresses[1].family:
        low, high = sorted(address.value for address in addresses)
        if high - low < LARGEST_DOUBTFUL:
            yield Range(addresses[0].family, low, high)
            return
    yield from map(single, addresses)


def addresses_in(text: str) -> list[Address]:
    """Return the addresses that an unreadable text may mean.

    Leading zeros, commas in place of dots and the letters O and l in place of digits are accepted.
    """
    found = []
    read = text[:LONGEST_CELL]
    for match in chain(_QUAD.finditer(read), _QUAD.finditer(with_digits(read))):
        octets = [int(octet) for octet in re.split("[.,]", match.group())]
        if max(octets) <= 255:
            found.append(Address(4, int.from_bytes(bytes(octets), "big")))
    for word in _WORD.findall(text[:LONGEST_CELL]):
        with suppress(ValueError):
            found.append(Address.from_text(word))
    return found


def _count(values: list[int], span: Range) -> int:
    return bisect_right(values, span.high) - bisect_left(values, span.low)


def placed_of(plan: Plan) -> Iterator[Placed]:
    """Yield the interfaces with a readable address in plan order, by family; then the outside addresses."""
    for interface, subnet in interfaces_by_family(plan):
        cell = interface.address
        if cell is not None and cell.value is not None:
            yield Placed(interface, subnet, cell.value)
    for interface, subnet, translation in outside_interfaces(plan):
        if translation.outside.value is not None:
            yield Placed(interface, subnet, translation.outside.value, translation)


def _held(subnet: Subnet, cells: tuple[Cell[Range], ...]) -> Iterator[HeldRange]:
    return (HeldRange(subnet, cell.value, cell) for cell in cells if cell.value is not None)


def _grouped(pairs: Iterable[tuple[K, V]]) -> dict[K, tuple[V, ...]]:
    keys, values = tuple(zip(*pairs, strict=True)) or ((), ())
    return _grouped_by(keys, values)


def _grouped_by(keys: Sequence[K], values: tuple[V, ...]) -> dict[K, tuple[V, ...]]:
    """Group values by their keys, in order. Fast for the two usual cases: all keys distinct, or all keys equal."""
    single_ones: dict[K, tuple[V, ...]] = dict(zip(keys, zip(values, strict=True), strict=True))
    if len(single_ones) == len(keys):
        return single_ones
    if len(single_ones) == 1:
        return {keys[0]: values}
    groups: dict[K, list[V]] = defaultdict(list)
    for key, value in zip(keys, values, strict=True):
        groups[key].append(value)
    return {key: tuple(several) for key, several in groups.items()}


def _gateways(plan: Plan) -> Iterator[tuple[str, Gateway]]:
    for subnet in plan.subnets:
        if subnet.gateway is not None and subnet.gateway.value is not None:
            yield subnet.island, Gateway(subnet.gateway.value, subnet)
    lookup = SubnetLookup(plan)
    for router in plan.routers:
        for cell in router.interfaces:
            if cell.value is not None:
                address = cell.value.address
                for island in lookup.islands_of_link(router, address):
                    yield island, Gateway(address, router)
