"""A subnet as a row of cells, each one address or, in a large subnet, a block of them, by what holds it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from enum import StrEnum
from heapq import nsmallest
from itertools import chain

from netcheck.addr import Address, Prefix, Range
from netcheck.space.intervals import Spans, range_of, single
from netcheck.space.occupancy import Island
from netcheck.space.usable import usable_ranges

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


@dataclass(frozen=True, slots=True)
class Holding:
    """Addresses that something holds, and its name where it has one."""

    span: Range
    use: Use
    who: str = ""


def cells_of(island: Island, prefix: Prefix, conflicts: Collection[Address], most: int = MOST_CELLS) -> Cells:
    """Sort every address of a prefix by its use, in at most `most` cells, a power of two; `conflicts` are the addresses
    that a conflict names."""
    block = max(1, -(-prefix.size // most))
    order = {use: rank for rank, use in enumerate(Use)}
    ranks = [order[Use.FREE]] * (prefix.size // block)
    for holding in holdings(island, prefix, conflicts):
        first, last = ((value - prefix.value) // block for value in holding.span[1:])
        for cell in range(first, last + 1):
            ranks[cell] = min(ranks[cell], order[holding.use])
    for span in Spans(usable_ranges(prefix)).gaps(range_of(prefix)):
        first, after = -(-(span.low - prefix.value) // block), (span.high + 1 - prefix.value) // block
        for cell in range(first, after):  # cells of which no address is usable
            ranks[cell] = min(ranks[cell], order[Use.UNUSABLE])
    uses = list(Use)
    return Cells(prefix, block, tuple(uses[rank] for rank in ranks))


def holdings(island: Island, prefix: Prefix, conflicts: Collection[Address]) -> Iterator[Holding]:
    """Everything that holds addresses of a prefix, cut to it; an address may be held several times."""
    points: Iterator[tuple[Address, Use, str]] = chain(
        ((address, Use.CONFLICT, "") for address in conflicts),
        ((gateway.address, Use.GATEWAY, str(gateway)) for gateway in island.gateways),
        ((placed.address, Use.PLANNED, placed.interface.subject) for placed in island.placed),
        ((address, Use.STATION, station.name) for address, station in island.stations),
    )
    for address, use, who in points:
        if prefix.holds(address):
            yield Holding(single(address), use, who)
    for host in island.hosts.between(prefix.first, prefix.last):
        yield Holding(single(host.address), Use.SITE_HOST, host.name)
    for subnet in island.subnets:
        for cells, use in ((subnet.pools, Use.POOL), (subnet.reserved, Use.RESERVED)):
            for cell in cells:
                if cell.value is not None and cell.value.family == prefix.family:
                    low, high = max(cell.value.low, prefix.value), min(cell.value.high, prefix.last.value)
                    if low <= high:
                        yield Holding(Range(prefix.family, low, high), use, subnet.name)


def gaps_of(island: Island, prefix: Prefix, conflicts: Collection[Address], most: int) -> list[Range]:
    """The widest gaps of usable addresses that nothing holds, the widest first, the lower of equals first."""
    held = Spans(holding.span for holding in holdings(island, prefix, conflicts))
    gaps = (gap for span in usable_ranges(prefix) for gap in held.gaps(span))
    return nsmallest(most, gaps, key=lambda gap: (-gap.size, gap.low))
