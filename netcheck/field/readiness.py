"""Judges from facts about this computer and the plan what would make the proof false or slow. Pure functions.

Each check judges one subject and returns `ok`, `fix` or `note`, with what to do. Nothing is sent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from netcheck.addr import Address, InterfaceAddress, Prefix, quad
from netcheck.field.readiness_facts import Facts, Level, ReadinessCheck, RecordState, planned_addresses_held
from netcheck.proof.probing.scheduler import Pace
from netcheck.proof.targets import Net
from netcheck.proof.verdict.silence_rule import Confirmed
from netcheck.text import listed, safe
from netcheck.wire.link import NetworkInterface
from netcheck.wire.linux.netlink import MAIN, KernelRoute
from netcheck.wire.station import master_of, member_words
from netcheck.wire.system_errors import switch_on

# ARP packets a second that ARP inspection of managed switches often allows on an untrusted port before it shuts the
# port: common practice, no source.
ARP_INSPECTION = 15

# Most seconds until a second path carries frames. Spanning tree needs at most the maximum age and twice the forward
# delay, 20 + 2 * 15 (defaults of IEEE 802.1D, from memory). Ring protocols of controllers need less than one second.
RING_HEALS = 50.0
RING_SILENCE = 60.0  # seconds for --out-for that are longer than RING_HEALS

Checks = Iterator[ReadinessCheck]


def judge(facts: Facts) -> tuple[ReadinessCheck, ...]:
    """Return the results of all checks, in the order in which faults should be corrected."""
    return tuple(line for check, fine in CHECKS for line in tuple(check(facts)) or ((_ok(*fine),) if fine else ()))


def urgent(facts: Facts) -> tuple[ReadinessCheck, ...]:
    """Return the faults of this computer that would make a proof that begins now false or impossible."""
    checks = (line for check in (_addresses, _overlaps, _routes, _vpn) for line in check(facts))
    return tuple(line for line in checks if line.level is Level.FIX)


def _ok(about: str, what: str) -> ReadinessCheck:
    return ReadinessCheck(Level.OK, about, what)


def _fix(about: str, what: str, do: str) -> ReadinessCheck:
    return ReadinessCheck(Level.FIX, about, what, do)


def _note(about: str, what: str, do: str) -> ReadinessCheck:
    return ReadinessCheck(Level.NOTE, about, what, do)


def _interface(facts: Facts) -> Checks:
    name, one = safe(facts.interface), facts.chosen
    if one is None:
        usable = [safe(other.name) for other in facts.interfaces if other.ethernet and not other.loopback]
        yield _fix("interface", f"there is no interface {name!r}", f"Name one of {listed(usable, most=20)}")
    elif one.loopback or not one.ethernet or not one.mac:
        yield _fix("interface", f"{name} is not Ethernet", "Name the one that the cable goes into")
    elif one.name in facts.wireless:
        yield _fix("interface", f"{name} is wireless: no cable can be proven through it", "Name a wired one")
    elif master := master_of(one, facts.interfaces):
        what, do = member_words(one, master)
        yield _fix("interface", f"{name} {what}", do)
    elif not one.up:
        yield _fix("interface", f"{name} is switched off", switch_on(name))
    elif not one.carrier:
        yield _fix("interface", f"{name} has no carrier", "Plug its cable in, and switch the far end on")
    else:
        yield _ok("interface", f"{name} is there and has carrier")


def _right(facts: Facts) -> Checks:
    if facts.refusal is None:
        yield _ok("right", f"{safe(facts.interface)} can be opened ({facts.kind} link)")
        if facts.kind == "unprivileged":
            what = "this link sees only the echo replies that this computer's firewall lets in"
            yield _note("firewall", what, "Ping a device that is known to reply, and let its replies in")
        return
    one = facts.chosen
    if one is not None and one.up and one.ethernet and not one.loopback and not master_of(one, facts.interfaces):
        yield _fix("right", facts.refusal.what, facts.refusal.do)


def _addresses(facts: Facts) -> Checks:
    """Check the address that probes will be sent from, for each subnet under test."""
    if not facts.nets:
        yield _note("address", "the plan has no IPv4 address to prove", "See `netcheck check`")
    own = facts.chosen.addresses if facts.chosen is not None else ()
    for net in facts.nets:
        yield _address(net, [one for one in own if net.holds(one[0])], facts.kind)


def _address(net: Net, own: list[tuple[int, int]], kind: str) -> ReadinessCheck:
    subnet = f"subnet {safe(net.name)} ({_prefix(net)})"
    if own:
        address, length = own[0]
        what = f"{_typed(address, length)} of this computer is in {subnet}"
        if length == net.length:
            return _ok("address", what)
        do = "Harmless to a proof; other programs on this computer may look for its hosts in the wrong place"
        return _note("address", f"{what}, with another mask", do)
    give = f"give this computer a free address in {_prefix(net)}"
    if net.station is None:
        what = f"this computer has no address in {subnet}, and the plan no station"
        return _fix(
            "address", what, f"Put a [[station]] with a free address in {_prefix(net)} into the plan, or {give}"
        )
    if kind == "unprivileged":
        what = f"this computer has no address in {subnet}, and the unprivileged link cannot borrow one"
        return _fix("address", what, f"{give.capitalize()}, or use --link raw or --link portable")
    what = f"this computer has no address in {subnet}; the plan's station address {quad(net.station)} will be borrowed"
    return _ok("address", what)


def _prefix(net: Net) -> Prefix:
    return Prefix(4, net.first, net.length)


def _typed(address: int, length: int) -> str:
    return str(InterfaceAddress(Address(4, address), length))


def _planned(facts: Facts) -> Checks:
    """Find addresses of this computer and of the plan's stations that are planned for a device."""
    planned = facts.aim.planned
    for held in planned_addresses_held(facts.interfaces, planned):
        what = f"{quad(held.address)} on {safe(held.on)} is planned for {safe(held.planned_for)}"
        yield _fix("own address", what, "Take it off this computer: nothing is proven while it has the address")
    for address in sorted(facts.aim.stations & planned.keys()):
        what = f"the station address {quad(address)} is planned for {safe(planned[address])} as well"
        yield _fix("own address", what, "Give the station another address in the plan")


def _overlaps(facts: Facts) -> Checks:
    for one in facts.others:
        for address, length in one.addresses:
            nets = [net for net in facts.nets if Prefix.of(Address(4, address), length).overlaps(_prefix(net))]
            if nets:
                what = f"{safe(one.name)} has {_typed(address, length)}, which overlaps {_names(nets)}"
                do = f"Unplug {safe(one.name)} or switch it off: a false reply could come from there"
                yield _fix("other interface", what, do)


def _names(nets: Iterable[Net]) -> str:
    return listed([f"{safe(net.name)} ({_prefix(net)})" for net in nets])


def _routes(facts: Facts) -> Checks:
    """Find routes that send planned addresses through another interface.

    Proving does not use routes, but a ping by hand and `--ask-modbus` do.
    """
    if facts.routes is None:
        do = "Check by hand whether another interface or a VPN has a route for planned addresses"
        yield _note("route", "this system's routes are not read", do)
        return
    known = {one.index: one for one in facts.interfaces}
    for (index, first, length), nets in _elsewhere(facts, facts.routes).items():
        one = known.get(index)
        if one is None or _tunnel(one) or _overlapping(one, nets):
            continue  # `_vpn` and `_overlaps` report these
        what = f"the route {Prefix(4, first, length)} sends {_names(nets)} through {safe(one.name)}"
        if length == 0:
            yield _note("route", what, "Harmless to a proof, but a ping by hand would go there")
        else:
            yield _fix("route", what, f"Remove it, or switch {safe(one.name)} off")


def _overlapping(one: NetworkInterface, nets: list[Net]) -> bool:
    prefixes = [Prefix.of(Address(4, address), length) for address, length in one.addresses]
    return any(prefix.overlaps(_prefix(net)) for prefix in prefixes for net in nets)


def _elsewhere(facts: Facts, routes: tuple[KernelRoute, ...]) -> dict[tuple[int, int, int], list[Net]]:
    """Return the routes of the main table that send a planned address through another interface.

    The key is (interface index, first address, prefix length), the value the affected subnets. The longest prefix wins
    (RFC 1812 section 5.2.4.3), then the lowest metric.
    """
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


def _vpn(facts: Facts) -> Checks:
    """Find tunnels with a route for planned addresses, in any table.

    A route for all addresses (0.0.0.0/0) or for half of them (0.0.0.0/1, 128.0.0.0/1) counts too.
    """
    for one in facts.others:
        if not _tunnel(one):
            continue
        routes = [_to(route) for route in facts.routes or () if route.index == one.index]
        taking = {to for to in routes if to.length <= 1 or any(to.overlaps(_prefix(net)) for net in facts.nets)}
        if taking:
            what = f"the tunnel {safe(one.name)} has a route for {listed(sorted(map(str, taking)))}"
            yield _fix("VPN", what, "Disconnect the VPN while proving")
        else:
            what = f"the tunnel {safe(one.name)} is up, with no route for a planned address"
            yield _note("VPN", what, "Disconnect it while proving, to be sure")


def _wireless(facts: Facts) -> Checks:
    for one in facts.others:
        if one.name in facts.wireless:
            what = f"{safe(one.name)} is wireless and switched on"
            yield _note("wireless", what, "Switch it off while proving: a false reply could come from there")


def _pace(facts: Facts) -> Checks:
    yield _ok(
        "pace",
        f"at most {Pace().broadcast:g} broadcasts a second are sent; ARP inspection on managed switches often allows "
        f"{ARP_INSPECTION} ARP packets a second on a port (common practice)",
    )


def _macs(facts: Facts) -> Checks:
    ports = [target for target in facts.aim.asked if not target.barred]
    without = [target for target in ports if target.mac is None]
    if without:
        what = f"{len(without)} of {len(ports)} ports have no planned MAC, by which a walk identifies the pulled cable"
        do = "Add the MACs to the plan; else walk in the announced order, press the port's key, or use `prove`"
        yield _note("MAC", what, do)
    elif ports:
        yield _ok("MAC", f"all {len(ports)} ports have a planned MAC")


def _rings(facts: Facts) -> Checks:
    """Find interfaces whose second port may be in a ring, and say how long a second path takes to carry frames."""
    ports = {target.interface: target.ports for target in facts.aim.asked if not target.barred and target.ports > 1}
    if ports:
        usual, longer = Confirmed.OPERATOR.value[0], RING_SILENCE
        what = (
            f"{len(ports)} interfaces have two or more ports; if they are in a ring, the second path carries frames at "
            f"once or, with spanning tree, after up to {RING_HEALS:g} s, and the port is `still-answering`"
        )
        do = (
            f"Open the ring while proving; to wait for a slow one, add --out-for {longer:g}, which costs "
            f"{longer - usual:g} s a port"
        )
        yield _note("ring", what, do)


def _suspend(facts: Facts) -> Checks:
    what = "a phase during which this computer is suspended is void and has to be repeated"
    yield _note("suspend", what, "Disable suspend, also for a closed lid, and connect the power supply")


def _clock(facts: Facts) -> Checks:
    now = facts.clock.now
    last = max(facts.surveyed, default=None)
    said = f"this computer says {now:%Y-%m-%d %H:%M} {now.tzname() or ''}".rstrip()
    compare = "Compare it with a watch: the record contains its times"
    if last is not None and now.date() < last:
        yield _fix("clock", f"{said}, and a survey of the plan was taken on {last}", "Set the clock")
    elif facts.clock.synchronised is False:
        yield _note("clock", f"{said}, and no time server keeps it", compare)
    elif facts.clock.synchronised is None:
        yield _note("clock", said, compare)
    else:
        yield _ok("clock", f"{said}, kept by a time server")


def _record(facts: Facts) -> Checks:
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

# Each check, and the subject and text of the `ok` line for a check that returns nothing.
CHECKS: tuple[tuple[Callable[[Facts], Checks], tuple[str, str] | None], ...] = (
    (_interface, None),
    (_right, None),
    (_addresses, None),
    (_planned, ("own address", "no address of this computer or of a station is planned for a device")),
    (_overlaps, ("other interface", "none overlaps a subnet under test")),
    (_routes, ("route", "none sends planned addresses through another interface")),
    (_vpn, ("VPN", "no tunnel is up")),
    (_wireless, ("wireless", "none is switched on")),
    (_pace, None),
    (_macs, None),
    (_rings, ("ring", "no interface has two ports")),
    (_suspend, None),
    (_clock, None),
    (_record, None),
)
