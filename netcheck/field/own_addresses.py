"""Addresses of this computer that the plan gives to a device.

The operating system answers for its own addresses on any interface (weak host model, RFC 1122 section 3.3.4.2), and a
link never hears its own computer. So such an address cannot be proven, on whatever interface it is configured.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from netcheck.addr import quad
from netcheck.errors import LinkError, Problem
from netcheck.text import safe
from netcheck.wire.interface import NetworkInterface

DO = "Remove the address from this computer, or correct the plan; then start again"


@dataclass(frozen=True, slots=True)
class HeldAddress:
    """A planned address that this computer has: the 32-bit address, the interface that has it, and the device interface
    that it is planned for."""

    address: int
    on: str
    planned_for: str

    def __str__(self) -> str:
        return (
            f"{quad(self.address)} is planned for {safe(self.planned_for)}, and this computer has it on {safe(self.on)}"
        )


def planned_addresses_held(
    interfaces: Iterable[NetworkInterface], planned: Mapping[int, str]
) -> tuple[HeldAddress, ...]:
    """Return the planned addresses that are configured on any interface. `planned` maps addresses to their owners."""
    return tuple(
        HeldAddress(address, one.name, planned[address])
        for one in interfaces
        for address, _ in one.addresses
        if address in planned
    )


def demand_no_planned_address(interfaces: Iterable[NetworkInterface], planned: Mapping[int, str]) -> None:
    """Raise LinkError, with one problem for each planned address that is configured on any interface."""
    if held := planned_addresses_held(interfaces, planned):
        raise LinkError(*(Problem(str(one), do=DO) for one in held))
