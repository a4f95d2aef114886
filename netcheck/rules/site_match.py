"""Decides whether a site host at a planned address is a stranger, the installed device, or a reservation for it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from netcheck.addr import Mac
from netcheck.plan.model import Interface
from netcheck.rules.name_match import may_be_same
from netcheck.space.occupancy import Placed
from netcheck.survey.host_table import SiteHost


class SiteMatch(NamedTuple):
    """The site hosts at the address of a planned interface, sorted by whose they are.

    `strangers` are not known to be the device. `installed` has the planned MAC. `reservation` is a list entry that the
    site made for the device: it has the planned host name, or no MAC while the interface is `granted`."""

    placed: Placed
    strangers: tuple[SiteHost, ...]
    installed: SiteHost | None
    reservation: SiteHost | None


def match_hosts(placed: Placed, hosts: Iterable[SiteHost], domain: str) -> SiteMatch:
    """Sort the site hosts at an address. A host without a MAC is ignored if a host with one decides."""
    interface, planned = placed.interface, _mac(placed.interface)
    hosts = tuple(hosts)
    installed = next((host for host in hosts if planned is not None and host.mac == planned), None)
    reserved = [host for host in hosts if _is_reservation(interface, planned, host, domain)]
    others = [host for host in hosts if host.mac is not None and host.mac != planned and host not in reserved]
    if not others and installed is None:
        others = [host for host in hosts if host.mac is None and host not in reserved and (host.name or not reserved)]
    return SiteMatch(placed, tuple(others), installed, reserved[0] if reserved else None)


def _mac(interface: Interface) -> Mac | None:
    return None if interface.mac is None else interface.mac.value


def _is_reservation(interface: Interface, planned: Mac | None, host: SiteHost, domain: str) -> bool:
    if host.mac is not None and (planned is not None or not host.name):
        return False  # a MAC that differs from the planned one is another device, whatever its name
    if host.mac is None and interface.granted:
        return True
    return bool(host.name) and may_be_same(_planned_name(interface), host.name, domain)


def _planned_name(interface: Interface) -> str:
    """Return the name under which the site knows the interface: its host name, else the name of its device."""
    name = interface.host_name.text.strip() if interface.host_name else ""
    return name or interface.device
