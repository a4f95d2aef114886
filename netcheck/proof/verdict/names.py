"""Who a MAC is known to be: by the plan, by the survey, and by the IEEE registry of vendors."""

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
    """What a MAC is known as ("" where unknown), and its vendor by the IEEE registry."""

    known_as: Callable[[int], str]
    vendor: Callable[[int], str | None]

    def of(self, mac: int) -> str:
        """Return a MAC with its vendor and what it is known as."""
        words = [part for part in (self.vendor(mac), self.known_as(mac)) if part]
        return mac_text(mac) + (f" ({', '.join(words)})" if words else "")

    def list(self, macs: tuple[int, ...]) -> str:
        """Return several MACs as prose."""
        return listed([self.of(mac) for mac in macs])


UNKNOWN = Names(lambda mac: "", lambda mac: None)  # no MAC is known


def names_of(scope: Scope, surveyed: Callable[[int], str]) -> Names:
    """Return names by the plan first, then by the survey; `surveyed` gives text for a MAC, "" where it has none."""

    def known_as(mac: int) -> str:
        planned = scope.macs.get(mac)
        return f"planned for {planned}" if planned else surveyed(mac)

    return Names(known_as, vendor)


@cache
def vendor(mac: int) -> str | None:
    """Return the organisation that the IEEE registry names for a MAC's first three octets; None where it names none,
    where the MAC is locally administered, or where the block belongs to protocols rather than to a vendor."""
    block = mac >> 24
    if block >> 16 & 2 or block == PROTOCOL_BLOCK:
        return None
    from netaddr import OUI, NotRegisteredError

    try:
        return str(OUI(block).registration().org)
    except NotRegisteredError:
        return None
