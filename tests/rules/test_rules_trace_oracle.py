"""Random plants: every conversation has the same result as a simple trace with `ipaddress`."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from typing import TypeVar

from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Address, InterfaceAddress, Mask, Prefix
from netcheck.plan.model import Cell, Conversation, Interface, Plan, Position, Route, Router, Subnet
from netcheck.rules.reachability.trace import Delivery
from netcheck.rules.reachability.translate import trace_conversations

HERE = Position("plan.toml")
T = TypeVar("T")


def cell(text: str, read: Callable[[str], T]) -> Cell[T]:
    """Return a readable cell."""
    return Cell(text, read(text), HERE)


@st.composite
def plants(draw: st.DrawFn) -> Plan:
    """Draw three subnets of 10.0.0.0/22, two hosts with any mask and gateway, and up to three routers."""
    subnet = st.integers(0, 2)

    def address() -> str:
        """Return an address of a router."""
        return f"10.0.{draw(subnet)}.{draw(st.integers(1, 3))}"

    def host(name: str) -> Interface:
        """Return an interface with its typed values."""
        number = draw(subnet)
        mask = draw(st.none() | st.sampled_from(["/22", "/23", "/24", "/30"]))
        gateway = draw(st.none() | st.just(address()))
        return Interface(
            name, "lan", f"s{number}", HERE,
            address=cell(f"10.0.{number}.{draw(st.integers(10, 12))}", Address.from_text),
            mask=cell(mask, Mask.from_text) if mask else None,
            gateway=cell(gateway, Address.from_text) if gateway else None,
        )  # fmt: skip

    def router(name: str) -> Router:
        """Return a router; an address that several routers have belongs to the first of them."""
        links = sorted({address() for _ in range(draw(st.integers(1, 3)))})
        wholes = ("0.0.0.0/0", "10.0.0.0/22", "10.0.0.0/23", "10.0.1.0/24", "10.0.2.0/24", "10.0.2.8/29")
        routes = [(draw(st.sampled_from(wholes)), address()) for _ in range(draw(st.integers(0, 2)))]
        return Router(
            name,
            tuple(cell(f"{link}/24", InterfaceAddress.from_text) for link in links),
            HERE,
            tuple(Route(cell(to, Prefix.from_text), cell(via, Address.from_text)) for to, via in routes),
        )

    return Plan(
        name="Example",
        slug="example",
        folder=".",
        sha256="",
        subnets=tuple(
            Subnet(name=f"s{n}", prefix=cell(f"10.0.{n}.0/24", Prefix.from_text), position=HERE) for n in range(3)
        ),
        interfaces=(host("a"), host("b")),
        routers=tuple(router(f"r{n}") for n in range(draw(st.integers(0, 3)))),
        conversations=(Conversation("a/lan", "b/lan", HERE),),
    )


def owner(plan: Plan, address: str) -> Router | None:
    """Return the first router that has an address; every segment is a /24, so an address is on only one segment."""
    return next((one for one in plan.routers if any(c.text == f"{address}/24" for c in one.interfaces)), None)


def simple_trace(plan: Plan, source: Interface, target: Interface) -> Delivery:
    """Trace one direction with the networks of the standard library."""
    assert source.address is not None
    assert target.address is not None
    goal = ipaddress.ip_address(target.address.text)
    length = source.mask.text if source.mask else "/24"
    link = ipaddress.ip_network(source.address.text + length, strict=False)
    if goal in link:
        return Delivery.DELIVERED if source.subnet == target.subnet else Delivery.LOST
    if source.gateway is None or ipaddress.ip_address(source.gateway.text) not in link:
        return Delivery.LOST
    segment = ipaddress.ip_network(f"10.0.{source.subnet[1]}.0/24")
    here = owner(plan, source.gateway.text)
    if here is None:
        return Delivery.UNDECIDED
    if ipaddress.ip_address(source.gateway.text) not in segment:
        return Delivery.LOST
    for _ in range(10):
        links = [ipaddress.ip_network(c.text, strict=False) for c in here.interfaces]
        if any(goal in one for one in links):
            static = [
                r for r in here.routes if goal in ipaddress.ip_network(r.to.text) and int(r.to.text.split("/")[1]) > 24
            ]
            if not static:
                return Delivery.DELIVERED
        ways = [r for r in here.routes if goal in ipaddress.ip_network(r.to.text)]
        if not ways:
            return Delivery.LOST
        via = max(ways, key=lambda r: int(r.to.text.split("/")[1])).via.text  # the first of equal routes
        if not any(ipaddress.ip_address(via) in one for one in links):
            return Delivery.LOST
        following = owner(plan, via)
        if following is None:
            return Delivery.UNDECIDED
        here = following
    return Delivery.LOST


@settings(max_examples=120, deadline=None)
@given(plants())
def test_random_plants_agree_with_a_simple_trace(plan: Plan) -> None:
    """Both directions of every conversation agree; three routers need at most ten hops."""
    one, two = plan.interfaces
    (talk,) = trace_conversations(plan)
    assert [talk.there.outcome, talk.back.outcome] == [simple_trace(plan, one, two), simple_trace(plan, two, one)]
