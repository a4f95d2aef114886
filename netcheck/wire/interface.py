"""One network interface of this computer, as the operating system describes it."""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.wire.link import Way


@dataclass(frozen=True, slots=True)
class NetworkInterface:
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
