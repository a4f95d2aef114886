"""Finds the interfaces of a plan that had another name in an earlier revision."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from netcheck.plan.model import Cell, Interface, Plan


def renamed_interfaces(old: Plan, now: Plan) -> dict[str, str]:
    """Return the present subject of each renamed interface by its earlier subject.

    A removed and an added interface are the same if they alone share a MAC; otherwise if they alone share a host name;
    otherwise if they alone share an address and subnet. Interfaces with different MACs are two devices.
    """
    gone = {one.subject: one for one in old.interfaces if one.subject not in now.interface_named}
    new = {one.subject: one for one in now.interfaces if one.subject not in old.interface_named}
    names: dict[str, str] = {}
    for mark in (_mac, _host_name, _address):
        before, after = _by_mark(gone.values(), mark), _by_mark(new.values(), mark)
        for value, was in before.items():
            same = after.get(value, [])
            if len(was) == len(same) == 1 and not _two_devices(was[0], same[0]):
                names[was[0].subject] = same[0].subject
                del gone[was[0].subject], new[same[0].subject]
    return names


def _by_mark(interfaces: Iterable[Interface], mark: Callable[[Interface], Any]) -> dict[Any, list[Interface]]:
    found: dict[Any, list[Interface]] = {}
    for one in interfaces:
        if value := mark(one):
            found.setdefault(value, []).append(one)
    return found


def _two_devices(one: Interface, other: Interface) -> bool:
    macs = {mac for mac in (_mac(one), _mac(other)) if mac is not None}
    return len(macs) > 1


def _value(cell: Cell[Any] | None) -> Any:
    return cell.value if cell is not None else None


def _mac(one: Interface) -> Any:
    return _value(one.mac)


def _host_name(one: Interface) -> str:
    return str(_value(one.host_name) or "").casefold()


def _address(one: Interface) -> tuple[Any, str] | None:
    address = _value(one.address)
    return (address, one.subnet) if address is not None else None
