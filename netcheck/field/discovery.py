"""What listening and sweeping find: hosts with how they made themselves known, gathered in bounded memory."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from netcheck.addr import Address, Prefix

MOST = 65_536  # hosts, and MACs with a name, that are kept; the rest are counted


@dataclass(frozen=True, slots=True)
class DiscoveredHost:
    """One host: its 32-bit address, 0 where none was told, its MAC, the name it gives itself, and how it was heard.
    Name and words are from outside: make them safe before showing them."""

    address: int
    mac: int
    name: str = ""
    by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ProxyArp:
    """A MAC that answers for addresses which are not its own (proxy ARP)."""

    mac: int
    addresses: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Discovery:
    """The outcome of listening or sweeping. `covers` is what nothing else can be in; `notes` are sentences without
    final stop; `mend` says that something of it is not as it should be."""

    interface: str
    day: date
    hosts: tuple[DiscoveredHost, ...]
    nameless: tuple[DiscoveredHost, ...] = ()  # heard, without an address
    relays: tuple[ProxyArp, ...] = ()
    covers: tuple[Prefix, ...] = ()
    notes: tuple[str, ...] = ()
    seconds: float = 0.0
    complete: bool = True

    @property
    def twice(self) -> dict[int, tuple[int, ...]]:
        """Addresses that two MACs or more have."""
        macs: dict[int, list[int]] = {}
        for host in self.hosts:
            macs.setdefault(host.address, []).append(host.mac)
        return {address: tuple(found) for address, found in macs.items() if len(found) > 1}

    @property
    def mend(self) -> bool:
        """Say whether something needs mending before the list can be relied upon."""
        return bool(self.twice or self.relays or not self.complete)


def prefixes_of(spans: Iterable[tuple[int, int]], most: int = 64) -> tuple[Prefix, ...]:
    """The fewest prefixes that hold exactly these spans of 32-bit addresses; none where more than `most` are needed,
    since nobody could read them."""
    found: list[Prefix] = []
    for low, high in spans:
        while low <= high:
            size = low & -low or 1 << 32
            while size > high - low + 1:
                size >>= 1
            found.append(Prefix.of(Address(4, low), 33 - size.bit_length()))
            low += size
            if len(found) > most:
                return ()
    return tuple(found)
