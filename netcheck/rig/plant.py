"""A whole plan on the bench: one device for each interface, all on one switch, with the faults of a rehearsal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from netcheck.proof.targets import Scope
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.network import Jack, Rig, Segment
from netcheck.wire.link import Adapter

STATION_MAC = 0x00005E0053FE  # documentation MACs: RFC 7042 section 2.1.2
MADE_UP = 0x020000000000  # locally administered MACs for interfaces without a MAC in the plan


@dataclass(frozen=True)
class Trouble:
    """The faults of the plant. Interfaces are named `device/interface`."""

    faults: Mapping[str, Faults] = field(default_factory=dict)
    lossy: Mapping[str, float] = field(default_factory=dict)  # share of frames lost each way
    impostors: tuple[str, ...] = ()  # another host has the address and answers while the cable is out
    swapped: tuple[tuple[str, str], ...] = ()  # pairs of interfaces that have each other's addresses
    absent: tuple[str, ...] = ()  # interfaces that do not answer


def plant(aim: Scope, trouble: Trouble, seed: int, kind: type[Rig] = Rig) -> tuple[Rig, dict[str, Jack]]:
    """Build the bench; return it with the cable of each port. `kind` is the class of the rig.

    All subnets share the switch, which RFC 1122 section 3.3.4.1 allows, and every gateway answers. The ports of an
    interface share one cable that is moved from port to port.
    """
    switch = Segment()
    rig = kind(seed, [Adapter("rig0", STATION_MAC)], [switch])
    addresses = {target.interface: target.address for target in aim.targets if not target.barred}
    for one, other in trouble.swapped:
        addresses[one], addresses[other] = addresses[other], addresses[one]
    cables: dict[str, Jack] = {}
    for number, (interface, address) in enumerate(addresses.items()):
        mac = next((t.mac for t in aim.targets if t.interface == interface and t.mac), MADE_UP + number)
        jack = switch.join(Jack(mac, loss=trouble.lossy.get(interface, 0.0)))
        device = VirtualDevice(rig, {jack: {address}}, trouble.faults.get(interface, Faults()))
        device.dead = interface in trouble.absent
        cables[interface] = jack
    for number, interface in enumerate(trouble.impostors):
        jack = switch.join(Jack(MADE_UP + 0x1000 + number))
        VirtualDevice(rig, {jack: {addresses[interface]}}, Faults(only_while_out=cables[interface]))
    for number, net in enumerate(aim.nets):
        if net.gateway is not None and net.gateway not in addresses.values():
            jack = switch.join(Jack(MADE_UP + 0x2000 + number))
            VirtualDevice(rig, {jack: {net.gateway}})
    return rig, {target.subject: cables[target.interface] for target in aim.targets if target.interface in cables}


def hanging(aim: Scope, cables: Mapping[str, Jack]) -> dict[str, tuple[Jack, ...]]:
    """Return, for each connector, the cables of the interfaces that the plan attaches to it."""
    found: dict[str, dict[Jack, None]] = {}
    for target in aim.targets:
        if target.behind and target.subject in cables:
            found.setdefault(target.behind, {})[cables[target.subject]] = None
    return {connector: tuple(jacks) for connector, jacks in found.items()}
