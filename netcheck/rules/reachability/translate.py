"""Traces the conversations of a plan in both directions: within an island, and between islands through translations.

Hosts outside an island send to the outside address of an inside host, and the translating router answers for it. An
inside host sends to that router like to any gateway, and the packets continue with the outside address as their source.
Packets of an inside address without a translation therefore do not leave the island (RFC 3022 section 2.1, from
memory). A translation of sources applies to a whole prefix: its hosts open connections from one outside address, and no
host outside can open a connection to them (RFC 3022 section 2.2, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from netcheck.addr import Address
from netcheck.plan.model import Interface, Plan, Subnet, Translation
from netcheck.rules.reachability.routers import RouterNode, RoutersByIsland
from netcheck.rules.reachability.trace import (
    AtRouter,
    Delivery,
    Destination,
    Trace,
    TracedConversation,
    forward,
    lost,
    trace,
    undecided,
    value_of,
)
from netcheck.space.addressing import ipv6_interface


class Endpoint(NamedTuple):
    """One end of a conversation: the interface in one address family, its subnet and its address."""

    interface: Interface
    subnet: Subnet
    address: Address


class ConversationTracer:
    """Traces the conversations of one plan."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._routers = RoutersByIsland(plan)
        self._by_inside: dict[tuple[str, Address], list[Translation]] = {}
        for one in plan.translations:
            if one.inside.value is not None and one.outside.value is not None:
                self._by_inside.setdefault((one.island, one.inside.value), []).append(one)
        self._of_sources = [one for one in plan.translations if one.sources and one.sources.value and one.outside.value]

    def both_directions(self, source: Interface, target: Interface, starts: str = "") -> tuple[Trace, Trace]:
        """Return the path from source to target, and the path back.

        `starts` names the side that opens connections; empty means `from`. Replies pass a translation of sources,
        connections from outside do not.
        """
        one, two = self._ends(source, target)
        return self._path(one, two, reply=starts == "to"), self._path(two, one, reply=starts in ("", "from"))

    def _ends(self, source: Interface, target: Interface) -> tuple[Endpoint | str, Endpoint | str]:
        """Return both ends with addresses of one family, that of `address` if possible; else of different families.

        An end without a readable address is given by its subject.
        """
        every = [(first, second) for first in self._endpoints(source) for second in self._endpoints(target)]
        shared = (pair for pair in every if pair[0].address.family == pair[1].address.family)
        best = next(shared, every[0] if every else None)
        if best is not None:
            return best
        return self._first(source), self._first(target)

    def _first(self, interface: Interface) -> Endpoint | str:
        return next(iter(self._endpoints(interface)), interface.subject)

    def _endpoints(self, interface: Interface) -> list[Endpoint]:
        families = [(interface, self._plan.subnet_of(interface))]
        if interface.address6 is not None:
            families.append(ipv6_interface(self._plan, self._routers.lookup, interface))
        readable = ((one, subnet, value_of(one.address)) for one, subnet in families)
        return [Endpoint(one, subnet, address) for one, subnet, address in readable if address is not None]

    def _path(self, source: Endpoint | str, target: Endpoint | str, *, reply: bool) -> Trace:
        for end in (source, target):
            if isinstance(end, str):
                return undecided(f"{end} has no address that can be read")
        if isinstance(source, str) or isinstance(target, str):
            return undecided("no address can be read")
        unread = next((end.subnet for end in (source, target) if end.subnet.prefix.value is None), None)
        if unread is not None:
            return undecided(f"the prefix of subnet {unread.name or 'of its IPv6 address'} cannot be read")
        here, there = source.subnet.island, target.subnet.island
        if here == there:
            return trace(self._routers.of(here), source.interface, source.subnet, _goal(target))
        return self._across(source, target, reply=reply)

    def _across(self, source: Endpoint, target: Endpoint, *, reply: bool) -> Trace:
        """Return the trace between islands, through the translation of the target, of the source, or of both."""
        here, there = source.subnet.island, target.subnet.island
        shared = [self._sources(end) for end in (source, target)]
        ways_in = [*self._translations(target), *(shared[1] if reply else ())]
        into = {self._plan.outer_island(one): one for one in reversed(ways_in)}
        out = {self._plan.outer_island(one): one for one in reversed([*self._translations(source), *shared[0]])}
        if here in into:
            return self._joined(self._leg(source, here, into[here], target), target)
        middle = next((island for island in out if island == there or island in into), None)
        if middle is None and not reply and shared[1]:
            who, outside = target.interface.subject, shared[1][0].outside.text
            why = f"{outside} is only the source of connections that {who} opens; no host outside can open one to it"
            return lost(why, f"add a translation for {who} alone, or let it open the connection (starts)")
        if middle is None:
            who = f"{target.interface.subject} an address on island {here}"
            if there == "site" and here != "site":
                who = f"{source.interface.subject} an address on island {there}"
            return lost(f"no translation gives {who}", f"add a translation that gives {who}")
        final = target.address if middle == there else value_of(into[middle].outside)
        first = self._out(source, out[middle], final or target.address, target)
        if first.outcome is not Delivery.DELIVERED or middle == there:
            return self._joined(first, target)
        goal = self._outside(middle, into[middle], target)
        again = _with_outside_hop(self._from_router(first, middle, goal), goal)
        return self._joined(again, target)

    def _translations(self, end: Endpoint) -> list[Translation]:
        return self._by_inside.get((end.subnet.island, end.address), [])

    def _sources(self, end: Endpoint) -> list[Translation]:
        """Return the translations of sources that apply to packets of an end."""
        return [
            one
            for one in self._of_sources
            if one.island == end.subnet.island
            and one.sources
            and one.sources.value
            and one.sources.value.holds(end.address)
        ]

    def _leg(self, source: Endpoint, island: str, by: Translation, target: Endpoint) -> Trace:
        """Return the trace from a host to an outside address in the same island."""
        missing = self._missing(island, by)
        goal = self._outside(island, by, target)
        return missing or _with_outside_hop(
            trace(self._routers.of(island), source.interface, source.subnet, goal), goal
        )

    def _out(self, source: Endpoint, by: Translation, final: Address, target: Endpoint) -> Trace:
        """Return the trace from a host to the router that translates its address, for packets to the outside."""
        island = source.subnet.island
        goal = Destination(final, target.interface.subject, frozenset(), by.at)
        return self._missing(island, by) or trace(self._routers.of(island), source.interface, source.subnet, goal)

    def _missing(self, island: str, by: Translation) -> Trace | None:
        if self._routers.of(island).nodes.get(by.at) is None:
            do = "add its address there to its `interfaces`"
            return undecided(f"the plan does not describe the translating router {by.at} on island {island}: {do}")
        return None

    def _outside(self, island: str, by: Translation, target: Endpoint) -> Destination:
        """Return an outside address as a destination; its router answers on each segment where it has an interface."""
        node = self._routers.of(island).nodes.get(by.at)
        segments = frozenset(link.segment for link in node.links) if node else frozenset()
        address = value_of(by.outside) or Address(4, 0)
        return Destination(address, f"{target.interface.subject} as translated by {by.at}", segments, by.at)

    def _joined(self, first: Trace, target: Endpoint) -> Trace:
        """Return the path to the last translating router, extended by the path from that router to the target."""
        if first.outcome is not Delivery.DELIVERED:
            return first
        return self._from_router(first, target.subnet.island, _goal(target))

    def _from_router(self, first: Trace, island: str, goal: Destination) -> Trace:
        """Return a path extended into another island, from the router at which it ended."""
        node: RouterNode | None = self._routers.of(island).nodes.get(first.node.name) if first.node else None
        if node is None:
            return undecided(f"the plan does not describe the path from there into island {island}", first.through)
        onward = forward(self._routers.of(island), AtRouter(node), goal)
        return onward._replace(through=(*first.through, *onward.through))


def _with_outside_hop(found: Trace, goal: Destination) -> Trace:
    """Return a trace with the outside address as a further hop, if the packets reached it."""
    delivered = found.outcome is Delivery.DELIVERED
    return found._replace(through=(*found.through, goal.address)) if delivered else found


def _goal(end: Endpoint) -> Destination:
    prefix = end.subnet.prefix.value
    outside = prefix is not None and not prefix.holds(end.address)
    return Destination(end.address, end.interface.subject, frozenset({end.subnet.name}), outside=outside)


def trace_conversations(plan: Plan) -> tuple[TracedConversation, ...]:
    """Return every conversation of a plan, traced in both directions."""
    tracer = ConversationTracer(plan) if plan.conversations else None
    return tuple(_traced(plan, tracer)) if tracer else ()


def _traced(plan: Plan, tracer: ConversationTracer) -> Iterable[TracedConversation]:
    for conversation in plan.conversations:
        source, target = plan.interface_named[conversation.source], plan.interface_named[conversation.target]
        yield TracedConversation(conversation, *tracer.both_directions(source, target, conversation.starts))
