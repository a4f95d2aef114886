"""The interfaces of this computer, and which of them can be used to probe.

On Linux netlink lists the interfaces, on macOS psutil, on Windows iphlpapi.dll.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from netcheck.errors import LinkError
from netcheck.text import listed, safe
from netcheck.wire.link import NetworkInterface
from netcheck.wire.linux import netlink
from netcheck.wire.system_errors import link_error, switch_on

# Masters whose members still deliver all frames to this computer: a VRF does no more than select a routing table.
_HARMLESS_MASTERS = ("vrf",)


def interfaces() -> list[NetworkInterface]:
    """Return all interfaces of this computer, by index; raise LinkError if the system does not list them."""
    if sys.platform == "win32":
        from netcheck.wire.windows.adapters import interfaces as adapters

        return adapters()
    elif sys.platform != "linux":  # noqa: RET505  # the type checker judges the branches by system
        from netcheck.wire.macos import interfaces as listed_by_macos

        return listed_by_macos()
    else:
        return _interfaces_by_netlink()


def _interfaces_by_netlink() -> list[NetworkInterface]:
    try:
        addresses = netlink.addresses()
        return [_interface(state, tuple(addresses.get(state.index, ()))) for state in netlink.links()]
    except OSError as error:
        raise link_error(error, "") from error


def _interface(state: netlink.LinkState, addresses: tuple[tuple[int, int], ...]) -> NetworkInterface:
    """Return the interface of a state of the kernel and its IPv4 addresses."""
    return NetworkInterface(
        index=state.index,
        name=state.name,
        mac=state.mac,
        up=state.up,
        carrier=state.carrier,
        ethernet=state.ethernet,
        loopback=state.loopback,
        addresses=addresses,
        arp=state.arp,
        parent=state.parent,
        master=state.master,
        member_of=state.member_of,
    )


def completed(name: str) -> str:
    """Return the full name of the interface whose name begins with *name*; upper and lower case are equal.

    If no interface name begins with it, *name* is returned. Raises LinkError if several do, and names them.
    """
    names = [one.name for one in interfaces()]
    wanted = name.casefold()
    same = [one for one in names if one.casefold() == wanted]
    beginning = same or [one for one in names if one.casefold().startswith(wanted)]
    if name in names or not beginning:
        return name
    if len(beginning) > 1:
        what = f"{safe(name)!r} is the beginning of several interface names"
        raise LinkError.of(what, do=f"Write more of the name: {listed([safe(one) for one in beginning], most=20)}")
    return beginning[0]


def found(name: str) -> NetworkInterface:
    """Return the interface with this name; raise LinkError, which says what to do, if it cannot be used to probe."""
    there = interfaces()
    for interface in there:
        if interface.name == name:
            return _usable(interface, there)
    usable = [one.name for one in there if one.ethernet and not one.loopback and not master_of(one, there)]
    do = f"Name one of this computer's Ethernet interfaces: {listed(usable, most=20)}"
    if sys.platform == "win32":
        do += "; an interface that is disabled in the list of network connections is not listed here"
    raise LinkError.of(f"there is no interface {safe(name)!r}", do=do)


def _usable(interface: NetworkInterface, there: Sequence[NetworkInterface]) -> NetworkInterface:
    """Return the interface if it can be used to probe; raise LinkError if not. *there* are all interfaces."""
    name = safe(interface.name)
    if interface.loopback:
        what, do = "is the loopback: it stays inside this computer, and has no ARP", "Name an Ethernet interface"
    elif not interface.ethernet or not interface.mac:
        what, do = "is not Ethernet: it has no ARP, which distinguishes devices", "Name an Ethernet interface"
    elif master := master_of(interface, there):
        what, do = member_words(interface, master)
    elif not interface.up:
        what, do = "is switched off", switch_on(name)
    else:
        return interface
    raise LinkError.of(f"interface {name} {what}", do=do)


def master_of(interface: NetworkInterface, there: Sequence[NetworkInterface]) -> str:
    """Return the name of the bridge, bond or team that an interface belongs to, "" if it belongs to none."""
    if not interface.master or interface.member_of in _HARMLESS_MASTERS:
        return ""
    return next((one.name for one in there if one.index == interface.master), f"interface {interface.master}")


def member_words(interface: NetworkInterface, master: str) -> tuple[str, str]:
    """Return why a member of a bridge, bond or team cannot be used, and what to do."""
    kind = f"{safe(interface.member_of)} {safe(master)}".strip()
    return (
        f"belongs to the {kind}: it does not hear what this computer itself sends and answers on {safe(master)}",
        f"Use the master, `-i {safe(master)}`, or take the interface out of it",
    )


def other_interfaces_up(interface: str) -> list[str]:
    """Return the names of the other Ethernet interfaces that are switched on, where a false reply could come from.

    Interfaces on the same cable as *interface* (above or below it) are left out, and so are members of a listed bridge
    or bond, and interfaces without ARP.
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
