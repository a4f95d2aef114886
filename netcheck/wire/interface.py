"""One network interface of this computer, as the operating system describes it."""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.wire.link import Adapter


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkInterface:
    """An interface of this computer.

    `up` is the administrative state; `carrier` says that a cable with a live far end is connected. `addresses` are its
    IPv4 addresses as (32-bit address, prefix length). `ethernet` is False for the loopback, tunnels and the like.
    `parent` and `master` are the indexes of the interface below it (VLAN) and of the bridge, bond or team that it
    belongs to, 0 for none; `member_of` is the master's kind, such as "bridge". `wireless` and `description` (the
    adapter's product name) are known on Windows."""

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
    member_of: str = ""
    wireless: bool = False
    description: str = ""

    @property
    def state(self) -> str:
        """Its state in words."""
        return "off" if not self.up else "cable" if self.carrier else "no cable"

    @property
    def adapter(self) -> Adapter:
        """The same interface as a link describes it."""
        return Adapter(self.name, self.mac, self.addresses)
