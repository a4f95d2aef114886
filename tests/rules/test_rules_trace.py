"""Conversations traced hop by hop: published routing examples, and the effect of masks and gateways."""

from __future__ import annotations

import pytest

from netcheck.addr import Address, InterfaceAddress, Mask, Prefix
from netcheck.plan.model import Cell, Conversation, Interface, Plan, Position, Route, Router, Subnet
from netcheck.rules.reachability.routers import RouterLink, RouterNode
from netcheck.rules.reachability.trace import Delivery, TracedConversation
from netcheck.rules.reachability.translate import trace_conversations

HERE = Position("plan.toml")


def node(*ways: str) -> RouterNode:
    """Return a router with static routes only; the next hop of each has its index."""
    routes = [(Prefix.from_text(prefix), Address(4, index)) for index, prefix in enumerate(ways)]
    return RouterNode("router", (), routes)


def chosen(router: RouterNode, address: str) -> int | None:
    """Return the index of the route that the router selects."""
    way = router.towards(Address.from_text(address))
    return way.value if isinstance(way, Address) else None


def test_longest_prefix_of_rfc_1812() -> None:
    """RFC 1812 section 5.2.4.3: for 10.144.2.5 the route to 10.144.2.0/24 wins."""
    ways = (
        "0.0.0.0/0",
        "128.12.0.0/16",
        "10.0.0.0/8",
        "10.144.0.0/16",
        "10.144.1.0/24",
        "10.144.2.0/24",
        "10.144.3.0/24",
    )
    assert chosen(node(*ways), "10.144.2.5") == 5
    assert chosen(node(*ways), "10.144.9.5") == 3
    assert chosen(node(*ways), "10.9.9.9") == 2
    assert chosen(node(*ways), "128.12.1.1") == 1
    assert chosen(node(*ways), "192.168.1.1") == 0


def test_a_hole_of_rfc_4632() -> None:
    """RFC 4632 section 5.2: a router of 192.168.64.0/19 without 192.168.65.0/24 must not use its parent's route."""
    assert chosen(node("192.168.0.0/16", "192.168.64.0/19"), "192.168.65.1") == 1
    assert chosen(node("192.168.64.0/19"), "192.168.1.1") is None


def test_a_link_precedes_a_route_of_the_same_length() -> None:
    """If a link and a route have the same length, the link is used (RFC 1812 section 5.2.4.3, common practice)."""
    prefix = Prefix.from_text("10.62.20.0/24")
    link = RouterLink(Address.from_text("10.62.20.1"), prefix, "process")
    assert RouterNode("router", (link,), [(prefix, Address(4, 7))]).towards(Address.from_text("10.62.20.61")) is link


def cell(text: str) -> Cell[Address] | None:
    """Return a cell with an address, or None."""
    return Cell(text, Address.from_text(text), HERE) if text else None


def host(subject: str, subnet: str, address: str, *, mask: str = "", gateway: str = "") -> Interface:
    """Return an interface with these typed values of mask and gateway."""
    device, _, name = subject.partition("/")
    typed = Cell(mask, Mask.from_text(mask), HERE) if mask else None
    return Interface(device, name, subnet, HERE, address=cell(address), mask=typed, gateway=cell(gateway))


def subnet(name: str, prefix: str, gateway: str = "", island: str = "site") -> Subnet:
    """Return a subnet."""
    return Subnet(
        name=name,
        prefix=Cell(prefix, Prefix.from_text(prefix), HERE),
        position=HERE,
        gateway=cell(gateway),
        island=island,
    )


def router(name: str, *interfaces: str, **routes: str) -> Router:
    """Return a router; routes as `a="10.0.0.0/8 10.62.1.1"`."""
    links = tuple(Cell(text, InterfaceAddress.from_text(text), HERE) for text in interfaces)
    split = (text.split() for text in routes.values())
    static = tuple(
        Route(Cell(to, Prefix.from_text(to), HERE), Cell(via, Address.from_text(via), HERE)) for to, via in split
    )
    return Router(name, links, HERE, static)


PROCESS = subnet("process", "10.62.20.0/24", "10.62.20.1")
PACKING = subnet("packing", "10.62.30.0/24", "10.62.30.1")
SITE = router("site-router", "10.62.20.1/24", "10.62.30.1/24")
PLC = host("plc/cpu", "process", "10.62.20.61")


def talk(
    source: Interface, target: Interface, *routers: Router, subnets: tuple[Subnet, ...] = (PROCESS, PACKING)
) -> TracedConversation:
    """Return the only conversation of a plan with two interfaces."""
    conversation = Conversation(source.subject, target.subject, HERE)
    plan = Plan(
        name="Example",
        slug="example",
        folder=".",
        sha256="",
        subnets=subnets,
        interfaces=(source, target),
        routers=routers,
        conversations=(conversation,),
    )
    return trace_conversations(plan)[0]


def test_neighbours_need_no_router() -> None:
    """On one segment packets are delivered directly (RFC 1122 section 3.3.1.1)."""
    found = talk(PLC, host("panel/lan", "process", "10.62.20.71"))
    assert (found.there.outcome, found.back.outcome) == (Delivery.DELIVERED, Delivery.DELIVERED)
    assert found.there.through == ()


def test_through_the_router_and_back() -> None:
    """Each end uses the gateway of its own subnet."""
    found = talk(PLC, host("panel/lan", "packing", "10.62.30.73"), SITE)
    assert found.there.through == (Address.from_text("10.62.20.1"),)
    assert found.back.through == (Address.from_text("10.62.30.1"),)
    assert (found.there.outcome, found.back.outcome) == (Delivery.DELIVERED, Delivery.DELIVERED)


def test_a_too_short_mask_loses_the_reply() -> None:
    """RFC 1219 section 2.2: the far end treats the sender as on-link and gets no ARP reply."""
    found = talk(PLC, host("line-panel/lan", "packing", "10.62.30.73", mask="255.255.0.0"), SITE)
    assert found.there.outcome is Delivery.DELIVERED
    assert found.back.outcome is Delivery.LOST
    wanted = "line-panel/lan has mask 255.255.0.0, treats 10.62.20.61 as on-link and sends ARP requests for it"
    assert found.back.why == wanted


def test_a_too_long_mask_sends_through_the_router() -> None:
    """RFC 1219 section 2.2: with a mask that is too long a neighbour is reached through the gateway."""
    found = talk(
        host("plc/cpu", "process", "10.62.20.61", mask="/26", gateway="10.62.20.1"),
        host("b/x", "process", "10.62.20.200"),
        SITE,
    )
    # 10.62.20.61/26 is 10.62.20.0 to .63, so the gateway is still on-link and .200 is not.
    assert found.there.outcome is Delivery.DELIVERED
    assert found.there.through == (Address.from_text("10.62.20.1"),)
    assert found.back.through == ()


LOST = {
    "no gateway at all": (host("plc/cpu", "bare", "10.62.40.61"), (SITE,), "has no gateway"),
    "a gateway off the link": (host("plc/cpu", "process", "10.62.20.61", gateway="10.62.30.1"), (SITE,), "not on-link"),
    "a gateway on-link by the mask, and on another segment": (
        host("plc/cpu", "process", "10.62.20.61", mask="/21", gateway="10.62.17.1"),
        (router("other", "10.62.17.1/24"),),
        "on 10.62.17.0/24, not on its segment",
    ),
    "a router without the route": (PLC, (router("stub", "10.62.20.1/24"),), "has no route to 10.62.30.73"),
    "a next hop on no link": (PLC, (router("r", "10.62.20.1/24", a="10.62.30.0/24 10.9.9.9"),), "on none of its links"),
    "a loop": (
        PLC,
        (
            router("r1", "10.62.20.1/24", "10.9.0.1/30", a="10.62.30.0/24 10.9.0.2"),
            router("r2", "10.9.0.2/30", a="10.62.30.0/24 10.9.0.1"),
        ),
        "a loop: r1, r2, r1",
    ),
    "a longer prefix that leads elsewhere": (
        PLC,
        (router("r1", "10.62.20.1/24", "10.62.30.65/26"),),
        "treats 10.62.30.73 as local to packing-part",
    ),
    "IPv4 to IPv6": (host("plc/cpu", "process", "fd00::1"), (SITE,), "is IPv6"),
}
SUBNETS = (PROCESS, PACKING, subnet("bare", "10.62.40.0/24"), subnet("packing-part", "10.62.30.64/26"))


@pytest.mark.parametrize(("source", "routers", "why"), LOST.values(), ids=LOST.keys())
def test_lost(source: Interface, routers: tuple[Router, ...], why: str) -> None:
    """The trace ends at the hop that fails, and gives the reason."""
    found = talk(source, host("panel/lan", "packing", "10.62.30.73", mask="/24"), *routers, subnets=SUBNETS)
    assert found.there.outcome is Delivery.LOST
    assert why in found.there.why


ASTRAY = host("panel/lan", "packing", "10.62.20.73")
PART = host("panel/lan", "packing", "10.62.30.73", mask="/24")
FAR = host("far/x", "bare", "10.62.40.9")
THIRD = router("site-router", "10.62.20.1/24", "10.62.40.1/24")
CHANGES = {
    "an address that has strayed to the asker's subnet": (PLC, ASTRAY, (SITE,), ("panel/lan",), "the address of panel"),
    "one that has strayed to a third": (FAR, ASTRAY, (THIRD,), ("far/x",), "give far/x or its subnet bare a gateway"),
    "one that a router takes elsewhere": (
        host("far/x", "bare", "10.62.40.9", gateway="10.62.40.1"),
        ASTRAY,
        (THIRD,),
        ("panel/lan",),
        "change the address of panel/lan: 10.62.20.73 is not in subnet packing",
    ),
    "the asker's own": (ASTRAY, PLC, (SITE,), ("panel/lan",), "change the address of panel/lan"),
    "the asker's own, off its gateway's link": (
        ASTRAY,
        FAR,
        (SITE,),
        ("panel/lan",),
        "change the address of panel/lan",
    ),
    "a router between overlapping subnets": (
        PLC,
        PART,
        (router("r1", "10.62.20.1/24", "10.62.30.65/26"),),
        (),
        "change the interface 10.62.30.65/26 of router r1",
    ),
    "a mask": (
        host("plc/cpu", "process", "10.62.20.61", mask="/16"),
        PART,
        (SITE,),
        ("plc/cpu",),
        "change the mask of plc/cpu to 255.255.255.0 (/24)",
    ),
    "a gateway of the other family": (
        host("plc/cpu", "process", "10.62.20.61", gateway="fe80::1"),
        PART,
        (SITE,),
        ("plc/cpu",),
        "change the gateway of plc/cpu to 10.62.20.1",
    ),
}


@pytest.mark.parametrize(("source", "target", "routers", "held", "change"), CHANGES.values(), ids=CHANGES.keys())
def test_the_value_to_change(
    source: Interface, target: Interface, routers: tuple[Router, ...], held: tuple[str, ...], change: str
) -> None:
    """The trace names the wrong value and the interface that has it; no interface if the value is a router's."""
    found = talk(source, target, *routers, subnets=SUBNETS).there
    assert (found.outcome, found.to_change) == (Delivery.LOST, held)
    assert change in found.change


UNDECIDED = {
    "a gateway that no router describes": (PLC, ()),
    "a next hop that no router describes": (PLC, (router("r", "10.62.20.1/24", a="0.0.0.0/0 10.62.20.254"),)),
    "no address": (host("plc/cpu", "process", ""), (SITE,)),
    "a broken mask": (host("plc/cpu", "process", "10.62.20.61", mask="255.0.255.0"), (SITE,)),
    "a router that cannot be read": (
        PLC,
        (Router("r", (*SITE.interfaces, Cell("x", None, HERE, "no address")), HERE),),
    ),
}


@pytest.mark.parametrize(("source", "routers"), UNDECIDED.values(), ids=UNDECIDED.keys())
def test_undecided(source: Interface, routers: tuple[Router, ...]) -> None:
    """Nothing is guessed if the plan lacks a value."""
    found = talk(source, host("panel/lan", "packing", "10.62.30.73"), *routers)
    assert found.there.outcome is Delivery.UNDECIDED
    assert found.there.why


def test_an_unreadable_prefix_leaves_the_path_undecided() -> None:
    """Without a readable prefix it is unknown which segment a router is on."""
    unread = Subnet(
        name="process", prefix=Cell("10.62.20.0/33", None, HERE, "no length"), position=HERE, gateway=cell("10.62.20.1")
    )
    source = host("plc/cpu", "process", "10.62.20.61", mask="/24")
    found = talk(source, host("panel/lan", "packing", "10.62.30.73"), SITE, subnets=(unread, PACKING))
    assert (found.there.outcome, found.back.outcome) == (Delivery.UNDECIDED, Delivery.UNDECIDED)


@pytest.mark.parametrize(("count", "outcome"), [(32, Delivery.DELIVERED), (33, Delivery.LOST)])
def test_at_most_32_hops(count: int, outcome: Delivery) -> None:
    """A chain of 32 routers delivers; one of 33 does not."""
    chain = [
        router(
            f"r{index}",
            "10.62.20.1/24" if index == 0 else f"10.9.{index - 1}.2/30",
            "10.62.30.1/24" if index == count - 1 else f"10.9.{index}.1/30",
            a=f"10.62.30.0/24 10.9.{index}.2" if index < count - 1 else "10.62.20.0/24 10.62.30.254",
        )
        for index in range(count)
    ]
    found = talk(PLC, host("panel/lan", "packing", "10.62.30.73"), *chain)
    assert found.there.outcome is outcome
