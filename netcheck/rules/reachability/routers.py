"""The routers and segments of one island, and where a router sends an address.

A router takes the longest prefix of its interfaces and static routes (RFC 1812 section 5.2.4.3). One that translates
is in several islands, with the interfaces that it has in each.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from netcheck.addr import Address, Prefix
from netcheck.plan.model import Plan, Router
from netcheck.space.addressing import Homes

LINK_LOCAL = Prefix.from_text("fe80::/10")  # on-link on every interface: RFC 4291 section 2.5.6


def on_link(gateway: Address, link: Prefix) -> bool:
    """Say whether a gateway is on the link of a device, which holds that prefix for local."""
    return link.holds(gateway) or (link.family == 6 and LINK_LOCAL.holds(gateway))


@dataclass(frozen=True, slots=True)
class Link:
    """A router's interface: address, what it makes local, and the segment it is on (a subnet's name, or its prefix)."""

    address: Address
    prefix: Prefix
    segment: str


class Node:
    """A router whose every cell can be read, asked where it sends an address."""

    def __init__(self, name: str, links: tuple[Link, ...], routes: Iterable[tuple[Prefix, Address]]) -> None:
        self.name = name
        self.links = links
        self._table: dict[tuple[int, int], dict[int, Link | Address]] = {}
        for link in links:
            self._add(link.prefix, link)
        for prefix, hop in routes:
            self._add(prefix, hop)
        self._kinds = sorted(self._table, reverse=True)  # family and length, the longest first

    def _add(self, prefix: Prefix, way: Link | Address) -> None:
        self._table.setdefault((prefix.family, prefix.length), {}).setdefault(prefix.value, way)

    def towards(self, address: Address) -> Link | Address | None:
        """The link that delivers an address, the next hop towards it, or None where there is no route."""
        for family, length in self._kinds:
            if family == address.family:
                way = self._table[family, length].get(Prefix.of(address, length).value)
                if way is not None:
                    return way
        return None

    def on_link(self, address: Address) -> Link | None:
        """The first link that has an address on its segment."""
        return next((link for link in self.links if link.prefix.holds(address)), None)


class Net:
    """The routers and segments of one island."""

    def __init__(self, homes: Homes, island: str, routers: Iterable[Router], translating: frozenset[str]) -> None:
        self.island = island
        self._homes = homes
        self._translates = translating
        self._owners: dict[Address, dict[str, Node | None]] = {}
        self.nodes: dict[str, Node | None] = {}
        for router in routers:
            self._add(router)

    def _add(self, router: Router) -> None:
        """A router is None where its cells cannot all be read: nothing it does can be told then."""
        links = tuple(self._links(router))
        routes = [(route.to.value, route.via.value) for route in router.routes]
        readable = [(to, via) for to, via in routes if to is not None and via is not None]
        whole = all(cell.value is not None for cell in router.interfaces) and len(readable) == len(routes)
        if router.name in self._translates:  # the others lead to its other islands
            readable = [(to, via) for to, via in readable if any(link.prefix.holds(via) for link in links)]
        node = Node(router.name, links, readable) if whole else None
        self.nodes[router.name] = node
        for link in links:
            self._owners.setdefault(link.address, {}).setdefault(link.segment, node)

    def _links(self, router: Router) -> Iterator[Link]:
        for cell in router.interfaces:
            if cell.value is not None and self.island in self._homes.of_link(router, cell.value.address):
                subnet = self._homes.at(self.island, cell.value.address)
                yield Link(cell.value.address, cell.value.prefix, subnet.name if subnet else str(cell.value.prefix))

    def router_at(self, address: Address, segment: str) -> Node | None:
        """The router that has an address on a segment, if the plan describes it wholly. A link-local address says
        nothing of its segment, so it is that of the router which has another interface address there."""
        owners = self._owners.get(address, {})
        if not LINK_LOCAL.holds(address):
            return owners.get(segment)
        here = (node for node in self.nodes.values() if node and any(link.segment == segment for link in node.links))
        return next((node for node in here if any(link.address == address for link in node.links)), None)

    def elsewhere(self, address: Address, segment: str) -> str:
        """Another segment, on which a described router has the address; empty where none has, or may have it here."""
        if LINK_LOCAL.holds(address):
            return ""
        return next((other for other in self._owners.get(address, {}) if other != segment), "")


class Nets:
    """The nets of a plan by island, each made when it is asked for."""

    def __init__(self, plan: Plan) -> None:
        self._translating = frozenset(translation.at for translation in plan.translations)
        self.homes = Homes(plan)
        self._made: dict[str, Net] = {}
        self._routers: dict[str, dict[str, Router]] = {}
        for router in plan.routers:
            for cell in router.interfaces:
                islands = self.homes.of_link(router, cell.value.address) if cell.value else (router.island,)
                for island in islands:
                    self._routers.setdefault(island, {})[router.name] = router

    def of(self, island: str) -> Net:
        """The net of an island."""
        if island not in self._made:
            routers = self._routers.get(island, {}).values()
            self._made[island] = Net(self.homes, island, routers, self._translating)
        return self._made[island]
