"""The routers and segments of one island, and the next hop that a router selects for a packet.

A router uses the longest matching prefix among its interfaces and static routes (RFC 1812 section 5.2.4.3). A
translating router has interfaces in several islands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from netcheck.addr import Address, Prefix
from netcheck.plan.model import Plan, Router
from netcheck.space.addressing import SubnetLookup

LINK_LOCAL = Prefix.from_text("fe80::/10")  # on-link on every interface: RFC 4291 section 2.5.6


def on_link(gateway: Address, link: Prefix) -> bool:
    """Return whether a device whose on-link prefix is `link` reaches a gateway without a router."""
    return link.holds(gateway) or (link.family == 6 and LINK_LOCAL.holds(gateway))


class RouterLink(NamedTuple):
    """One router interface: its address, its on-link prefix, and its segment (a subnet's name, or the prefix)."""

    address: Address
    prefix: Prefix
    segment: str


class RouterNode:
    """A router with its forwarding table; all its values are readable."""

    def __init__(self, name: str, links: tuple[RouterLink, ...], routes: Iterable[tuple[Prefix, Address]]) -> None:
        self.name = name
        self.links = links
        self._table: dict[tuple[int, int], dict[int, RouterLink | Address]] = {}
        for link in links:
            self._add(link.prefix, link)
        for prefix, next_hop in routes:
            self._add(prefix, next_hop)
        self._lengths = sorted(self._table, reverse=True)  # (family, length), the longest first

    def _add(self, prefix: Prefix, target: RouterLink | Address) -> None:
        self._table.setdefault((prefix.family, prefix.length), {}).setdefault(prefix.value, target)

    def towards(self, address: Address) -> RouterLink | Address | None:
        """Return the link on which an address is, or the next hop towards it, or None if there is no route."""
        for family, length in self._lengths:
            if family == address.family:
                target = self._table[family, length].get(Prefix.of(address, length).value)
                if target is not None:
                    return target
        return None

    def on_link(self, address: Address) -> RouterLink | None:
        """Return the first link whose prefix contains an address."""
        return next((link for link in self.links if link.prefix.holds(address)), None)


class IslandRouters:
    """The routers and segments of one island."""

    def __init__(
        self, lookup: SubnetLookup, island: str, routers: Iterable[Router], translating: frozenset[str]
    ) -> None:
        """Add the routers of an island; `translating` names those that translate addresses between islands."""
        self.island = island
        self._lookup = lookup
        self._translating = translating
        self._owners: dict[Address, dict[str, RouterNode | None]] = {}
        self.nodes: dict[str, RouterNode | None] = {}
        for router in routers:
            self._add(router)

    def _add(self, router: Router) -> None:
        """Add a router, or None in its place if one of its values cannot be read: its decisions are then unknown."""
        links = tuple(self._links(router))
        routes = [(route.to.value, route.via.value) for route in router.routes]
        readable = [(to, via) for to, via in routes if to is not None and via is not None]
        complete = all(cell.value is not None for cell in router.interfaces) and len(readable) == len(routes)
        if router.name in self._translating:  # the other routes belong to other islands
            readable = [(to, via) for to, via in readable if any(link.prefix.holds(via) for link in links)]
        node = RouterNode(router.name, links, readable) if complete else None
        self.nodes[router.name] = node
        for link in links:
            self._owners.setdefault(link.address, {}).setdefault(link.segment, node)

    def _links(self, router: Router) -> Iterator[RouterLink]:
        for cell in router.interfaces:
            if cell.value is not None and self.island in self._lookup.islands_of_link(router, cell.value.address):
                subnet = self._lookup.at(self.island, cell.value.address)
                segment = subnet.name if subnet else str(cell.value.prefix)
                yield RouterLink(cell.value.address, cell.value.prefix, segment)

    def router_at(self, address: Address, segment: str) -> RouterNode | None:
        """Return the router that has an address on a segment; None if there is none or the plan lacks a part of it.

        A link-local address does not identify its segment. It belongs to a router that has an interface on the segment.
        """
        if not LINK_LOCAL.holds(address):
            return self._owners.get(address, {}).get(segment)
        here = (node for node in self.nodes.values() if node and any(link.segment == segment for link in node.links))
        return next((node for node in here if any(link.address == address for link in node.links)), None)

    def other_segment_of(self, address: Address, segment: str) -> str:
        """Return another segment on which a router has the address; empty if no router has it elsewhere."""
        if LINK_LOCAL.holds(address):
            return ""
        return next((other for other in self._owners.get(address, {}) if other != segment), "")


class RoutersByIsland:
    """The routers of a plan by island; each island is built on first use."""

    def __init__(self, plan: Plan) -> None:
        self._translating = frozenset(translation.at for translation in plan.translations)
        self.lookup = SubnetLookup(plan)
        self._built: dict[str, IslandRouters] = {}
        self._routers: dict[str, dict[str, Router]] = {}
        for router in plan.routers:
            for cell in router.interfaces:
                value = cell.value
                islands = self.lookup.islands_of_link(router, value.address) if value else (router.island,)
                for island in islands:
                    self._routers.setdefault(island, {})[router.name] = router

    def of(self, island: str) -> IslandRouters:
        """Return the routers of an island."""
        if island not in self._built:
            routers = self._routers.get(island, {}).values()
            self._built[island] = IslandRouters(self.lookup, island, routers, self._translating)
        return self._built[island]
