"""Rules on an address that another host or range uses: site hosts, pools, reserved ranges, gateways, stations."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from netcheck.addr import Address
from netcheck.plan.model import Position, Subnet
from netcheck.rules.finding import Breach, Severity, breach
from netcheck.rules.names import full_name, may_be_same
from netcheck.rules.rule import PROCESS, Readdress, Rule, one
from netcheck.rules.scene import MOST_DIFFERENT, Scene
from netcheck.space.occupancy import HeldRange, Island, Placed
from netcheck.survey.host_table import SiteHost
from netcheck.text import listed, listed_words


def described(host: SiteHost) -> str:
    """Return a site host in words: MAC, name and its position in a survey."""
    who = " ".join(filter(None, (str(host.mac) if host.mac else "", host.name))) or "a host"
    return f"{who} ({host.where})" if host.mac else f"{who}, MAC unknown ({host.where})"


def _parties(hosts: Sequence[SiteHost]) -> tuple[str, ...]:
    """Return names for the other party: the MACs or names of all hosts as one text, and the name of a single host."""
    called = list(dict.fromkeys(str(host.mac or host.name or "unknown") for host in hosts))
    names = (hosts[0].name,) if len(called) == 1 else ()
    return (", ".join(called), *names)


def _taken(scene: Scene) -> Iterator[Breach]:
    for match in scene.site_matches:
        if match.strangers:
            shown = listed([*map(described, match.strangers)])
            if len(match.strangers) >= MOST_DIFFERENT:  # further hosts were not compared
                shown += f"; at least {MOST_DIFFERENT} different hosts are listed there"
            message = f"{match.placed.address} is already used on the site by {shown}"
            yield breach(message, match.placed.interface, others=_parties(match.strangers))
    for subject, position, address, island in (*_outer_links(scene), *_stations(scene)):
        hosts = [host for host in island.hosts.at(address) if not may_be_same(subject, host.name, scene.plan.domain)]
        if hosts:
            message = f"{address} is already used on the site by {listed([*map(described, hosts)])}"
            yield Breach((subject,), message, str(position), str(address), _parties(hosts))


def _outer_links(scene: Scene) -> Iterator[tuple[str, Position, Address, Island]]:
    """Yield the interfaces of translating routers outside the islands that they translate for.

    These interfaces are new on the site. If an interface is also planned as that of a device, the rules on devices
    check it.
    """
    inner: dict[str, set[str]] = {}
    for translation in scene.plan.translations:
        inner.setdefault(translation.at, set()).add(translation.island)
    for router in scene.plan.routers:
        for cell in router.interfaces if router.name in inner else ():
            for name in scene.lookup.islands_of_link(router, cell.value.address) if cell.value else ():
                island = scene.islands[name]
                if cell.value and name not in inner[router.name] and cell.value.address not in island.placed_at:
                    yield router.name, router.position, cell.value.address, island


def _stations(scene: Scene) -> Iterator[tuple[str, Position, Address, Island]]:
    for island in scene.islands.values():
        yield from ((station.name, station.position, address, island) for address, station in island.stations)


def _already(scene: Scene) -> Iterator[Breach]:
    for match in scene.site_matches:
        if match.installed is not None and not match.strangers:
            message = f"{described(match.installed)} has {match.placed.address}: the device is already installed"
            yield breach(message, match.placed.interface, others=[str(match.installed.mac)])


def _reservation(scene: Scene) -> Iterator[Breach]:
    for match in scene.site_matches:
        if match.reservation is not None and match.installed is None and not match.strangers:
            entry = f"{match.reservation.name or 'an entry without a name'} ({match.reservation.where})"
            why = "it is granted to the device" if match.placed.interface.granted else "it has the name of the device"
            message = f"the site lists {match.placed.address} as {entry}: {why}, so this is no clash"
            yield breach(message, match.placed.interface, others=[match.reservation.name])


def _inside(kind: str, holder: Callable[[Island, Placed], HeldRange | None]) -> Callable[[Scene], Iterator[Breach]]:
    def check(scene: Scene) -> Iterator[Breach]:
        for island in scene.islands.values() if any(_kept(subnet) for subnet in scene.plan.subnets) else ():
            for placed in island.placed:
                held = None if placed.interface.granted else holder(island, placed)
                if held:
                    message = f"{placed.address} is inside the {kind} {held.cell.text} of subnet {held.subnet.name}"
                    yield breach(message, placed.interface, others=(held.cell.text, held.subnet.name))
        for subject, position, address, island in _outer_links(scene) if kind == "pool" else ():
            held = island.pools.at(address)
            if held:
                message = f"{address} is inside the pool {held.cell.text} of subnet {held.subnet.name}"
                others = (held.cell.text, held.subnet.name)
                yield Breach((subject,), message, str(position), str(address), others)

    return check


def _inside_pool(scene: Scene) -> Iterator[Breach]:
    yield from _inside("pool", lambda island, placed: island.pools.at(placed.address))(scene)
    for island in scene.islands.values():
        for placed in island.placed if island.served else ():
            served = island.served_at.at(placed.address)
            if served and placed.interface.subject not in scene.settled and island.pools.at(placed.address) is None:
                message = f"{placed.address} is inside {served}, which a DHCP server assigns"
                yield breach(message, placed.interface, others=[str(served.span)])


def _kept(subnet: Subnet) -> bool:
    return bool(subnet.pools or subnet.reserved)


def _gateway(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        for address, owners in island.gateways_at.items():
            holders = island.placed_at.get(address, ())
            parties = ", ".join(gateway.owner.name for gateway in owners) if holders else ""
            for placed in holders:
                if island.routers_at(address) != {placed.interface.device}:
                    yield breach(f"{address} is {listed_words(owners, str)}", placed.interface, others=[parties])
    for placed, island in scene.placed() if scene.others else ():
        for other, there in scene.others.islands(island.name):
            theirs = there.gateways_at.get(placed.address, ())
            itself = there.routers_at(placed.address) == {placed.interface.device}
            if theirs and not itself and placed.address not in island.gateways_at:
                message = f"{placed.address} is {listed_words(theirs, str)} in plan {other.label}"
                yield breach(message, placed.interface, others=[f"{other.label}: {theirs[0].owner.name}"])


def _station(scene: Scene) -> Iterator[Breach]:
    for island in scene.islands.values():
        for address, stations in island.stations_at.items():
            for placed in island.placed_at.get(address, ()):
                message = f"{address} is the address of station {stations[0].name}"
                yield breach(message, placed.interface, others=[stations[0].name])
    for placed, island in scene.placed() if scene.others else ():
        for other, there in scene.others.islands(island.name):
            stations = there.stations_at.get(placed.address, ())
            if stations and placed.address not in island.stations_at:
                message = f"{placed.address} is the address of station {stations[0].name} in plan {other.label}"
                yield breach(message, placed.interface, others=[f"{other.label}: {stations[0].name}"])


def _near(scene: Scene) -> Iterator[Breach]:
    wanted = scene.plan.keep_clear
    for placed, island in scene.placed() if wanted > 1 else ():
        host = _nearest_stranger(scene, placed, island)
        distance = abs(host.address.value - placed.address.value) if host else 0
        if host and 0 < distance < wanted:
            near = f"{placed.address} is {distance} away from site host {host.address}, {described(host)}"
            message = f"{near}; keep-clear is {wanted}"
            yield breach(message, placed.interface, others=(*_parties([host]), str(host.address)))


def _nearest_stranger(scene: Scene, placed: Placed, island: Island) -> SiteHost | None:
    """Return the nearest site host that is not the device itself; its MAC, name or DNS record may identify it."""
    prefix = placed.subnet.prefix.value
    if prefix is None or not prefix.holds(placed.address):
        return None
    marks = scene.marks.get(placed.interface.device, set())
    for host in island.hosts.around(placed.address, prefix):
        if abs(host.address.value - placed.address.value) >= scene.plan.keep_clear:
            return None
        own = host.mac in marks or full_name(host.name, scene.plan.domain) in marks or host.where in scene.own_records
        if not own:
            return host
    return None


_CAMERA = "address,mac,name\n10.62.20.61,00-00-5E-00-53-99,gate-camera\n"
_MAC = 'address = "10.62.20.61"\nmac = "00-00-5E-00-53-21"'
_NAMED = 'address = "10.62.20.61"\nhost-name = "filler-plc"'
_POOL = PROCESS + '\npools = ["10.62.20.200-10.62.20.239"]'
_RESERVED = PROCESS + '\nreserved = ["10.62.20.1-10.62.20.19"]'
_ROUTER = '[[router]]\nname = "site-router"\ninterfaces = ["10.62.20.1/24"]'
_STATION = '[[station]]\nname = "service laptop"\naddress = "10.62.20.245/24"'

TAKEN_ON_SITE = Rule(
    slug="taken-on-site",
    severity=Severity.CONFLICT,
    what="A site host has the address, with another MAC or an unknown one.",
    why="As soon as the new device is connected, two hosts answer for one address. One of them loses its connections, "
    "and not always the same one.",
    bad=one(_MAC, hosts=_CAMERA),
    good=one(_MAC.replace("20.61", "20.62"), hosts=_CAMERA),
    source="RFC 5227 section 2.4",
    check=_taken,
    readdress=Readdress.EACH,
)
ALREADY_THERE = Rule(
    slug="already-there",
    severity=Severity.NOTE,
    what="A site host has the address with the planned MAC: the device is already installed.",
    why="This is not a clash: somebody has already installed the device.",
    do="Prove the port, or remove the row.",
    bad=one(_MAC, hosts=_CAMERA.replace("53-99", "53-21")),
    good=one(_MAC, hosts="address\n10.62.20.80\n"),
    source="our own rule, because a site host with the planned address and the planned MAC is the device itself",
    check=_already,
)
RESERVATION_MADE = Rule(
    slug="reservation-made",
    severity=Severity.NOTE,
    what="A list of the site has the address for this device: with its host name, or without a MAC if the address is "
    "granted.",
    why="This is not a clash: the site has entered the reservation that it was asked for. If the device gets another "
    "address, ask the site to delete the entry.",
    bad=one(_NAMED, hosts="address,name\n10.62.20.61,filler-plc\n"),
    good=one(_NAMED, hosts="address\n10.62.20.80\n"),
    source="our own rule, because a list entry with the planned name at the planned address is the device itself",
    check=_reservation,
)
INSIDE_POOL = Rule(
    slug="inside-pool",
    severity=Severity.CONFLICT,
    what="The address is inside a DHCP pool of the plan, or inside a range that a DHCP server of a survey assigns.",
    why="The DHCP server may assign the same address to another device, even months later.",
    do="Ask the site to take the address out of the pool, and set `granted` when it is done.",
    bad=one('address = "10.62.20.201"', subnet=_POOL),
    good=one('address = "10.62.20.201"\ngranted = "site IT, 2026-10-30"', subnet=_POOL),
    source="RFC 2131 section 2.2",
    check=_inside_pool,
    readdress=Readdress.EACH,
)
INSIDE_RESERVED = Rule(
    slug="inside-reserved",
    severity=Severity.CONFLICT,
    what="The address is inside a reserved range.",
    why="The site keeps these addresses for its own equipment, such as switches and routers, which may not be "
    "installed yet.",
    bad=one('address = "10.62.20.9"', subnet=_RESERVED),
    good=one('address = "10.62.20.61"', subnet=_RESERVED),
    source="our own rule, because the site reserves these addresses for hosts that no list shows yet",
    check=_inside("reserved range", lambda island, placed: island.reserved.at(placed.address)),
    readdress=Readdress.EACH,
)
IS_GATEWAY = Rule(
    slug="is-gateway",
    severity=Severity.CONFLICT,
    what="The address equals a subnet's gateway or a router's interface.",
    why="A device with the address of the gateway disconnects every other device on the segment from the rest of the "
    "site. If the device is the router itself, add a `[[router]]` with the name of the device.",
    bad=one('address = "10.62.20.1"', _ROUTER),
    good=one('address = "10.62.20.61"', _ROUTER),
    source="RFC 5227 section 2.4",
    check=_gateway,
    readdress=Readdress.EACH,
)
IS_STATION = Rule(
    slug="is-station",
    severity=Severity.CONFLICT,
    what="The address equals a station's address.",
    why="The technician's computer would clash with the device that it has to prove, and would answer in its place.",
    bad=one('address = "10.62.20.245"', _STATION),
    good=one('address = "10.62.20.61"', _STATION),
    source="RFC 5227 section 2.4",
    check=_station,
    readdress=Readdress.EACH,
)
TOO_NEAR = Rule(
    slug="too-near",
    severity=Severity.RISK,
    what="The address is nearer than `keep-clear` to the nearest site host in the subnet.",
    why="Lists of site hosts are never complete, and the site adds new hosts next to existing ones: the neighbouring "
    "addresses are the most likely to be in use on the day of the visit.",
    bad=one('address = "10.62.20.63"', site="keep-clear = 4", hosts=_CAMERA),
    good=one('address = "10.62.20.65"', site="keep-clear = 4", hosts=_CAMERA),
    source="our own rule, because new hosts are usually added next to existing ones",
    check=_near,
    readdress=Readdress.EACH,
)
