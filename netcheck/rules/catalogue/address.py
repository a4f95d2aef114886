"""Rules on a planned address: inside its subnet, usable, private, and planned only once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain

from netcheck.addr import Range
from netcheck.rules.finding import Breach, Severity, breach
from netcheck.rules.other_plans import parties
from netcheck.rules.rule import Readdress, Rule, device, one, plan
from netcheck.rules.scene import Scene
from netcheck.space.addressing import spans_of
from netcheck.space.intervals import Spans
from netcheck.space.occupancy import Island, Placed
from netcheck.space.usable import NEVER, PERHAPS_PUBLIC, SPECIAL, block_of, is_public, unusable_by_prefix, why_unusable
from netcheck.text import listed, listed_words


def _outside(scene: Scene) -> Iterator[Breach]:
    for members in scene.members:
        subnet, prefix = members.subnet, members.subnet.prefix.value
        for interface in members.interfaces if not members.all_inside else ():
            address = interface.address.value if interface.address else None
            if address is not None and prefix is not None and not prefix.holds(address):
                meant = scene.meant_subnet(interface) if interface.subject in scene.plan.interface_named else None
                fits = f"; it fits subnet {meant.name} with its gateway: change the key subnet" if meant else ""
                yield breach(f"{address} is not inside {prefix}, the prefix of subnet {subnet.name}{fits}", interface)


def _why_unusable(placed: Placed) -> str:
    return why_unusable(placed.address, placed.subnet.prefix.value)


def _unusable(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        prefixes = [subnet.prefix.value for subnet in island.subnets if subnet.prefix.value is not None]
        spans = Spans(chain(NEVER, *map(unusable_by_prefix, prefixes)))
        for placed in _in(island, spans.ranges()):
            why = _why_unusable(placed)
            if why:
                yield breach(f"{placed.address} {why}; no device can have it", placed.interface)


def _in(island: Island, spans: Iterable[Range]) -> Iterator[Placed]:
    return chain.from_iterable(map(island.placed_in, spans))


def _anywhere(scene: Scene, spans: Iterable[Range]) -> list[Placed]:
    """Return the planned interfaces of all islands with an address in these ranges, each once."""
    joined = tuple(Spans(spans).ranges())
    return [placed for island in scene.islands.values() for placed in _in(island, joined)]


def _special(scene: Scene) -> Iterator[Breach]:
    for placed in _anywhere(scene, SPECIAL):
        block = block_of(placed.address)
        if block is not None and not block.private_use and not _why_unusable(placed):
            message = f"{placed.address} is in {block.prefix}, set aside for {block.name} ({block.source})"
            yield breach(message, placed.interface)


def _public(scene: Scene) -> Iterator[Breach]:
    for placed in _anywhere(scene, PERHAPS_PUBLIC):
        if is_public(placed.address) and not _why_unusable(placed):
            yield breach(f"{placed.address} is globally reachable, not an address for private use", placed.interface)


def _planned_twice(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        for address, holders in island.placed_at.items():
            if len(holders) > 1 and _holders_differ(holders):
                subjects = tuple(placed.interface.subject for placed in holders)
                yield breach(
                    f"{address} is planned for {listed(list(subjects))}", *(each.interface for each in holders)
                )
    for placed, island in scene.placed() if scene.others else ():
        elsewhere = scene.others.at(island.name, placed.address)
        if elsewhere:
            message = f"{placed.address} is planned here and for {listed_words(elsewhere, str)}"
            yield breach(message, placed.interface, others=parties(elsewhere))


def _holders_differ(holders: tuple[Placed, ...]) -> bool:
    """Return whether the holders of an address are different devices.

    Two translations are left to another rule. A router may be planned with its own outside addresses.
    """
    interfaces = [placed for placed in holders if placed.translation is None]
    routers = {placed.interface.device for placed in holders}
    return len(interfaces) > 1 or bool(interfaces and len(routers) > 1)


def _unplaced(scene: Scene) -> Iterator[Breach]:
    for interface in scene.plan.interfaces:
        if interface.address is None and interface.address6 is None and not interface.dhcp:
            yield breach("it has no address yet", interface)


def _dhcp_without_mac(scene: Scene) -> Iterator[Breach]:
    for interface in scene.plan.interfaces:
        if interface.dhcp and interface.mac is None:
            yield breach(
                "its address comes from a DHCP reservation, but it has no MAC to reserve the address for", interface
            )


def _outside_scheme(scene: Scene) -> Iterator[Breach]:
    for placed, _ in scene.placed() if scene.schemes else ():
        prefix = placed.subnet.prefix.value
        own = placed.translation is None and prefix is not None and prefix.holds(placed.address)
        scheme = scene.schemes.of(placed.interface, placed.subnet) if own else None
        if scheme is not None and not any(span.holds(placed.address) for span in spans_of(scheme, placed.subnet)):
            message = f"{placed.address} is outside {scheme.range.text}, the range of the scheme for this interface"
            yield breach(message, placed.interface, others=[scheme.range.text])


_SCHEME = '[[scheme]]\nkind = "drive"\nrange = ".100-.149"'
_DRIVE = '[[device]]\nname = "filler-drive"\nkind = "drive"\n[[device.interface]]\nname = "lan"\nsubnet = "process"\n'

OUTSIDE_SUBNET = Rule(
    slug="outside-subnet",
    severity=Severity.CONFLICT,
    what="The address is not inside the prefix of the subnet that its interface names.",
    why="A device reaches directly only what its own address and mask make on-link. With an address of another subnet "
    "it hears its neighbours but cannot answer them.",
    bad=one('address = "10.62.21.61"'),
    good=one('address = "10.62.20.61"'),
    source="RFC 1122 section 3.3.1.1",
    check=_outside,
    readdress=Readdress.EACH,
)
UNUSABLE_ADDRESS = Rule(
    slug="unusable-address",
    severity=Severity.CONFLICT,
    what="No device can have the address: it is the network or directed-broadcast address of its subnet (not in /31 "
    "and /32), or in 0/8, 127/8, multicast, 240/4, or the limited broadcast.",
    why="Some devices refuse such an address. Others accept it, but they receive no replies, or they answer broadcasts "
    "as if these were sent to them alone.",
    bad=one('address = "10.62.20.255"'),
    good=one('address = "10.62.20.254"'),
    source="RFC 1122 section 3.2.1.3; RFC 1112 section 4; RFC 3021 section 2.1; RFC 4291 section 2.6.1",
    check=_unusable,
    readdress=Readdress.EACH,
)
SPECIAL_PURPOSE = Rule(
    slug="special-purpose",
    severity=Severity.RISK,
    what="The address is inside an IANA special-purpose block other than private use, such as link-local, "
    "documentation, benchmarking or shared space.",
    why="Routers and firewalls drop traffic of many of these blocks, and devices assign link-local addresses by "
    "themselves. The device works on the bench and fails behind the first router.",
    bad=one('address = "169.254.7.61"', subnet='prefix = "169.254.0.0/16"'),
    good=one('address = "172.16.7.61"', subnet='prefix = "172.16.0.0/16"'),
    source="IANA special-purpose address registries of 2026-07-18 (RFC 6890)",
    check=_special,
    readdress=Readdress.PRIVATE,
)
PUBLIC_ADDRESS = Rule(
    slug="public-address",
    severity=Severity.RISK,
    what="The address is globally reachable.",
    why="The address belongs to somebody on the Internet. Unless it belongs to the site, traffic for the device may "
    "leave the site, and the servers of the owner cannot be reached from the site.",
    bad=one('address = "36.40.0.123"', subnet='prefix = "36.40.0.0/16"'),  # RFC 950 appendix II, example 1
    good=one('address = "10.62.20.61"'),
    source="RFC 1918 section 3; IANA special-purpose address registries of 2026-07-18 (RFC 6890)",
    check=_public,
    readdress=Readdress.PRIVATE,
)
PLANNED_TWICE = Rule(
    slug="planned-twice",
    severity=Severity.CONFLICT,
    what="The same address is planned on two or more interfaces of one island.",
    why="Other hosts use whichever ARP reply came last, so traffic for one device reaches the other. A controller that "
    "detects the duplicate address may give up its address and stop communicating.",
    bad=plan(
        device("filler-plc", cpu='address = "10.62.20.61"'),
        device("capper-plc", cpu='address = "10.62.20.61"'),
    ),
    good=plan(
        device("filler-plc", cpu='address = "10.62.20.61"'),
        device("capper-plc", cpu='address = "10.62.20.62"'),
    ),
    source="RFC 5227 section 2.4; RFC 826 (packet reception)",
    check=_planned_twice,
    readdress=Readdress.ALL_BUT_ONE,
)
OUTSIDE_SCHEME = Rule(
    slug="outside-scheme",
    severity=Severity.RISK,
    what="The address is outside the range that the plan's numbering scheme has for the interface.",
    why="People who work on the plant read the kind of device from its address. An address outside its range misleads "
    "them, and the next device of the kind that owns that range may get the same address.",
    bad=plan(_SCHEME, _DRIVE + 'address = "10.62.20.61"'),
    good=plan(_SCHEME, _DRIVE + 'address = "10.62.20.101"'),
    source="our own rule, because the plan has this scheme",
    check=_outside_scheme,
    readdress=Readdress.EACH,
)
DHCP_WITHOUT_MAC = Rule(
    slug="dhcp-without-mac",
    severity=Severity.CONFLICT,
    what="An interface gets its address by a DHCP reservation and has no MAC.",
    why="The site reserves an address for a MAC. Without a reservation the device gets any address of the pool, and "
    "possibly another one after every replacement or long stop.",
    bad=one('address = "dhcp"'),
    good=one('address = "dhcp"\nmac = "00-00-5E-00-53-21"'),
    source="RFC 2131 section 4.3.1: the server selects by the client's identifier or hardware address",
    check=_dhcp_without_mac,
)
UNPLACED = Rule(
    slug="unplaced",
    severity=Severity.NOTE,
    what="An interface has no address.",
    why="It cannot be checked or proved yet.",
    do="Let `netcheck suggest` propose a free address.",
    bad=one(""),
    good=one('address = "10.62.20.61"'),
    source="RFC 1122 section 3.3.1.6",
    check=_unplaced,
    readdress=Readdress.EACH,
)
