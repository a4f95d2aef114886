"""The result of listening and sweeping: hosts, and how each of them was found, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from ipaddress import IPv4Address, summarize_address_range

from netcheck.addr import Address, Prefix

MOST = 65_536  # hosts that are kept, and MACs with a name; the others are only counted


@dataclass(frozen=True, slots=True)
class DiscoveredHost:
    """A host: its 32-bit address, 0 if it is not known, its MAC, the name it sends, and how it was found (`by`).

    The name is hostile text: pass it through `netcheck.text.safe` before you show it.
    """

    address: int
    mac: int
    name: str = ""
    by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ProxyArp:
    """A MAC that answers for addresses that it does not own."""

    mac: int
    addresses: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Discovery:
    """The result of listening or sweeping.

    `nameless` are hosts without a known address. `covers` are the prefixes in which every host was found. `relays` do
    proxy ARP. `notes` are sentences without a full stop.
    """

    interface: str
    day: date
    hosts: tuple[DiscoveredHost, ...]
    nameless: tuple[DiscoveredHost, ...] = ()
    relays: tuple[ProxyArp, ...] = ()
    covers: tuple[Prefix, ...] = ()
    notes: tuple[str, ...] = ()
    seconds: float = 0.0
    complete: bool = True

    @property
    def twice(self) -> dict[int, tuple[int, ...]]:
        """The addresses that two or more MACs own, with these MACs."""
        macs: dict[int, list[int]] = {}
        for host in self.hosts:
            macs.setdefault(host.address, []).append(host.mac)
        return {address: tuple(found) for address, found in macs.items() if len(found) > 1}

    @property
    def has_faults(self) -> bool:
        """Whether a fault makes the list unreliable: duplicate addresses, proxy ARP, or an early end."""
        return bool(self.twice or self.relays or not self.complete)


def prefixes_of(spans: Iterable[tuple[int, int]], most: int = 64) -> tuple[Prefix, ...]:
    """Return the fewest prefixes that cover exactly these spans of 32-bit addresses.

    Empty if more than `most` are needed, because nobody could read the list.
    """
    found: list[Prefix] = []
    for low, high in spans:
        if low <= high:
            for part in summarize_address_range(IPv4Address(low), IPv4Address(high)):
                found.append(Prefix.of(Address(4, int(part.network_address)), part.prefixlen))
                if len(found) > most:
                    return ()
    return tuple(found)
