"""Walks a conversation's packets hop by hop, as hosts and routers really decide.

A host: what its own address and mask make local it asks its segment for (RFC 1122 section 3.3.1.1), all else goes to
its gateway. A router: the longest prefix of its interfaces and static routes (RFC 1812 section 5.2.4.3).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from netcheck.addr import Address, Mask, Prefix
from netcheck.plan.model import Cell, Conversation, Interface, Subnet
from netcheck.rules.reachability.routers import Link, Net, Node, on_link

MOST_HOPS = 32


class Outcome(Enum):
    """What becomes of packets one way."""

    DELIVERED = "delivered"
    LOST = "lost"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Walk:
    """One way: the gateways and next hops gone through, what became of the packets, why where not delivered, and
    which value to change where they are lost. `node` is the last router; `held` are the interfaces, by subject, whose
    setting it is that has to change: none where it is a router's or a translation."""

    outcome: Outcome
    through: tuple[Address, ...] = ()
    why: str = ""
    change: str = ""
    node: Node | None = None
    held: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Talk:
    """A conversation and its two ways."""

    conversation: Conversation
    there: Walk
    back: Walk


@dataclass(frozen=True, slots=True)
class Goal:
    """What packets are sent to: an address that somebody answers for on some segments, and at a router, if at one.
    It has `strayed` where it is not of its interface's subnet."""

    address: Address
    who: str
    segments: frozenset[str]
    router: str = ""
    strayed: bool = False


def lost(why: str, change: str, through: tuple[Address, ...] = (), held: tuple[str, ...] = ()) -> Walk:
    """Packets that do not arrive, the value that would have to be another, and the interfaces that it is set in."""
    return Walk(Outcome.LOST, through, why, change, held=held)


def undecided(why: str, through: tuple[Address, ...] = ()) -> Walk:
    """Packets of which the plan does not say enough."""
    return Walk(Outcome.UNDECIDED, through, why)


def walk(net: Net, source: Interface, subnet: Subnet, goal: Goal) -> Walk:
    """One way within an island, from a host's first decision to the goal, at most 32 hops."""
    start = value_of(source.address)
    if start is None:
        return undecided(f"{source.subject} has no address that can be read")
    if subnet.prefix.value is None:
        return undecided(f"the prefix of subnet {subnet.name} cannot be read")
    if start.family != goal.address.family:
        why = f"{start} is IPv{start.family} and {goal.address} is IPv{goal.address.family}"
        change = f"give {source.subject} and {goal.who} addresses of one family"
        return lost(why, change, held=(source.subject, goal.who))
    first = _leave(net, source, start, subnet, goal)
    return first if isinstance(first, Walk) else forward(net, first, goal)


@dataclass(frozen=True, slots=True)
class Step:
    """The router that packets are at, and the hops that led there."""

    node: Node
    through: tuple[Address, ...] = ()


def _leave(net: Net, source: Interface, start: Address, subnet: Subnet, goal: Goal) -> Walk | Step:
    """A host's decision: deliver on its own segment, or hand over to its gateway."""
    length = _length(source, start, subnet)
    if length is None:
        return undecided(f"the mask of {source.subject} cannot be used")
    link = Prefix.of(start, length)
    if link.holds(goal.address):
        if subnet.name in goal.segments:
            return Walk(Outcome.DELIVERED, node=net.nodes.get(goal.router))
        typed = f"has mask {source.mask.text}" if source.mask else f"is in {link}"
        why = f"{source.subject} {typed}, takes {goal.address} for on-link and asks its own segment for it"
        held, change = _narrower(source, subnet, goal)
        return lost(why, change, held=(held,))
    cell = source.gateway or subnet.gateway
    if cell is None:
        why = f"{source.subject} is in {link} and has no gateway towards {goal.address}"
        change = f"give {source.subject} or its subnet {subnet.name} a gateway{_mask_instead(subnet, goal)}"
        return lost(why, _elsewhere(source, subnet) or change, held=(source.subject,))
    if cell.value is None:
        return undecided(f"the gateway of {source.subject} cannot be read")
    return _hand_over(net, source, subnet, link, cell.value)


def _narrower(source: Interface, subnet: Subnet, goal: Goal) -> tuple[str, str]:
    """Which of the two has to be set differently, and how."""
    prefix = subnet.prefix.value
    if elsewhere := _elsewhere(source, subnet):
        return source.subject, elsewhere
    if prefix is None or prefix.holds(goal.address):
        change = f"change the address of {goal.who}: {goal.address} is in subnet {subnet.name}, and it is not"
        return goal.who, change
    return source.subject, f"change the mask of {source.subject} to {_mask(prefix)}"


def _elsewhere(source: Interface, subnet: Subnet) -> str:
    """What to change where a host's own address is not of its subnet: that, whatever its mask and gateway are."""
    address, prefix = value_of(source.address), subnet.prefix.value
    if address is None or prefix is None or prefix.holds(address):
        return ""
    return f"change the address of {source.subject}: {address} is not in subnet {subnet.name}"


def _mask(prefix: Prefix) -> str:
    text = str(Mask.from_text(f"/{prefix.length}", prefix.family))
    return text if prefix.family == 6 else f"{text} (/{prefix.length})"


def _mask_instead(subnet: Subnet, goal: Goal) -> str:
    """Where both ends are in one subnet it is the mask that is wrong."""
    prefix = subnet.prefix.value
    near = prefix is not None and prefix.holds(goal.address)
    return f", or the mask {_mask(prefix)}" if prefix is not None and near else ""


def _hand_over(net: Net, source: Interface, subnet: Subnet, link: Prefix, gateway: Address) -> Walk | Step:
    who = f"the gateway {gateway} of {source.subject}"
    if not on_link(gateway, link):
        why = f"{who} is not on-link: by its address and mask it is in {link}"
        return lost(why, _gateway_of(source, subnet), held=(source.subject,))
    node = net.router_at(gateway, subnet.name)
    if node:
        return Step(node, (gateway,))
    other = net.elsewhere(gateway, subnet.name)
    if other:
        why = f"{who} is on {other}, not on its segment"
        return lost(why, _gateway_of(source, subnet), held=(source.subject,))
    return undecided(f"the plan does not describe the router at the gateway {gateway}", (gateway,))


def _gateway_of(source: Interface, subnet: Subnet) -> str:
    if elsewhere := _elsewhere(source, subnet):
        return elsewhere
    planned = value_of(subnet.gateway)
    typed = value_of(source.gateway)
    if planned is not None and typed is not None and typed != planned:
        return f"change the gateway of {source.subject} to {planned}"
    mask, prefix = source.mask.value if source.mask else None, subnet.prefix.value
    if mask is not None and prefix is not None and mask.length != prefix.length:
        return f"change the mask of {source.subject} to {_mask(prefix)}"
    where = f"{source.subject}" if typed is not None else f"subnet {subnet.name}"
    return f"change the gateway of {where} to a router's address on its segment"


def forward(net: Net, first: Step, goal: Goal) -> Walk:
    """The routers' decisions, one after the other."""
    step, names = first, [first.node.name]
    while len(step.through) <= MOST_HOPS:
        node = step.node
        if goal.router == node.name:
            return Walk(Outcome.DELIVERED, step.through, node=node)
        way = node.towards(goal.address)
        if way is None:
            why = f"router {node.name} has no route to {goal.address}"
            return lost(why, f"give router {node.name} a route or an interface towards {goal.address}", step.through)
        if isinstance(way, Link):
            return _deliver(net, node, way, goal, step.through)
        following = _next(net, node, way)
        if isinstance(following, Walk):
            return replace(following, through=step.through)
        if following.name in names:
            why = f"a loop: {', '.join([*names, following.name])}"
            return lost(why, f"change the next hop {way} of router {node.name} for {goal.address}", step.through)
        step = Step(following, (*step.through, way))
        names.append(following.name)
    why = f"more than {MOST_HOPS} hops"
    return lost(why, "give the routers on the way shorter routes", step.through)


def _next(net: Net, node: Node, hop: Address) -> Walk | Node:
    link = node.on_link(hop)
    if link is None:
        why = f"the next hop {hop} of router {node.name} is on none of its links"
        return lost(why, f"change the next hop {hop} of router {node.name} to an address on one of its links")
    following = net.router_at(hop, link.segment)
    if following is None:
        return undecided(f"the plan does not describe the router at the next hop {hop}")
    return following


def _deliver(net: Net, node: Node, link: Link, goal: Goal, through: tuple[Address, ...]) -> Walk:
    if link.segment in goal.segments:
        return Walk(Outcome.DELIVERED, through, node=net.nodes.get(goal.router) or node)
    where = " or ".join(sorted(goal.segments)) or "no segment of this island"
    why = f"router {node.name} takes {goal.address} for local to {link.segment}, and {goal.who} is on {where}"
    if goal.strayed:
        change = f"change the address of {goal.who}: {goal.address} is not in subnet {where}"
        return lost(why, change, through, (goal.who,))
    return lost(why, f"change the interface {link.address}/{link.prefix.length} of router {node.name}", through)


def _length(source: Interface, address: Address, subnet: Subnet) -> int | None:
    """The length of the typed mask, or the subnet's where none is typed."""
    if source.mask is not None:
        mask = source.mask.value
        return mask.length if mask and mask.family == address.family else None
    prefix = subnet.prefix.value
    return prefix.length if prefix and prefix.family == address.family else None


def value_of(cell: Cell[Address] | None) -> Address | None:
    """A cell's address, None where there is none that can be read."""
    return None if cell is None else cell.value
