"""Rules on the interfaces of routers: their addresses and prefix lengths."""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.addr import InterfaceAddress
from netcheck.plan.model import Cell, Router
from netcheck.rules.finding import Breach, Severity, places
from netcheck.rules.rule import Rule, plan
from netcheck.rules.scene import Scene
from netcheck.text import listed


def _twice(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        for address, gateways in island.gateways_at.items():
            routers = {one.owner.name: one.owner for one in gateways if isinstance(one.owner, Router)}
            if len(routers) > 1:
                where = places(router.position for router in routers.values())
                message = f"{address} is an interface of routers {listed(list(routers))}"
                yield Breach(tuple(routers), message, where, str(address))


def _prefix_differs(scene: Scene) -> Iterator[Breach]:
    for router, cell in _interfaces(scene):
        for island in scene.lookup.islands_of_link(router, cell.address):
            subnet = scene.lookup.at(island, cell.address)
            prefix = subnet.prefix.value if subnet else None
            if subnet is not None and prefix is not None and prefix.length != cell.length:
                message = f"its interface {cell} has prefix length /{cell.length}, but subnet {subnet.name} is {prefix}"
                yield Breach((router.name,), message, str(router.position), str(cell.address), (subnet.name,))


def _interfaces(scene: Scene) -> Iterator[tuple[Router, InterfaceAddress]]:
    for router in scene.plan.routers:
        cells: tuple[Cell[InterfaceAddress], ...] = router.interfaces
        yield from ((router, cell.value) for cell in cells if cell.value is not None)


_PACKING = '[[subnet]]\nname = "packing"\nprefix = "10.62.30.0/24"'


def _router(name: str, *interfaces: str) -> str:
    shown = ", ".join(f'"{interface}"' for interface in interfaces)
    return f'[[router]]\nname = "{name}"\ninterfaces = [{shown}]'


ROUTER_ADDRESS_TWICE = Rule(
    slug="router-address-twice",
    severity=Severity.CONFLICT,
    what="Two routers of one island have the same interface address.",
    why="Devices send to the router that answered their last ARP request, so traffic is lost at random. Redundant "
    "routers share a virtual address, which is not the interface address of either router.",
    bad=plan(_PACKING, _router("r-1", "10.62.20.1/24"), _router("r-2", "10.62.20.1/24", "10.62.30.1/24")),
    good=plan(_PACKING, _router("r-1", "10.62.20.1/24"), _router("r-2", "10.62.20.2/24", "10.62.30.1/24")),
    source="RFC 5227 section 2.4; RFC 9568 section 1 on virtual addresses",
    check=_twice,
)
ROUTER_PREFIX_DIFFERS = Rule(
    slug="router-prefix-differs",
    severity=Severity.CONFLICT,
    what="A router interface has another prefix length than the subnet that it is in.",
    why="Router and devices disagree about which addresses are on-link. The router sends ARP requests for hosts that "
    "are on another segment, or it does not reach hosts of this segment.",
    bad=plan(_router("r-1", "10.62.20.1/25")),
    good=plan(_router("r-1", "10.62.20.1/24")),
    source="RFC 1812 section 5.2.4.2; RFC 950 section 2.2",
    check=_prefix_differs,
)
