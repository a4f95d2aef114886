"""The ports to be proven, taken from a plan, with their subnets and all known addresses and MACs.

`named` and the functions below it return the ports that a word names. The word is a value of `--only`, or the text by
which the operator chooses the next port.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches

from netcheck.addr import Address, Prefix, Range
from netcheck.errors import Problem, UsageError
from netcheck.plan.model import Cell, Interface, Plan, Subnet
from netcheck.text import listed, safe


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A port to be proven. `barred` says why it cannot be probed; then `address` is 0."""

    interface: str
    port: str
    device: str
    address: int
    address_text: str
    subnet: str
    mac: int | None = None
    ordinal: int = 0  # 0 for the first port of its interface
    ports: int = 1  # number of ports of its interface
    barred: str = ""
    behind: str = ""  # the port, `device/interface:port`, that its interface is attached to
    mask: int | None = None  # prefix length of the mask typed into the device; None means that of the subnet
    gateway: int | None = None  # typed into the device; None means that of the subnet
    place: str = ""  # where the device stands on the plant
    switch_port: str = ""  # the switch port at the other end of its cable
    row: int = 0  # row on the screen, from 1; 0 if the run does not prove it

    @property
    def subject(self) -> str:
        """`device/interface:port`."""
        return f"{self.interface}:{self.port}"


@dataclass(frozen=True, slots=True)
class Net:
    """A subnet as IPv4 integers. `spare` are usable addresses that no host should have; the first is used first."""

    name: str
    first: int
    length: int
    gateway: int | None = None
    station: int | None = None  # the plan's station address in it
    spare: tuple[int, ...] = ()

    def holds(self, address: int) -> bool:
        """Return whether the address is inside the prefix."""
        return self.first >> (32 - self.length) == address >> (32 - self.length)


@dataclass(frozen=True, slots=True)
class SiteHostSeen:
    """A host of the site's lists: IPv4 address, MAC if known, and name."""

    address: int
    mac: int | None
    name: str


@dataclass(frozen=True, slots=True)
class TakenSpace:
    """Addresses and ranges that the plan and the surveys assign, as IPv4 integers."""

    addresses: frozenset[int] = frozenset()
    ranges: tuple[tuple[int, int], ...] = ()

    def until(self, address: int) -> int | None:
        """Return the lowest address of the ranges that contain this address, or None."""
        return min((low for low, high in self.ranges if low <= address <= high), default=None)


def _nobody(address: int) -> bool:
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What a run covers.

    `targets` are all ports of the plan, and `asked` those to be proven, in order. `kept` are the addresses that the
    plan and the surveys assign. `surveyed` returns whether a survey contains an address, also outside the plan's
    subnets.
    """

    targets: tuple[Target, ...]
    asked: tuple[Target, ...]
    nets: tuple[Net, ...]
    stations: frozenset[int] = frozenset()
    macs: dict[int, str] = field(default_factory=dict)  # planned MAC -> device/interface
    site_macs: dict[int, str] = field(default_factory=dict)  # surveyed MAC -> description
    kept: TakenSpace = TakenSpace()
    surveyed: Callable[[int], bool] = _nobody

    def free(self, address: int) -> bool:
        """Return whether neither the plan nor a survey assigns an address."""
        return address not in self.kept.addresses and self.kept.until(address) is None and not self.surveyed(address)

    @property
    def planned(self) -> dict[int, str]:
        """The planned addresses that can be probed, with their interfaces."""
        return {target.address: target.interface for target in self.targets if not target.barred}

    def net(self, name: str) -> Net:
        """Return the subnet of that name."""
        return next(net for net in self.nets if net.name == name)


def scope_of(plan: Plan, hosts: Iterable[SiteHostSeen] = (), only: Sequence[str] = ()) -> Scope:
    """Return the scope of a run. Raises UsageError (exit 2) if a word of `only` names no port of the plan."""
    listed_hosts = tuple(hosts)
    targets = tuple(target for interface in plan.interfaces for target in _targets_of(plan, interface))
    kept = _kept(plan, listed_hosts)
    nets = tuple(_net(plan, subnet, kept) for subnet in plan.subnets if _v4(subnet))
    asked = chosen(only, targets)
    rows = {target.subject: row for row, target in enumerate(asked, 1)}
    numbered = {target.subject: replace(target, row=rows.get(target.subject, 0)) for target in targets}
    macs = {i.mac.value.value: i.subject for i in plan.interfaces if i.mac is not None and i.mac.value is not None}
    site_macs = {host.mac: _host_words(host) for host in listed_hosts if host.mac is not None}
    return Scope(
        targets=tuple(numbered.values()),
        asked=tuple(numbered[target.subject] for target in asked),
        nets=nets,
        stations=_stations(plan),
        macs=macs,
        site_macs=site_macs,
        kept=kept,
    )


def _kept(plan: Plan, hosts: tuple[SiteHostSeen, ...]) -> TakenSpace:
    """Return the addresses of plan, site hosts, stations, gateways and routers, and the pools and reserved ranges."""
    taken = {host.address for host in hosts} | _stations(plan)
    named = [cell for i in plan.interfaces for cell in (i.address, i.gateway)] + [s.gateway for s in plan.subnets]
    taken |= {value for cell in named if (value := _v4_value(cell)) is not None}
    taken |= {a.value.address.value for router in plan.routers for a in router.interfaces if a.value is not None}
    closed = [r.value for s in plan.subnets for r in (*s.pools, *s.reserved) if r.value is not None]
    return TakenSpace(frozenset(taken), tuple((r.low, r.high) for r in closed if r.family == 4))


def _v4_value(cell: Cell[Address] | None) -> int | None:
    """Return the IPv4 address of a cell, or None if it is empty, unreadable or IPv6."""
    value = None if cell is None else cell.value
    return value.value if value is not None and value.family == 4 else None


def _host_words(host: SiteHostSeen) -> str:
    at = Address(4, host.address)
    return f"site host {host.name} ({at})" if host.name else f"site host {at}"


def _v4(subnet: Subnet) -> bool:
    return subnet.prefix.value is not None and subnet.prefix.value.family == 4


def _stations(plan: Plan) -> frozenset[int]:
    values = (station.address.value for station in plan.stations)
    return frozenset(value.address.value for value in values if value is not None and value.address.family == 4)


def _targets_of(plan: Plan, interface: Interface) -> list[Target]:
    value = interface.address.value if interface.address is not None else None
    barred = _barred(plan, interface)
    return [
        Target(
            interface=interface.subject,
            port=port,
            device=interface.device,
            address=value.value if value is not None and not barred else 0,
            address_text="" if interface.address is None else str(value or interface.address.text),
            subnet=interface.subnet,
            mac=None if interface.mac is None or interface.mac.value is None else interface.mac.value.value,
            ordinal=ordinal,
            ports=len(interface.ports),
            barred=barred,
            behind=interface.behind,
            mask=None if interface.mask is None or interface.mask.value is None else interface.mask.value.length,
            gateway=_v4_value(interface.gateway),
            place=interface.location,
            switch_port=_text(interface.switch_port),
        )
        for ordinal, port in enumerate(interface.ports)
    ]


def _text(cell: Cell[str] | None) -> str:
    return "" if cell is None else cell.value or cell.text


def _barred(plan: Plan, interface: Interface) -> str:
    if interface.address is None and interface.dhcp:
        return "it gets its address by DHCP: write the address that is reserved for it into the plan to prove it"
    if interface.address is None:
        return "it has no address in the plan"
    value = interface.address.value
    if value is None:
        return f"its address cannot be read: {interface.address.why}"
    if value.family == 6:
        return "IPv6 is not probed"
    prefix = plan.subnet_of(interface).prefix.value
    if prefix is None:
        return "its subnet's prefix cannot be read"
    if not prefix.holds(value):
        return f"its address is not inside {prefix}, the prefix of its subnet {interface.subnet}"
    if not prefix.usable.holds(value):
        return "its address is the network or broadcast address of its subnet"
    return ""


def _net(plan: Plan, subnet: Subnet, kept: TakenSpace) -> Net:
    prefix = subnet.prefix.value
    assert prefix is not None  # the caller passes readable prefixes only
    gateway = subnet.gateway.value if subnet.gateway is not None else None
    stations = [
        station.address.value.address.value
        for station in plan.stations
        if station.address.value is not None
        and station.island == subnet.island
        and prefix.holds(station.address.value.address)
    ]
    return Net(
        name=subnet.name,
        first=prefix.value,
        length=prefix.length,
        gateway=gateway.value if gateway is not None and prefix.holds(gateway) else None,
        station=stations[0] if stations else None,
        spare=_spare(prefix, kept),
    )


def _spare(prefix: Prefix, kept: TakenSpace, most: int = 2) -> tuple[int, ...]:
    """Return the highest usable addresses that no host should have, at most *most*.

    With two of them proxy ARP, which answers for both, differs from a host that no list names, which answers for one.
    """
    found: list[int] = []
    address = prefix.usable.high
    while address >= prefix.usable.low and len(found) < most:
        if (low := kept.until(address)) is not None:
            address = low - 1
            continue
        if address not in kept.addresses:
            found.append(address)
        address -= 1
    return tuple(found)


NEAREST = 4  # names that a message proposes instead of an unknown one
_CUT = re.compile(r"[\s/:]+")  # ends the name of a switch: `sw-2/54`, `sw-2:54`, `sw-2 Gi1/0/54`


def _switches(target: Target) -> list[str]:
    """Return the switch port, and each beginning of it that may be the name of the switch."""
    text = target.switch_port
    return [text, *(text[: cut.start()] for cut in _CUT.finditer(text))] if text else []


# The kinds of names in the order of the search: a word that names a device is not compared with the places.
KINDS: tuple[Callable[[Target], Iterable[str]], ...] = (
    lambda target: (target.subject,),
    lambda target: (target.interface,),
    lambda target: (target.device,),
    lambda target: (target.subnet,),
    lambda target: (target.place,),
    _switches,
)


def named(word: str, targets: Sequence[Target]) -> tuple[Target, ...]:
    """Return the ports that a word names, in the order of *targets*; empty if it names none.

    The word is the name of a port, interface, device, subnet, place, switch or switch port, or an address, a range or a
    prefix. An exact match comes first; otherwise capitals and spaces do not matter.
    """
    for form in (_same, _folded):
        wanted = form(word)
        for names in KINDS:
            found = tuple(target for target in targets if wanted in map(form, names(target)) and wanted)
            if found:
                return found
    try:
        span = Range.from_text(word)
    except ValueError:
        return ()
    return tuple(t for t in targets if not t.barred and span.holds(Address(4, t.address)))


def chosen(words: Sequence[str], targets: Sequence[Target]) -> tuple[Target, ...]:
    """Return the ports that the words name, in the order of the words, each once; all ports if there are no words.

    Raises UsageError for the words that name no port, with the nearest names.
    """
    if not words:
        return tuple(targets)
    found = [(word, named(word, targets)) for word in words]
    unknown = [word for word, ports in found if not ports]
    if unknown:
        raise UsageError(*(_unknown(word, targets) for word in unknown))
    return tuple(dict.fromkeys(target for _, ports in found for target in ports))


def typed(text: str, targets: Sequence[Target]) -> tuple[Target, ...]:
    """Return the ports that the operator's text may mean: by a number from 1, by a name, or by a part of a name."""
    word = text.strip()
    if word.isascii() and word.isdigit() and len(word) < 7:
        number = int(word)
        return (targets[number - 1],) if 0 < number <= len(targets) else ()
    part = _folded(word)
    if exact := named(word, targets):
        return exact
    return tuple(t for t in targets if part and (part in _folded(t.subject) or part in t.address_text))


def nearest(word: str, targets: Sequence[Target]) -> list[str]:
    """Return the names most similar to a word, at most `NEAREST`; for an address, the nearest addresses."""
    names = {_folded(name): name for kind in KINDS for target in targets for name in kind(target) if name}
    part = _folded(word)
    try:
        wanted = Range.from_text(word)
    except ValueError:
        close = get_close_matches(part, names, NEAREST, 0.6)
        within = [name for name in names if part and part in name and name not in close]
        return [names[name] for name in (*close, *within)][:NEAREST]
    there = {target.address: target.address_text for target in targets if not target.barred}
    return [there[address] for address in sorted(there, key=lambda one: abs(one - wanted.low))[:NEAREST]]


def _unknown(word: str, targets: Sequence[Target]) -> Problem:
    near = nearest(word, targets)
    do = (
        f"Did you mean {listed(near, joint='or')}?"
        if near
        else f"Use one of {listed(_interfaces(targets), joint='or')}"
    )
    what = f"--only {safe(word, 60)}: the plan has no such port, interface, device, subnet, place, switch or address"
    return Problem(what, do=do)


def _interfaces(targets: Sequence[Target]) -> list[str]:
    return sorted({target.interface for target in targets})


def _same(text: str) -> str:
    return text.strip()


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())
