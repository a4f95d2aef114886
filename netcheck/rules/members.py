"""The interfaces of each subnet, and what is typed into all of them together.

In a large plan nearly every subnet is in order, which a look at the few different values typed there tells; only where
they are not do rules go through its interfaces one by one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

from netcheck.addr import Address, Mask
from netcheck.plan.model import Cell, Interface, Subnet

T = TypeVar("T")


@dataclass(frozen=True)
class Members:
    """A subnet with the interfaces that name it; what is none, with those whose subnet is not known."""

    subnet: Subnet
    interfaces: tuple[Interface, ...]

    @cached_property
    def addresses(self) -> set[Address]:
        """Every address that can be read."""
        return _values(one.address for one in self.interfaces)

    @cached_property
    def masks(self) -> set[Mask]:
        """Every typed mask that can be read."""
        return _values(one.mask for one in self.interfaces)

    @cached_property
    def gateways(self) -> set[Address]:
        """Every typed gateway that can be read."""
        return _values(one.gateway for one in self.interfaces)

    @cached_property
    def all_inside(self) -> bool:
        """Say whether every address is inside the subnet's prefix, so far as they can be read."""
        prefix, addresses = self.subnet.prefix.value, self.addresses
        return prefix is None or not addresses or prefix.first <= min(addresses) <= max(addresses) <= prefix.last


def _values(cells: Iterable[Cell[T] | None]) -> set[T]:
    return {cell.value for cell in cells if cell is not None and cell.value is not None}


def members_of(faces: Iterable[tuple[Interface, Subnet]]) -> tuple[Members, ...]:
    """Interfaces by the subnet that they name, in the order given."""
    subnets: dict[str, Subnet] = {}
    found: dict[str, list[Interface]] = defaultdict(list)
    for interface, subnet in faces:
        found[subnet.name].append(interface)
        subnets[subnet.name] = subnet
    return tuple(Members(subnets[name], tuple(interfaces)) for name, interfaces in found.items())
