"""The interfaces of this computer, and which of them can be used to probe.

On Linux the kernel is asked by netlink; elsewhere psutil lists the interfaces.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from netcheck.errors import LinkError
from netcheck.text import listed, safe
from netcheck.wire.link import NetworkInterface
from netcheck.wire.linux import netlink
from netcheck.wire.system_errors import link_error, switch_on

# Masters whose members still deliver all frames to this computer: a VRF only selects a routing table.
_HARMLESS_MASTERS = ("vrf",)


def interfaces() -> list[NetworkInterface]:
    """Return all interfaces of this computer, by index; LinkError where the system does not tell."""
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
    """Return the whole name of the interface whose name begins so, whatever the case of its letters.

    A name that no interface begins with is returned as it is; LinkError names the interfaces if several do."""
    names = [one.name for one in interfaces()]
    wanted = name.casefold()
    same = [one for one in names if one.casefold() == wanted]
    beginning = same or [one for one in names if one.casefold().startswith(wanted)]
    if name in names or not beginning:
        return name
    if len(beginning) > 1:
        what = f"{safe(name)!r} is the beginning of several interface names"
        raise LinkError.of(what, do=f"Write more of it: {listed([safe(one) for one in beginning], most=20)}")
    return beginning[0]


def found(name: str) -> NetworkInterface:
    """Return the interface of this name if it can be used to probe; else LinkError says why not and what to do."""
    there = interfaces()
    for interface in there:
        if interface.name == name:
            return _usable(interface, there)
    usable = [one.name for one in there if one.ethernet and not one.loopback and not master_of(one, there)]
    do = f"Name one of this computer's Ethernet interfaces: {listed(usable, most=20)}"
    if sys.platform == "win32":
        do += "; one that is disabled in the list of network connections is not among them"
    raise LinkError.of(f"there is no interface {safe(name)!r}", do=do)


def _usable(interface: NetworkInterface, there: Sequence[NetworkInterface]) -> NetworkInterface:
    name = safe(interface.name)
    if interface.loopback:
        what, do = "is the loopback: nothing outside this computer is on it, and it has no ARP", "Name an Ethernet one"
    elif not interface.ethernet or not interface.mac:
        what, do = "is not Ethernet: it has no ARP, which tells one device from another", "Name an Ethernet one"
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
    """Return what is wrong with using the member of a bridge, bond or team, and what to do."""
    kind = f"{safe(interface.member_of)} {safe(master)}".strip()
    return (
        f"belongs to the {kind}: what this computer itself sends and answers on {safe(master)} is not heard on it",
        f"Use the master, `-i {safe(master)}`, or take the interface out of it",
    )


def other_interfaces_up(interface: str) -> list[str]:
    """Return the names of the other Ethernet interfaces that are switched on, where a false reply could come from.

    It leaves out interfaces on the same cable as the one named (above or below it), members of a bridge or bond that
    is listed itself, and interfaces without ARP.
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
