"""Rules that compare the interfaces of one device, and rules on devices that are connected through each other."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from operator import attrgetter

from netcheck.addr import Address, Mask, Prefix
from netcheck.plan.model import Interface, Subnet
from netcheck.rules.finding import Breach, Severity, places
from netcheck.rules.rule import SURVEYED, Rule, device, plan
from netcheck.rules.scene import Scene, shared
from netcheck.text import listed


def _breach(message: str, *interfaces: Interface, others: tuple[str, ...] = ()) -> Breach:
    """Return a breach by interfaces with different addresses."""
    subjects = tuple(dict.fromkeys(interface.subject for interface in interfaces))
    return Breach(subjects, message, places(interface.position for interface in interfaces), others=others)


def _same_subnet(scene: Scene) -> Iterator[Breach]:
    if all(len({one.device for one in each.interfaces}) == len(each.interfaces) for each in scene.members):
        return
    pairs = list(map(attrgetter("device", "subnet"), scene.plan.interfaces))
    for (name, subnet), several in shared(pairs, scene.plan.interfaces).items():
        message = f"{len(several)} interfaces of {name} are in subnet {subnet}: which one answers is undefined"
        yield _breach(message, *several)


def _legs_overlap(scene: Scene) -> Iterator[Breach]:
    for several in _devices(scene):
        legs = [(one, subnet, link) for one, subnet in several if (link := on_link_prefix(one, subnet)) is not None]
        if len({subnet.island for _, subnet, _ in legs}) < 2:
            continue
        for (first, here, link), (second, there, other) in combinations(legs, 2):
            if here.island != there.island and link.overlaps(other):
                message = f"{link} of island {here.island} and {other} of island {there.island} share addresses"
                yield _breach(f"{message}: the device cannot tell which interface leads to them", first, second)


def _two_gateways(scene: Scene) -> Iterator[Breach]:
    for several in _devices(scene):
        by_family: dict[int, dict[Address, Interface]] = {}
        for interface, _ in several:
            if interface.gateway is not None and interface.gateway.value is not None:
                gateway = interface.gateway.value
                by_family.setdefault(gateway.family, {}).setdefault(gateway, interface)
        for gateways in by_family.values():
            if len(gateways) > 1:
                message = f"{len(gateways)} default gateways are typed: {listed([str(one) for one in gateways])}"
                yield _breach(f"{message}; a device uses one of them", *gateways.values())


def _devices(scene: Scene) -> Iterator[list[tuple[Interface, Subnet]]]:
    """Yield the interfaces, by family, of every device that has several interfaces and is not a router."""
    names = [interface.device for interface, _ in scene.interfaces]
    for name, several in shared(names, scene.interfaces).items():
        if name not in scene.plan.router_named:
            yield several


def on_link_prefix(interface: Interface, subnet: Subnet) -> Prefix | None:
    """Return the prefix that a device treats as on-link, from its address and its mask or the subnet's; or None."""
    address = interface.address.value if interface.address else None
    if address is None:
        return None
    if interface.mask is not None:
        mask: Mask | None = interface.mask.value
        usable = mask is not None and mask.length is not None and mask.family == address.family
        return Prefix.of(address, mask.length) if usable and mask and mask.length else None
    prefix = subnet.prefix.value
    same = prefix is not None and prefix.family == address.family
    return Prefix.of(address, prefix.length) if prefix is not None and same else None


def _behind_twice(scene: Scene) -> Iterator[Breach]:
    behind = [one for one in scene.plan.interfaces if one.behind]
    for port, several in shared([one.behind for one in behind], behind).items():
        if len({one.device for one in several}) > 1:
            shown = listed([one.subject for one in several])
            yield _breach(f"{shown} are all behind port {port}, which takes one cable", *several, others=(port,))


def _behind_elsewhere(scene: Scene) -> Iterator[Breach]:
    for interface in scene.plan.interfaces:
        through = scene.plan.interface_named.get(interface.behind.rpartition(":")[0]) if interface.behind else None
        if through is not None:
            mine, theirs = scene.plan.subnet_of(interface), scene.plan.subnet_of(through)
            one_segment = mine.vlan is not None and mine.vlan == theirs.vlan and mine.island == theirs.island
            if mine.name != theirs.name and not one_segment:
                message = f"it is in subnet {mine.name} and behind {interface.behind}, which is in subnet {theirs.name}"
                yield _breach(message, interface, others=(interface.behind,))


def _packing(more: str = "") -> str:
    return f'[[subnet]]\nname = "packing"\nprefix = "10.62.30.0/24"\n{more}'


_BOTH = device("filler-plc", cpu='address = "10.62.20.61"', lan='address = "10.62.20.62"')
_APART = device("filler-plc", cpu='address = "10.62.20.61"', lan='subnet = "packing"\naddress = "10.62.30.62"')
_SKID = '[[subnet]]\nname = "skid"\nprefix = "{}"\nisland = "machine-1"'
_SKID_SURVEY = f'[[survey]]\nfile = "site-hosts.csv"\n{SURVEYED}\nisland = "machine-1"'.replace(
    "10.62.20.0/24", "0.0.0.0/0"
)
_LEG = device("filler-plc", cpu='address = "10.62.20.61"', skid='subnet = "skid"\naddress = "{}"')
_GATEWAYS = device(
    "filler-plc",
    cpu='address = "10.62.20.61"\ngateway = "10.62.20.1"',
    lan='subnet = "packing"\naddress = "10.62.30.62"{}',
)
_PANEL = device("line-panel", lan='address = "10.62.20.73"\nports = ["1", "2"]')
_SECOND_GATEWAY = '\n  gateway = "10.62.30.1"'


def _behind(name: str, last: int, port: int, more: str = "") -> str:
    return device(name, lan=f'address = "10.62.20.{last}"\nbehind = "line-panel/lan:{port}"{more}')


SAME_SUBNET_TWICE = Rule(
    slug="same-subnet-twice",
    severity=Severity.RISK,
    what="Two interfaces of one device are in one subnet: which one answers is undefined.",
    why="A device may answer for either address through either connector. An address may therefore answer although its "
    "cable is broken, and a single port cannot be proven.",
    bad=plan(_BOTH, _packing()),
    good=plan(_APART, _packing()),
    source="RFC 1122 section 3.3.4.2",
    check=_same_subnet,
)
LEGS_OVERLAP = Rule(
    slug="legs-overlap",
    severity=Severity.CONFLICT,
    what="One device has interfaces in two islands whose prefixes share addresses.",
    why="The device sends packets for a shared address always through the same interface, in whichever island the "
    "other host is. Connections to hosts in the other island fail.",
    bad=plan(_SKID.format("10.62.20.0/24"), _SKID_SURVEY, _LEG.format("10.62.20.5")),
    good=plan(_SKID.format("192.168.10.0/24"), _SKID_SURVEY, _LEG.format("192.168.10.5")),
    source="RFC 1122 section 3.3.1.1: the prefix of the address alone decides through which interface a host sends",
    check=_legs_overlap,
)
TWO_GATEWAYS = Rule(
    slug="two-gateways",
    severity=Severity.RISK,
    what="Different default gateways are typed into two interfaces of one device.",
    why="Most devices use only one default gateway. Which one they use may depend on the order in which the interfaces "
    "start, and replies to other subnets may leave through the wrong interface.",
    bad=plan(_GATEWAYS.format(_SECOND_GATEWAY), _packing()),
    good=plan(_GATEWAYS.format(""), _packing()),
    source="RFC 1122 section 3.3.1.2; our own rule, because few devices choose a gateway by interface",
    check=_two_gateways,
)
BEHIND_TWICE = Rule(
    slug="behind-twice",
    severity=Severity.CONFLICT,
    what="Two devices are connected through the same port of another device.",
    why="A port takes one cable, so one of the two `behind` keys names the wrong port. A proof would expect the wrong "
    "device to fall silent.",
    bad=plan(_PANEL, _behind("capper-drive", 74, 2), _behind("filler-drive", 75, 2)),
    good=plan(_PANEL, _behind("capper-drive", 74, 2), _behind("filler-drive", 75, 1)),
    source="our own rule, because one port takes one plug",
    check=_behind_twice,
)
BEHIND_OTHER_SUBNET = Rule(
    slug="behind-other-subnet",
    severity=Severity.RISK,
    what="An interface is connected through a port of another subnet.",
    why="A daisy chain is one segment. The device would be on the segment of the other subnet, where its gateway does "
    "not answer.",
    do="Correct `behind` or `subnet`.",
    bad=plan(
        _PANEL,
        _packing(),
        device("capper-drive", lan='subnet = "packing"\naddress = "10.62.30.74"\nbehind = "line-panel/lan:2"'),
    ),
    good=plan(_PANEL, _packing(), _behind("capper-drive", 74, 2)),
    source="our own rule, because the ports of one interface are on one segment",
    check=_behind_elsewhere,
)
