"""The operating system's interfaces, and the one table that turns its errors into ours with what to do.

On Linux the kernel is asked by netlink; elsewhere scapy's list of interfaces is taken.
"""

from __future__ import annotations

import errno
import os
import platform
import sys
from dataclasses import dataclass

from netcheck.errors import LinkError, NetcheckError
from netcheck.text import listed, safe
from netcheck.wire.link import Way
from netcheck.wire.linux import netlink


@dataclass(frozen=True, slots=True)
class Interface:
    """An interface of the station. `up` is switched on, `carrier` has a cable with a live far end; `addresses` are
    IPv4 as (32-bit address, prefix length). `ethernet` is False for the loopback, tunnels and the like."""

    index: int
    name: str
    mac: int
    up: bool
    carrier: bool
    ethernet: bool
    loopback: bool
    addresses: tuple[tuple[int, int], ...]
    arp: bool = True
    parent: int = 0
    master: int = 0

    @property
    def state(self) -> str:
        """Its state in words."""
        return "off" if not self.up else "cable" if self.carrier else "no cable"

    @property
    def way(self) -> Way:
        """What the link says of it."""
        return Way(self.name, self.mac, self.addresses)


def on_linux() -> bool:
    """Say whether the raw and the unprivileged link can be had at all."""
    return platform.system() == "Linux"


def interfaces() -> list[Interface]:
    """All interfaces of the station, by index; LinkError where the system does not tell."""
    if not on_linux():
        from netcheck.wire.other_systems import interfaces_by_scapy

        return interfaces_by_scapy()
    try:
        addresses = netlink.addresses()
        return [_interface(state, tuple(addresses.get(state.index, ()))) for state in netlink.links()]
    except OSError as error:
        raise link_error(error, "") from error


def _interface(state: netlink.LinkState, addresses: tuple[tuple[int, int], ...]) -> Interface:
    return Interface(
        state.index, state.name, state.mac, state.up, state.carrier, state.ethernet, state.loopback, addresses,
        state.arp, state.parent, state.master,
    )  # fmt: skip


def found(name: str) -> Interface:
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


def _fit(interface: Interface) -> Interface:
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


_RIGHT = (
    "Run it as root; or give the right once, to all who use this Python: `sudo setcap cap_net_raw+ep {python}`; "
    "or use `--link unprivileged`, whose best verdict is `unsettled`"
)
_PING_RIGHT = "Let users send echo requests: `sudo sysctl net.ipv4.ping_group_range='0 2147483647'`"

# What the system's numbers mean here: the words, and what to do.
_MEANING: dict[int, tuple[str, str]] = {
    errno.EPERM: ("no right to send and receive frames", _RIGHT),
    errno.EACCES: ("no right to send and receive frames", _RIGHT),
    errno.ENODEV: ("the interface is not there any more", "Plug it in again, then start again"),
    errno.ENXIO: ("the interface is not there any more", "Plug it in again, then start again"),
    errno.ENETDOWN: ("the interface is switched off", "Switch it on: `ip link set dev {interface} up`"),
    errno.EAFNOSUPPORT: ("this system has no packet sockets", "Use `--link portable`"),
    errno.EPROTONOSUPPORT: ("this system has no sockets of this kind", "Use `--link portable`"),
    errno.EMFILE: ("too many open files", "Close other programs, or raise the limit: `ulimit -n 1024`"),
    errno.ENFILE: ("too many open files on this computer", "Close other programs"),
    errno.ENOBUFS: ("the system has no memory left for frames", "Close other programs"),
    errno.ENOMEM: ("the system has no memory left", "Close other programs"),
}


def link_error(error: OSError, interface: str, kind: str = "raw") -> NetcheckError:
    """Turn an error of the system into ours, with what to do."""
    what, do = _MEANING.get(error.errno or 0, (f"the system says: {error.strerror or error}", ""))
    if kind == "unprivileged" and error.errno in (errno.EPERM, errno.EACCES):
        what, do = "no right to send echo requests", _PING_RIGHT
    do = do.format(interface=safe(interface), python=os.path.realpath(sys.executable))
    return LinkError.of(what, where=safe(interface), do=do)


def needs_linux(kind: str) -> NetcheckError:
    """The error of a link that only Linux has."""
    return LinkError.of(f"the {kind} link needs Linux, and this is {platform.system()}", do="Use `--link portable`")
