"""Who a MAC is known to be: by the plan, by the survey, and by the IEEE registry of vendors."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from netcheck.proof.judge import Names
from netcheck.proof.targets import Aim

PROTOCOL_BLOCK = 0x00005E  # 00-00-5E: protocols and documentation, no vendor (RFC 7042 section 2.1)


def names_of(aim: Aim, surveyed: Callable[[int], str]) -> Names:
    """Names by the plan first, then by the survey; `surveyed` gives words for a MAC, "" where it has none."""

    def known_as(mac: int) -> str:
        planned = aim.macs.get(mac)
        return f"planned for {planned}" if planned else surveyed(mac)

    return Names(known_as, vendor)


@cache
def vendor(mac: int) -> str | None:
    """The organisation that the IEEE registry names for a MAC's first three octets; None where it names none, where the
    MAC is locally administered, or where the block belongs to protocols rather than to a vendor."""
    block = mac >> 24
    if block >> 16 & 2 or block == PROTOCOL_BLOCK:
        return None
    from netaddr import OUI, NotRegisteredError

    try:
        return str(OUI(block).registration().org)
    except NotRegisteredError:
        return None
