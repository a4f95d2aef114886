"""What is known of a MAC: from the plan, from the survey, and from the IEEE registry of vendors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from netcheck.addr import mac_text
from netcheck.proof.targets import Scope
from netcheck.text import listed

PROTOCOL_BLOCK = 0x00005E  # 00-00-5E: protocols and documentation, no vendor (RFC 7042 section 2.1)


@dataclass(frozen=True, slots=True)
class Names:
    """Two functions: what a MAC is known as, "" if it is unknown, and its vendor by the IEEE registry."""

    known_as: Callable[[int], str]
    vendor: Callable[[int], str | None]

    def of(self, mac: int) -> str:
        """Return a MAC with its vendor and what it is known as."""
        parts = [part for part in (self.vendor(mac), self.known_as(mac)) if part]
        return mac_text(mac) + (f" ({', '.join(parts)})" if parts else "")

    def list(self, macs: tuple[int, ...]) -> str:
        """Return several MACs, each as in `of`, as a list in a sentence."""
        return listed([self.of(mac) for mac in macs])


UNKNOWN = Names(lambda mac: "", lambda mac: None)  # no MAC is known


def names_of(scope: Scope, surveyed: Callable[[int], str]) -> Names:
    """Return names from the plan, else from the survey. `surveyed` returns the text for a MAC, "" if it has none."""

    def known_as(mac: int) -> str:
        planned = scope.macs.get(mac)
        return f"planned for {planned}" if planned else surveyed(mac)

    return Names(known_as, vendor)


@cache
def vendor(mac: int) -> str | None:
    """Return the organisation that the IEEE registry names for the first three octets of a MAC.

    None if the registry names none, if the MAC is locally administered, or if the block is reserved for protocols.
    """
    block = mac >> 24
    if block >> 16 & 2 or block == PROTOCOL_BLOCK:
        return None
    from netaddr import OUI, NotRegisteredError

    try:
        return str(OUI(block).registration().org)
    except NotRegisteredError:
        return None
