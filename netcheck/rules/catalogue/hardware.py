"""Rules on MACs and switch ports."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from netcheck.addr import Mac
from netcheck.plan.model import Interface
from netcheck.rules.finding import Breach, Severity, breach
from netcheck.rules.other_plans import parties, switch_port_key
from netcheck.rules.rule import Rule, device, one, plan
from netcheck.rules.scene import Scene, shared
from netcheck.survey.host_table import SiteHost
from netcheck.text import listed, listed_words


def _unusable(scene: Scene) -> Iterator[Breach]:
    for interface, mac in scene.odd_macs:
        if mac.value == 0:
            yield breach(f"the MAC {mac} is all zeros", interface, others=[str(mac)])
        elif mac.group:
            why = "all ones, the broadcast address" if mac.value == (1 << 48) - 1 else "a group address"
            yield breach(f"the MAC {mac} is {why}, not the address of one interface", interface, others=[str(mac)])


def _local(scene: Scene) -> Iterator[Breach]:
    for interface, mac in scene.odd_macs:
        if mac.local:
            yield breach(
                f"the MAC {mac} is locally administered; no manufacturer assigned it", interface, others=[str(mac)]
            )


def _planned_twice(scene: Scene) -> Iterator[Breach]:
    for mac, interfaces in shared(scene.macs.values, scene.macs.interfaces).items():
        yield breach(f"the MAC {mac} is planned for {_subjects(interfaces)}", *interfaces, others=[str(mac)])
    for interface, mac in scene.macs if scene.others else ():
        elsewhere = scene.others.with_mac(mac)
        if elsewhere:
            message = f"the MAC {mac} is planned here and for {listed_words(elsewhere, str)}"
            yield breach(message, interface, others=[str(mac)])


def _subjects(interfaces: list[Interface]) -> str:
    return listed([interface.subject for interface in interfaces])


def _elsewhere(scene: Scene) -> Iterator[Breach]:
    found = [island.hosts.by_macs(scene.macs.values) for island in scene.islands.values()]
    met = set().union(*found)
    if not met:
        return
    planned = {(mac, one.address.value) for one, mac in scene.macs if mac in met and one.address}

    @cache  # any number of interfaces may have the MAC
    def elsewhere_of(mac: Mac, family: int) -> tuple[str, str] | None:
        """Return the other addresses of a MAC in a family in words, and the first of them; None without any."""
        hosts = [host for each in found for host in each.get(mac, ()) if host.address.family == family]
        elsewhere = [host for host in hosts if (mac, host.address) not in planned]
        return (_seen_at(elsewhere), str(elsewhere[0].address)) if elsewhere else None

    for interface, mac in scene.macs:
        address = interface.address.value if interface.address and mac in met else None
        if address is not None and (found_at := elsewhere_of(mac, address.family)):
            shown, first = found_at
            yield breach(f"its MAC {mac} was seen on the site at {shown}", interface, others=[first])


def _seen_at(seen: list[SiteHost]) -> str:
    by_address = {host.address: host for host in reversed(seen)}
    hosts = sorted(by_address.values(), key=lambda host: host.address)
    return listed([f"{host.address} ({host.where})" for host in hosts])


def _switch_ports(scene: Scene) -> Iterator[Breach]:
    groups: dict[tuple[str, str], list[Interface]] = {}
    for interface in scene.plan.interfaces:
        if interface.switch_port is not None and interface.switch_port.text.strip():
            key = scene.plan.island_of(interface), switch_port_key(interface.switch_port.text)
            groups.setdefault(key, []).append(interface)
    for users in groups.values():
        subjects = {interface.subject for interface in users}
        first = [each for each in users if each.behind.rpartition(":")[0] not in subjects]
        if len(first) > 1 and first[0].switch_port:
            message = f"switch port {first[0].switch_port.text.strip()} is planned for {_subjects(first)}"
            yield breach(message, *first)
    for interface in scene.plan.interfaces if scene.others else ():
        port = interface.switch_port.text.strip() if interface.switch_port and not interface.behind else ""
        elsewhere = scene.others.with_switch_port(switch_port_key(port)) if port else []
        if elsewhere:
            message = f"switch port {port} is planned here and for {listed_words(elsewhere, str)}"
            yield breach(message, interface, others=parties(elsewhere))


def _mac(mac: str) -> str:
    return f'address = "10.62.20.61"\nmac = "{mac}"'


def _two(second: str) -> tuple[str, str]:
    first = device("filler-plc", cpu=_mac("00-00-5E-00-53-21") + '\nswitch-port = "sw-3/7"')
    return first, device("capper-plc", cpu=f'address = "10.62.20.62"\n{second}')


MAC_UNUSABLE = Rule(
    slug="mac-unusable",
    severity=Severity.CONFLICT,
    what="The MAC has the group bit set, or is all zeros or all ones.",
    why="No interface has such a MAC; the nameplate was misread. No proof with this MAC can pass.",
    bad=one(_mac("01-00-5E-90-10-21")),
    good=one(_mac("00-00-5E-00-53-21")),
    source="RFC 7042 section 2.1",
    check=_unusable,
)
MAC_LOCAL = Rule(
    slug="mac-local",
    severity=Severity.NOTE,
    what="The MAC has the locally administered bit set.",
    why="The manufacturer did not assign it: it belongs to a virtual machine or a bridge, or a digit was misread. It "
    "may change without notice.",
    bad=one(_mac("02-00-5E-00-53-21")),
    good=one(_mac("00-00-5E-00-53-21")),
    source="RFC 7042 section 2.1",
    check=_local,
)
MAC_PLANNED_TWICE = Rule(
    slug="mac-planned-twice",
    severity=Severity.CONFLICT,
    what="One MAC is planned on two interfaces.",
    why="A MAC belongs to one interface; a row was probably copied. A proof would take one device for the other.",
    bad=plan(*_two('mac = "00:00:5e:00:53:21"')),
    good=plan(*_two('mac = "00:00:5e:00:53:22"')),
    source="RFC 7042 section 2.1",
    check=_planned_twice,
)
MAC_ELSEWHERE = Rule(
    slug="mac-elsewhere",
    severity=Severity.RISK,
    what="A survey lists the planned MAC at another address.",
    why="The device is used hardware that still has an old address, or the MAC in the plan is that of another device.",
    bad=one(_mac("00-00-5E-00-53-21"), hosts="address,mac\n10.62.20.80,00-00-5E-00-53-21\n"),
    good=one(_mac("00-00-5E-00-53-21"), hosts="address,mac\n10.62.20.80,00-00-5E-00-53-80\n"),
    source="our own rule, because a MAC belongs to one device, and a device is in one place",
    check=_elsewhere,
)
SWITCH_PORT_TWICE = Rule(
    slug="switch-port-twice",
    severity=Severity.CONFLICT,
    what="One switch port is planned for two interfaces.",
    why="A switch port takes one cable.",
    do="For an interface that is connected through a port of another device, set `behind`.",
    bad=plan(*_two('switch-port = "SW-3/7"')),
    good=plan(*_two('switch-port = "sw-3/8"')),
    source="our own rule, because one port takes one plug",
    check=_switch_ports,
)
