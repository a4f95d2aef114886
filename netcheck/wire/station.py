"""The operating system's interfaces, and the one table that turns its errors into ours with what to do.

On Linux the kernel is asked by netlink; elsewhere scapy's list of interfaces is taken.
"""

from __future__ import annotations

from netcheck.errors import LinkError
from netcheck.text import listed, safe
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.linux import netlink
from netcheck.wire.system_errors import link_error, on_linux


def interfaces() -> list[NetworkInterface]:
    """All interfaces of the station, by index; LinkError where the system does not tell."""
    if not on_linux():
        from netcheck.wire.other_systems import interfaces_by_psutil

        return interfaces_by_psutil()
    try:
        addresses = netlink.addresses()
        return [_interface(state, tuple(addresses.get(state.index, ()))) for state in netlink.links()]
    except OSError as error:
        raise link_error(error, "") from error


def _interface(state: netlink.LinkState, addresses: tuple[tuple[int, int], ...]) -> NetworkInterface:
    return NetworkInterface(
        state.index, state.name, state.mac, state.up, state.carrier, state.ethernet, state.loopback, addresses,
        state.arp, state.parent, state.master,
    )  # fmt: skip


def found(name: str) -> NetworkInterface:
    """The interface of this name, fit to probe with: there, Ethernet, switched on; else LinkError says what to do."""
    there = interfaces()
    for interface in there:
        if interface.name == name:
            return _fit(interface)
    usable = [one.name for one in there if one.ethernet and not one.loopback]
    raise LinkError.of(
        f"there is no interface {safe(name)!r}",
        do=f"Name one of this computer's Ethernet interfaces: {listed(usable, most=20)}",
    )


def _fit(interface: NetworkInterface) -> NetworkInterface:
    name = safe(interface.name)
    if interface.loopback:
        what, do = "is the loopback: nothing outside this computer is on it, and it has no ARP", "Name an Ethernet one"
    elif not interface.ethernet or not interface.mac:
        what, do = "is not Ethernet: it has no ARP, by which a device is told from others", "Name an Ethernet one"
    elif not interface.up:
        what, do = "is switched off", f"Switch it on: `ip link set dev {name} up`" if on_linux() else "Switch it on"
    else:
        return interface
    raise LinkError.of(f"interface {name} {what}", do=do)


def other_interfaces_up(interface: str) -> list[str]:
    """Names of the station's other Ethernet interfaces that are switched on, where a false answer could come from.

    Left out is what shares the cable of the one named (interfaces on top of it or below it), what belongs to a switch
    or bond that is listed itself, and what has no ARP.
    """
    this = found(interface)
    return [
        one.name
        for one in interfaces()
        if one.name != interface
        and one.ethernet
        and one.up
        and one.arp
        and one.mac
        and not one.master
        and one.parent != this.index
        and one.index not in (this.parent, this.master)
    ]
