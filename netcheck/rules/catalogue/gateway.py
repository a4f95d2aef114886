"""Rules on gateways: the gateway typed into a device, and the gateway of a subnet."""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.addr import Address
from netcheck.plan.model import Cell, Interface, Subnet
from netcheck.rules.catalogue.device import on_link_prefix
from netcheck.rules.finding import Breach, Severity, breach
from netcheck.rules.reachability.routers import on_link
from netcheck.rules.rule import PROCESS, Rule, device, one, plan
from netcheck.rules.scene import Members, Scene


def _value(cell: Cell[Address] | None) -> Address | None:
    return None if cell is None else cell.value


def _of_subnet(subnet: Subnet, gateway: Address, message: str) -> Breach:
    return Breach((subnet.name,), message, str(subnet.position), str(gateway))


def _in_order(members: Members) -> bool:
    """Return whether every interface has the subnet's mask, an address inside it, and a gateway inside it."""
    prefix = members.subnet.prefix.value
    usual = prefix is not None and all(mask.length in (None, prefix.length) for mask in members.masks)
    return prefix is not None and usual and members.all_inside and all(map(prefix.holds, members.gateways))


def _off_link(scene: Scene) -> Iterator[Breach]:
    for subnet in scene.plan.subnets:
        gateway, prefix = _value(subnet.gateway), subnet.prefix.value
        if gateway and prefix and not on_link(gateway, prefix):
            yield _of_subnet(subnet, gateway, f"the gateway {gateway} is not inside {prefix}")
    for members in scene.members:
        for interface in members.interfaces if not _in_order(members) else ():
            address, gateway = _value(interface.address), _value(interface.gateway)
            link = on_link_prefix(interface, members.subnet) if address and gateway else None
            if gateway and link and not on_link(gateway, link):
                message = f"the typed gateway {gateway} is not on-link: by its address and mask the device is in {link}"
                yield breach(message, interface, others=[str(gateway)])


def _unusable(scene: Scene) -> Iterator[Breach]:
    for subnet in scene.plan.subnets:
        gateway = _value(subnet.gateway)
        end = _end(gateway, subnet)
        if gateway and end:
            yield _of_subnet(subnet, gateway, f"the gateway {gateway} is {end}")
    for members in scene.members:
        subnet = members.subnet
        in_use = {*members.gateways, _value(subnet.gateway)}
        for interface in members.interfaces if in_use & {*members.addresses, *_ends(subnet)} else ():
            gateway, whose = _in_use(scene, interface, subnet)
            end = _end(gateway, subnet) if interface.gateway else ""
            if gateway and gateway == _value(interface.address):
                yield breach(f"{whose} {gateway} is the interface itself", interface, others=[str(gateway)])
            elif gateway and end:
                yield breach(f"{whose} {gateway} is {end}", interface, others=[str(gateway)])


def _in_use(scene: Scene, interface: Interface, subnet: Subnet) -> tuple[Address | None, str]:
    """Return the gateway that an interface uses, and its origin in words; a router uses only a typed gateway."""
    if interface.gateway is not None:
        return _value(interface.gateway), "the typed gateway"
    address = _value(interface.address)
    if address and interface.device in scene.islands[subnet.island].routers_at(address):
        return None, ""
    return _value(subnet.gateway), f"the gateway of its subnet {subnet.name},"


def _ends(subnet: Subnet) -> tuple[Address, ...]:
    """Return the unusable end addresses of a subnet."""
    prefix = subnet.prefix.value
    return tuple(end for end in (prefix.first, prefix.last) if _end(end, subnet)) if prefix else ()


def _end(gateway: Address | None, subnet: Subnet) -> str:
    """Return in words which unusable end of the subnet a gateway is; empty if it is none.

    IPv6 has no such end: routers own the subnet-router anycast address.
    """
    prefix = subnet.prefix.value
    if gateway is None or prefix is None or prefix.family == 6 or not prefix.holds(gateway):
        return ""
    if prefix.usable.holds(gateway):
        return ""
    return f"the {'network' if gateway.value == prefix.value else 'directed-broadcast'} address of {prefix}"


def _differs(scene: Scene) -> Iterator[Breach]:
    for members in scene.members:
        subnet, planned = members.subnet, _value(members.subnet.gateway)
        for interface in members.interfaces if planned and members.gateways - {planned} else ():
            typed = _value(interface.gateway)
            if typed and typed != planned:
                message = f"the typed gateway {typed} is not {planned}, the gateway of subnet {subnet.name}"
                yield breach(message, interface, others=[str(typed)])


_GATEWAY = PROCESS + '\ngateway = "10.62.20.1"'


def _typed(gateway: str) -> str:
    return f'address = "10.62.20.61"\ngateway = "{gateway}"'


GATEWAY_OFF_LINK = Rule(
    slug="gateway-off-link",
    severity=Severity.CONFLICT,
    what="The typed gateway is not on-link by the typed address and mask, or a subnet's gateway is outside its prefix.",
    why="A device can send packets only to a gateway on its own segment. It answers on its segment, but no host "
    "outside the segment receives its replies.",
    bad=one(_typed("10.62.21.1")),
    good=one(_typed("10.62.20.1")),
    source="RFC 1122 section 3.3.1.2",
    check=_off_link,
)
GATEWAY_UNUSABLE = Rule(
    slug="gateway-unusable",
    severity=Severity.CONFLICT,
    what="The gateway (typed, or of the subnet) is the interface itself, or its subnet's network or broadcast address.",
    why="No router forwards packets at such an address, so the device reaches nothing beyond its segment.",
    bad=one(_typed("10.62.20.255")),
    good=one(_typed("10.62.20.254")),
    source="RFC 1122 section 3.2.1.3; RFC 1122 section 3.3.1.2",
    check=_unusable,
)
GATEWAY_DIFFERS = Rule(
    slug="gateway-differs",
    severity=Severity.RISK,
    what="The typed gateway is not the gateway of the subnet.",
    why="The device sends its traffic for other subnets to a host that may not forward it. It may be a second router; "
    "ask the site to confirm that.",
    bad=plan(device("filler-plc", cpu=_typed("10.62.20.2")), subnet=_GATEWAY),
    good=plan(device("filler-plc", cpu=_typed("10.62.20.1")), subnet=_GATEWAY),
    source="RFC 1122 section 3.3.1.6",
    check=_differs,
)
