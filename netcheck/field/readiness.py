"""What would make tomorrow's proof false, judged before leaving: a pure function over facts gathered at the edge.

Each check looks at one thing and says `ok`, `fix` or `note` of it, and what to do. Nothing is sent to find out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from netcheck.addr import Address, InterfaceAddress, Prefix, quad
from netcheck.field.readiness_facts import Facts, Level, ReadinessCheck, RecordState
from netcheck.proof.targets import Net
from netcheck.text import listed, safe
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.linux.netlink import MAIN, KernelRoute


def judge(facts: Facts) -> tuple[ReadinessCheck, ...]:
    """All lines, in the order in which things are mended."""
    return tuple(line for check, fine in CHECKS for line in tuple(check(facts)) or ((fine,) if fine else ()))


def _interface(facts: Facts) -> Iterator[ReadinessCheck]:
    name, one = safe(facts.interface), facts.chosen
    if one is None:
        usable = [safe(other.name) for other in facts.interfaces if other.ethernet and not other.loopback]
        yield ReadinessCheck(
            Level.FIX, "interface", f"there is no interface {name!r}", f"Name one of {listed(usable, most=20)}"
        )
    elif one.loopback or not one.ethernet or not one.mac:
        yield ReadinessCheck(Level.FIX, "interface", f"{name} is not Ethernet", "Name the one that the cable goes into")
    elif one.name in facts.wireless:
        yield ReadinessCheck(
            Level.FIX, "interface", f"{name} is wireless: no cable is proved through it", "Name a wired one"
        )
    elif not one.up:
        yield ReadinessCheck(
            Level.FIX, "interface", f"{name} is switched off", f"Switch it on: `ip link set dev {name} up`"
        )
    elif not one.carrier:
        yield ReadinessCheck(
            Level.FIX, "interface", f"{name} has no carrier", "Plug its cable in, and switch the far end on"
        )
    else:
        yield ReadinessCheck(Level.OK, "interface", f"{name} is there and has carrier")


def _right(facts: Facts) -> Iterator[ReadinessCheck]:
    if facts.refusal is not None:
        one = facts.chosen
        if one is not None and one.up and one.ethernet and not one.loopback:
            yield ReadinessCheck(Level.FIX, "right", facts.refusal.what, facts.refusal.do)
    else:
        yield ReadinessCheck(Level.OK, "right", f"{safe(facts.interface)} can be opened ({facts.kind} link)")


def _addresses(facts: Facts) -> Iterator[ReadinessCheck]:
    """For each subnet under test: the address that will be asked from."""
    if not facts.nets:
        yield ReadinessCheck(Level.NOTE, "address", "the plan has no IPv4 address to prove", "See `netcheck check`")
    own = facts.chosen.addresses if facts.chosen is not None else ()
    for net in facts.nets:
        yield _address(net, [one for one in own if net.holds(one[0])], facts.kind)


def _address(net: Net, own: list[tuple[int, int]], kind: str) -> ReadinessCheck:
    subnet = f"subnet {safe(net.name)} ({_prefix(net)})"
    if own:
        address, length = own[0]
        what = f"{_typed(address, length)} of this computer is in {subnet}"
        if length == net.length:
            return ReadinessCheck(Level.OK, "address", what)
        do = "Harmless to a proof; programs of this computer may look for its hosts in the wrong place"
        return ReadinessCheck(Level.NOTE, "address", f"{what}, with another mask", do)
    give = f"give this computer a free address in {_prefix(net)}"
    if net.station is None:
        do = f"Put a [[station]] with a free address in {_prefix(net)} into the plan, or {give}"
        return ReadinessCheck(
            Level.FIX, "address", f"this computer has no address in {subnet}, and the plan no station", do
        )
    if kind == "unprivileged":
        what = f"this computer has no address in {subnet}, and the unprivileged link can borrow none"
        return ReadinessCheck(Level.FIX, "address", what, f"{give.capitalize()}, or use --link raw")
    what = f"this computer has no address in {subnet}; the plan's station address {quad(net.station)} will be borrowed"
    return ReadinessCheck(Level.OK, "address", what)


def _prefix(net: Net) -> Prefix:
    return Prefix(4, net.first, net.length)


def _typed(address: int, length: int) -> str:
    return str(InterfaceAddress(Address(4, address), length))


def _planned(facts: Facts) -> Iterator[ReadinessCheck]:
    """Addresses of this computer, and of the plan's stations, that are planned: 6-settled-details.md 45."""
    planned = facts.aim.planned
    for one in facts.interfaces:
        for address, _ in one.addresses:
            if address in planned:
                what = f"{quad(address)} on {safe(one.name)} is planned for {safe(planned[address])}"
                yield ReadinessCheck(
                    Level.FIX, "own address", what, "Take it off this computer: nothing is proved with it"
                )
    for address in sorted(facts.aim.stations & planned.keys()):
        what = f"the station address {quad(address)} is planned for {safe(planned[address])} as well"
        yield ReadinessCheck(Level.FIX, "own address", what, "Give the station another address in the plan")


def _overlaps(facts: Facts) -> Iterator[ReadinessCheck]:
    for one in facts.others:
        for address, length in one.addresses:
            nets = [net for net in facts.nets if Prefix.of(Address(4, address), length).overlaps(_prefix(net))]
            if nets:
                what = f"{safe(one.name)} has {_typed(address, length)}, which overlaps {_names(nets)}"
                do = f"Unplug {safe(one.name)} or switch it off: a false answer could come from there"
                yield ReadinessCheck(Level.FIX, "other interface", what, do)


def _names(nets: Iterable[Net]) -> str:
    return listed([f"{safe(net.name)} ({_prefix(net)})" for net in nets])


def _routes(facts: Facts) -> Iterator[ReadinessCheck]:
    """Where the system's own traffic to planned addresses goes. Proving does not follow routes; ping by hand does, and
    asking for an identity too."""
    if facts.routes is None:
        do = "Look yourself whether another interface or a VPN takes planned addresses"
        yield ReadinessCheck(Level.NOTE, "route", "this system's routes are not read", do)
        return
    known = {one.index: one for one in facts.interfaces}
    for (index, first, length), nets in _elsewhere(facts, facts.routes).items():
        one = known.get(index)
        if one is None or _tunnel(one) or _overlapping(one, nets):
            continue  # these have lines of their own
        what = f"the route {Prefix(4, first, length)} sends {_names(nets)} through {safe(one.name)}"
        if length == 0:
            yield ReadinessCheck(Level.NOTE, "route", what, "Harmless to a proof, but a ping by hand would go there")
        else:
            yield ReadinessCheck(Level.FIX, "route", what, f"Remove it, or switch {safe(one.name)} off")


def _overlapping(one: NetworkInterface, nets: list[Net]) -> bool:
    prefixes = [Prefix.of(Address(4, address), length) for address, length in one.addresses]
    return any(prefix.overlaps(_prefix(net)) for prefix in prefixes for net in nets)


def _elsewhere(facts: Facts, routes: tuple[KernelRoute, ...]) -> dict[tuple[int, int, int], list[Net]]:
    """Routes of the main table, as (interface index, first, length), that win a planned address for another interface
    by the longest prefix (RFC 1812 section 5.2.4.3) and the least metric; with the subnets that they take."""
    here = facts.chosen.index if facts.chosen is not None else 0
    found: dict[tuple[int, int, int], list[Net]] = {}
    for net in facts.nets:
        near = [route for route in routes if route.table == MAIN and _to(route).overlaps(_prefix(net))]
        targets = {target.address for target in facts.aim.asked if target.subnet == net.name and not target.barred}
        for best in {_best(near, target) for target in targets}:
            if best is not None and best.index != here:
                found.setdefault((best.index, best.first, best.length), []).append(net)
    return found


def _to(route: KernelRoute) -> Prefix:
    return Prefix(4, route.first, route.length)


def _best(routes: list[KernelRoute], address: int) -> KernelRoute | None:
    fitting = [route for route in routes if _to(route).holds(Address(4, address))]
    return max(fitting, key=lambda route: (route.length, -route.metric), default=None)


def _tunnel(one: NetworkInterface) -> bool:
    return not one.ethernet and not one.loopback


def _vpn(facts: Facts) -> Iterator[ReadinessCheck]:
    """A tunnel that would take planned addresses: by a route for them in any table, or by one for half the world
    (0.0.0.0/0, or 0.0.0.0/1 with 128.0.0.0/1)."""
    for one in facts.others:
        if not _tunnel(one):
            continue
        routes = [_to(route) for route in facts.routes or () if route.index == one.index]
        taking = {to for to in routes if to.length <= 1 or any(to.overlaps(_prefix(net)) for net in facts.nets)}
        if taking:
            what = f"the tunnel {safe(one.name)} has a route for {listed(sorted(map(str, taking)))}"
            yield ReadinessCheck(Level.FIX, "VPN", what, "Disconnect the VPN while proving")
        else:
            what = f"the tunnel {safe(one.name)} is up, with no route for a planned address"
            yield ReadinessCheck(Level.NOTE, "VPN", what, "Disconnect it while proving, to be sure")


def _wireless(facts: Facts) -> Iterator[ReadinessCheck]:
    for one in facts.others:
        if one.name in facts.wireless:
            what = f"{safe(one.name)} is wireless and switched on"
            yield ReadinessCheck(
                Level.NOTE, "wireless", what, "Switch it off while proving: a false answer could come from there"
            )


def _clock(facts: Facts) -> Iterator[ReadinessCheck]:
    now = facts.clock.now
    last = max(facts.surveyed, default=None)
    said = f"this computer says {now:%Y-%m-%d %H:%M} {now.tzname() or ''}".rstrip()
    if last is not None and now.date() < last:
        yield ReadinessCheck(
            Level.FIX, "clock", f"{said}, and a survey of the plan was taken on {last}", "Set the clock"
        )
    elif facts.clock.synchronised is False:
        do = "Compare it with a watch: the record carries its times"
        yield ReadinessCheck(Level.NOTE, "clock", f"{said}, and no time server keeps it", do)
    elif facts.clock.synchronised is None:
        yield ReadinessCheck(Level.NOTE, "clock", said, "Compare it with a watch: the record carries its times")
    else:
        yield ReadinessCheck(Level.OK, "clock", f"{said}, kept by a time server")


def _record(facts: Facts) -> Iterator[ReadinessCheck]:
    level, what = _RECORD[facts.record.state]
    said = f": {facts.record.said}" if facts.record.said else ""
    yield ReadinessCheck(level, "record", f"{safe(facts.record.path)} {what}{said}", facts.record.do)


_RECORD = {
    RecordState.NEW: (Level.OK, "can be written"),
    RecordState.GOES_ON: (Level.OK, "is there and will be taken up"),
    RecordState.TORN: (Level.NOTE, "is torn"),
    RecordState.OTHER_PLAN: (Level.FIX, "belongs to another plan"),
    RecordState.UNUSABLE: (Level.FIX, "cannot be written"),
}

# Each check, and what is said where it finds nothing to say.
CHECKS: tuple[tuple[Callable[[Facts], Iterator[ReadinessCheck]], ReadinessCheck | None], ...] = (
    (_interface, None),
    (_right, None),
    (_addresses, None),
    (
        _planned,
        ReadinessCheck(Level.OK, "own address", "no address of this computer or of a station is planned for a device"),
    ),
    (_overlaps, ReadinessCheck(Level.OK, "other interface", "none overlaps a subnet under test")),
    (_routes, ReadinessCheck(Level.OK, "route", "none takes planned addresses elsewhere")),
    (_vpn, ReadinessCheck(Level.OK, "VPN", "no tunnel is up")),
    (_wireless, ReadinessCheck(Level.OK, "wireless", "none is switched on")),
    (_clock, None),
    (_record, None),
)
