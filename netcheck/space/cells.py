"""A subnet as a row of cells, each one address or, in a large subnet, a block of them, by what holds it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

from netcheck.addr import Address, Prefix, Range
from netcheck.space.occupancy import Island

MOST_CELLS = 1024


class Use(StrEnum):
    """What a cell holds, as the letter it is drawn with; the gravest first where a block holds several."""

    CONFLICT = "X"
    GATEWAY = "G"
    PLANNED = "P"
    SITE_HOST = "s"
    STATION = "T"
    POOL = "d"
    RESERVED = "r"
    UNUSABLE = "-"
    FREE = "."

    @property
    def word(self) -> str:
        """The use in words."""
        return WORDS[self]


WORDS = {
    Use.CONFLICT: "conflict",
    Use.GATEWAY: "gateway or router",
    Use.PLANNED: "planned",
    Use.SITE_HOST: "site host",
    Use.STATION: "station",
    Use.POOL: "pool (DHCP)",
    Use.RESERVED: "reserved",
    Use.UNUSABLE: "not usable",
    Use.FREE: "free",
}


@dataclass(frozen=True, slots=True)
class Cells:
    """The cells of a subnet in order; `block` is how many addresses each stands for."""

    prefix: Prefix
    block: int
    uses: tuple[Use, ...]

    def count(self, use: Use) -> int:
        """How many cells have a use."""
        return self.uses.count(use)


def cells_of(island: Island, prefix: Prefix, conflicts: Collection[Address]) -> Cells:
    """Sort every address of a prefix by its use; `conflicts` are the addresses that a conflict names."""
    block = max(1, -(-prefix.size // MOST_CELLS))
    order = {use: rank for rank, use in enumerate(Use)}
    ranks = [order[Use.FREE]] * (prefix.size // block)

    def mark(span: Range, use: Use) -> None:
        low, high = max(span.low, prefix.value), min(span.high, prefix.last.value)
        for cell in range((low - prefix.value) // block, (high - prefix.value) // block + 1) if low <= high else ():
            ranks[cell] = min(ranks[cell], order[use])

    for subnet in island.subnets:
        for cells, use in ((subnet.pools, Use.POOL), (subnet.reserved, Use.RESERVED)):
            for cell in cells:
                if cell.value is not None and cell.value.family == prefix.family:
                    mark(cell.value, use)
    hosts = island.hosts.between(prefix.first, prefix.last)
    points: list[tuple[Address, Use]] = [(host.address, Use.SITE_HOST) for host in hosts]
    points += [(placed.address, Use.PLANNED) for placed in island.placed]
    points += [(gateway.address, Use.GATEWAY) for gateway in island.gateways]
    points += [(address, Use.STATION) for address, _ in island.stations]
    points += [(address, Use.CONFLICT) for address in conflicts]
    if block == 1 and prefix.family == 4 and prefix.size > 2:
        points += [(prefix.first, Use.UNUSABLE), (prefix.last, Use.UNUSABLE)]
    for address, use in points:
        if prefix.holds(address):
            mark(Range(address.family, address.value, address.value), use)
    uses = list(Use)
    return Cells(prefix, block, tuple(uses[rank] for rank in ranks))
