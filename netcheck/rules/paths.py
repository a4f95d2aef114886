"""Walks a conversation's packets hop by hop, as hosts and routers really decide.

A host: what its own address and mask make local it asks its segment for (RFC 1122 section 3.3.1.1), all else goes to
its gateway. A router: the longest prefix of its interfaces and static routes (RFC 1812 section 5.2.4.3).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from functools import cached_property

from netcheck.addr import Address, Prefix
from netcheck.plan.model import Cell, Conversation, Interface, Plan, Router, Subnet
from netcheck.space.intervals import Cover, range_of

MOST_HOPS = 32


class Outcome(Enum):
    """What becomes of packets one way."""

    DELIVERED = "delivered"
    LOST = "lost"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Walk:
    """One way: the gateways and next hops gone through, what became of the packets, and why where not delivered."""

    outcome: Outcome
    through: tuple[Address, ...] = ()
    why: str = ""


@dataclass(frozen=True, slots=True)
class Talk:
    """A conversation and its two ways."""

    conversation: Conversation
    there: Walk
    back: Walk


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


class Net:
    """The routers and segments of one island."""

    def __init__(self, plan: Plan, island: str) -> None:
        self._subnets = [subnet for subnet in plan.subnets if subnet.island == island]
        self._routers = [router for router in plan.routers if router.island == island]

    @cached_property
    def _segments(self) -> Cover[Subnet]:
        readable = [(subnet.prefix.value, subnet) for subnet in self._subnets if subnet.prefix.value is not None]
        readable.sort(key=lambda pair: -pair[0].length)  # the most specific first
        return Cover((range_of(prefix), subnet) for prefix, subnet in readable)

    @cached_property
    def _owners(self) -> dict[Address, dict[str, Node | None]]:
        """Routers by address, then by segment; None where a router's cells cannot all be read."""
        found: dict[Address, dict[str, Node | None]] = {}
        for router in self._routers:
            links = tuple(self._links(router))
            routes = [(route.to.value, route.via.value) for route in router.routes]
            readable = [(to, via) for to, via in routes if to is not None and via is not None]
            whole = len(links) == len(router.interfaces) and len(readable) == len(routes)
            node = Node(router.name, links, readable) if whole else None
            for link in links:
                found.setdefault(link.address, {})[link.segment] = node
        return found

    def _links(self, router: Router) -> Iterable[Link]:
        for cell in router.interfaces:
            if cell.value is not None:
                subnet = self._segments.at(cell.value.address)
                segment = subnet.name if subnet else str(cell.value.prefix)
                yield Link(cell.value.address, cell.value.prefix, segment)

    def router_at(self, address: Address, segment: str) -> Node | None:
        """The router that has an address on a segment, if the plan describes it wholly."""
        return self._owners.get(address, {}).get(segment)

    def elsewhere(self, address: Address, segment: str) -> str:
        """Another segment, on which a described router has the address; empty where none has."""
        return next((other for other in self._owners.get(address, {}) if other != segment), "")


def walk(plan: Plan, net: Net, source: Interface, target: Interface) -> Walk:
    """One way, from a host's first decision to the far end, at most 32 hops."""
    start, end = _value(source.address), _value(target.address)
    if start is None or end is None:
        missing = source if start is None else target
        return Walk(Outcome.UNDECIDED, why=f"{missing.subject} has no address that can be read")
    unread = next(
        (name for name in (source.subnet, target.subnet) if plan.subnet_named[name].prefix.value is None), None
    )
    if unread is not None:
        return Walk(Outcome.UNDECIDED, why=f"the prefix of subnet {unread} cannot be read")
    if start.family != end.family:
        return Walk(Outcome.LOST, why=f"{start} is IPv{start.family} and {end} is IPv{end.family}")
    first = _leave(plan, net, source, start, target, end)
    return first if isinstance(first, Walk) else _forward(net, first, target, end)


@dataclass(frozen=True, slots=True)
class _Step:
    hop: Address
    node: Node


def _leave(plan: Plan, net: Net, source: Interface, start: Address, target: Interface, end: Address) -> Walk | _Step:
    """A host's decision: deliver on its own segment, or hand over to its gateway."""
    subnet = plan.subnet_of(source)
    length = _length(source, subnet)
    if length is None:
        return Walk(Outcome.UNDECIDED, why=f"the mask of {source.subject} cannot be used")
    link = Prefix.of(start, length)
    if link.holds(end):
        if source.subnet == target.subnet:
            return Walk(Outcome.DELIVERED)
        return Walk(
            Outcome.LOST, why=f"{_with_mask(source, link)}, takes {end} for on-link and asks its own segment for it"
        )
    cell = source.gateway or subnet.gateway
    if cell is None:
        return Walk(Outcome.LOST, why=f"{source.subject} is in {link} and has no gateway towards {end}")
    if cell.value is None:
        return Walk(Outcome.UNDECIDED, why=f"the gateway of {source.subject} cannot be read")
    return _hand_over(net, source, link, cell.value)


def _hand_over(net: Net, source: Interface, link: Prefix, gateway: Address) -> Walk | _Step:
    node = net.router_at(gateway, source.subnet)
    if node:
        on_link = link.holds(gateway)
        why = f"the gateway {gateway} of {source.subject} is not on-link: by its address and mask it is in {link}"
        return _Step(gateway, node) if on_link else Walk(Outcome.LOST, why=why)
    if link.family == 4 and not link.holds(gateway):
        return Walk(Outcome.LOST, why=f"the gateway {gateway} of {source.subject} is not on-link: it is in {link}")
    other = net.elsewhere(gateway, source.subnet)
    if other:
        return Walk(Outcome.LOST, why=f"the gateway {gateway} of {source.subject} is on {other}, not on its segment")
    return Walk(Outcome.UNDECIDED, (gateway,), f"the plan does not describe the router at the gateway {gateway}")


def _forward(net: Net, first: _Step, target: Interface, end: Address) -> Walk:
    """The routers' decisions, one after the other."""
    through, names = [first.hop], [first.node.name]
    node = first.node
    while len(through) <= MOST_HOPS:
        way = node.towards(end)
        if way is None:
            return Walk(Outcome.LOST, tuple(through), f"router {node.name} has no route to {end}")
        if isinstance(way, Link):
            return _deliver(node, way, target, end, tuple(through))
        step = _next(net, node, way)
        if isinstance(step, Walk):
            return Walk(step.outcome, tuple(through), step.why)
        if step.node.name in names:
            return Walk(Outcome.LOST, tuple(through), f"a loop: {', '.join([*names, step.node.name])}")
        through.append(step.hop)
        names.append(step.node.name)
        node = step.node
    return Walk(Outcome.LOST, tuple(through), f"more than {MOST_HOPS} hops")


def _next(net: Net, node: Node, hop: Address) -> Walk | _Step:
    link = next((link for link in node.links if link.prefix.holds(hop)), None)
    if link is None:
        return Walk(Outcome.LOST, why=f"the next hop {hop} of router {node.name} is on none of its links")
    following = net.router_at(hop, link.segment)
    if following is None:
        return Walk(Outcome.UNDECIDED, why=f"the plan does not describe the router at the next hop {hop}")
    return _Step(hop, following)


def _deliver(node: Node, link: Link, target: Interface, end: Address, through: tuple[Address, ...]) -> Walk:
    if link.segment == target.subnet:
        return Walk(Outcome.DELIVERED, through)
    why = f"router {node.name} takes {end} for local to {link.segment}, and {target.subject} is on {target.subnet}"
    return Walk(Outcome.LOST, through, why)


def _with_mask(source: Interface, link: Prefix) -> str:
    if source.mask is None:
        return f"{source.subject} is in {link}"
    return f"{source.subject} has mask {source.mask.text}"


def _length(source: Interface, subnet: Subnet) -> int | None:
    """The length of the typed mask, or the subnet's where none is typed."""
    address = _value(source.address)
    if source.mask is not None:
        mask = source.mask.value
        return mask.length if mask and address and mask.family == address.family else None
    prefix = subnet.prefix.value
    return prefix.length if prefix and address and prefix.family == address.family else None


def _value(cell: Cell[Address] | None) -> Address | None:
    return None if cell is None else cell.value


def talks_of(plan: Plan) -> tuple[Talk, ...]:
    """Every conversation of a plan, walked both ways."""
    islands = {subnet.island for subnet in plan.subnets}
    nets = {island: Net(plan, island) for island in islands}
    talks = []
    for conversation in plan.conversations:
        source, target = plan.interface_named[conversation.source], plan.interface_named[conversation.target]
        there = walk(plan, nets[plan.island_of(source)], source, target)
        back = walk(plan, nets[plan.island_of(target)], target, source)
        talks.append(Talk(conversation, there, back))
    return tuple(talks)
