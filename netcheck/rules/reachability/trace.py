"""Traces packets hop by hop within one island, with the decisions that hosts and routers make.

A host sends an ARP request on its own segment for every address that its own address and mask make on-link (RFC 1122
section 3.3.1.1), and sends all other packets to its gateway. A router uses the longest matching prefix among its
interfaces and static routes (RFC 1812 section 5.2.4.3).
"""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple

from netcheck.addr import Address, Mask, Prefix
from netcheck.plan.model import Cell, Conversation, Interface, Subnet
from netcheck.rules.reachability.routers import IslandRouters, RouterLink, RouterNode, on_link

MOST_HOPS = 32


class Delivery(Enum):
    """The outcome for packets in one direction."""

    DELIVERED = "delivered"
    LOST = "lost"
    UNDECIDED = "undecided"


class Trace(NamedTuple):
    """The path in one direction: the outcome, the gateways and next hops in order, and the reason if not delivered.

    For lost packets, `change` says which value to change, and `to_change` has the subjects of the interfaces with the
    wrong setting; it is empty if a router or a translation has the wrong setting. `node` is the last router.
    """

    outcome: Delivery
    through: tuple[Address, ...] = ()
    why: str = ""
    change: str = ""
    node: RouterNode | None = None
    to_change: tuple[str, ...] = ()


class TracedConversation(NamedTuple):
    """A conversation with its path in each direction."""

    conversation: Conversation
    there: Trace
    back: Trace


class Destination(NamedTuple):
    """The address that packets are sent to, the segments on which it is reachable, and the router that answers for it.

    `who` names its owner in messages. `outside` is true if the address is outside the prefix of its own subnet.
    """

    address: Address
    who: str
    segments: frozenset[str]
    router: str = ""
    outside: bool = False


def lost(why: str, change: str, through: tuple[Address, ...] = (), to_change: tuple[str, ...] = ()) -> Trace:
    """Return the trace of packets that do not arrive; see `Trace` for the arguments."""
    return Trace(Delivery.LOST, through, why, change, to_change=to_change)


def undecided(why: str, through: tuple[Address, ...] = ()) -> Trace:
    """Return the trace of packets for which the plan lacks a value, with the reason."""
    return Trace(Delivery.UNDECIDED, through, why)


def trace(net: IslandRouters, source: Interface, subnet: Subnet, goal: Destination) -> Trace:
    """Return the path from a host to a destination in the same island, of at most `MOST_HOPS` hops."""
    start = value_of(source.address)
    if start is None:
        return undecided(f"{source.subject} has no address that can be read")
    if subnet.prefix.value is None:
        return undecided(f"the prefix of subnet {subnet.name} cannot be read")
    if start.family != goal.address.family:
        why = f"{start} is IPv{start.family} and {goal.address} is IPv{goal.address.family}"
        change = f"give {source.subject} and {goal.who} addresses of one family"
        return lost(why, change, to_change=(source.subject, goal.who))
    first = _first_decision(net, source, start, subnet, goal)
    return first if isinstance(first, Trace) else forward(net, first, goal)


class AtRouter(NamedTuple):
    """The router that has the packets, and the hops up to it."""

    node: RouterNode
    through: tuple[Address, ...] = ()


def _first_decision(
    net: IslandRouters, source: Interface, start: Address, subnet: Subnet, goal: Destination
) -> Trace | AtRouter:
    """Return the decision of the sending host: a finished trace on its own segment, or the router at its gateway."""
    length = _length(source, start, subnet)
    if length is None:
        return undecided(f"the mask of {source.subject} cannot be used")
    link = Prefix.of(start, length)
    if link.holds(goal.address):
        if subnet.name in goal.segments:
            return Trace(Delivery.DELIVERED, node=net.nodes.get(goal.router))
        typed = f"has mask {source.mask.text}" if source.mask else f"is in {link}"
        why = f"{source.subject} {typed}, treats {goal.address} as on-link and sends ARP requests for it"
        wrong_end, change = _wrong_end(source, subnet, goal)
        return lost(why, change, to_change=(wrong_end,))
    cell = source.gateway or subnet.gateway
    if cell is None:
        why = f"{source.subject} is in {link} and has no gateway towards {goal.address}"
        change = f"give {source.subject} or its subnet {subnet.name} a gateway{_mask_instead(subnet, goal)}"
        return lost(why, _elsewhere(source, subnet) or change, to_change=(source.subject,))
    if cell.value is None:
        return undecided(f"the gateway of {source.subject} cannot be read")
    return _send_to_gateway(net, source, subnet, link, cell.value)


def _wrong_end(source: Interface, subnet: Subnet, goal: Destination) -> tuple[str, str]:
    """Return the subject of the end with the wrong setting, and the change."""
    prefix = subnet.prefix.value
    if elsewhere := _elsewhere(source, subnet):
        return source.subject, elsewhere
    if prefix is None or prefix.holds(goal.address):
        change = f"change the address of {goal.who}: {goal.address} is in subnet {subnet.name}, but the device is not"
        return goal.who, change
    return source.subject, f"change the mask of {source.subject} to {_mask(prefix)}"


def _elsewhere(source: Interface, subnet: Subnet) -> str:
    """Return the change if a host's own address is outside its subnet, else an empty text.

    With such an address, mask and gateway do not matter.
    """
    address, prefix = value_of(source.address), subnet.prefix.value
    if address is None or prefix is None or prefix.holds(address):
        return ""
    return f"change the address of {source.subject}: {address} is not in subnet {subnet.name}"


def _mask(prefix: Prefix) -> str:
    text = str(Mask.from_text(f"/{prefix.length}", prefix.family))
    return text if prefix.family == 6 else f"{text} (/{prefix.length})"


def _mask_instead(subnet: Subnet, goal: Destination) -> str:
    """Return the right mask as an alternative, if both ends are in one subnet; else an empty text."""
    prefix = subnet.prefix.value
    near = prefix is not None and prefix.holds(goal.address)
    return f", or the mask {_mask(prefix)}" if prefix is not None and near else ""


def _send_to_gateway(
    net: IslandRouters, source: Interface, subnet: Subnet, link: Prefix, gateway: Address
) -> Trace | AtRouter:
    who = f"the gateway {gateway} of {source.subject}"
    if not on_link(gateway, link):
        why = f"{who} is not on-link: by its address and mask it is in {link}"
        return lost(why, _gateway_of(source, subnet), to_change=(source.subject,))
    node = net.router_at(gateway, subnet.name)
    if node:
        return AtRouter(node, (gateway,))
    other = net.other_segment_of(gateway, subnet.name)
    if other:
        why = f"{who} is on {other}, not on its segment"
        return lost(why, _gateway_of(source, subnet), to_change=(source.subject,))
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


def forward(net: IslandRouters, first: AtRouter, goal: Destination) -> Trace:
    """Return the trace that results from the decisions of the routers, from the first one on."""
    step, names = first, [first.node.name]
    while len(step.through) <= MOST_HOPS:
        node = step.node
        if goal.router == node.name:
            return Trace(Delivery.DELIVERED, step.through, node=node)
        target = node.towards(goal.address)
        if target is None:
            why = f"router {node.name} has no route to {goal.address}"
            return lost(why, f"give router {node.name} a route or an interface towards {goal.address}", step.through)
        if isinstance(target, RouterLink):
            return _deliver(net, node, target, goal, step.through)
        following = _next(net, node, target)
        if isinstance(following, Trace):
            return following._replace(through=step.through)
        if following.name in names:
            why = f"a loop: {', '.join([*names, following.name])}"
            return lost(why, f"change the next hop {target} of router {node.name} for {goal.address}", step.through)
        step = AtRouter(following, (*step.through, target))
        names.append(following.name)
    why = f"more than {MOST_HOPS} hops"
    return lost(why, "shorten the routes of the routers on the path", step.through)


def _next(net: IslandRouters, node: RouterNode, hop: Address) -> Trace | RouterNode:
    link = node.on_link(hop)
    if link is None:
        why = f"the next hop {hop} of router {node.name} is on none of its links"
        return lost(why, f"change the next hop {hop} of router {node.name} to an address on one of its links")
    following = net.router_at(hop, link.segment)
    if following is None:
        return undecided(f"the plan does not describe the router at the next hop {hop}")
    return following


def _deliver(
    net: IslandRouters, node: RouterNode, link: RouterLink, goal: Destination, through: tuple[Address, ...]
) -> Trace:
    if link.segment in goal.segments:
        return Trace(Delivery.DELIVERED, through, node=net.nodes.get(goal.router) or node)
    where = " or ".join(sorted(goal.segments)) or "no segment of this island"
    why = f"router {node.name} treats {goal.address} as local to {link.segment}, but {goal.who} is on {where}"
    if goal.outside:
        change = f"change the address of {goal.who}: {goal.address} is not in subnet {where}"
        return lost(why, change, through, (goal.who,))
    return lost(why, f"change the interface {link.address}/{link.prefix.length} of router {node.name}", through)


def _length(source: Interface, address: Address, subnet: Subnet) -> int | None:
    """Return the length of the typed mask, or of the subnet's prefix if no mask is typed."""
    if source.mask is not None:
        mask = source.mask.value
        return mask.length if mask and mask.family == address.family else None
    prefix = subnet.prefix.value
    return prefix.length if prefix and prefix.family == address.family else None


def value_of(cell: Cell[Address] | None) -> Address | None:
    """Return the address of a cell, or None if it has no readable one."""
    return None if cell is None else cell.value
