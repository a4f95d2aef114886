"""Computes the map cells of a subnet; a cell is one address or, in a large subnet, a block of addresses.

`address_list` lists the addresses in use of a subnet, each with its user, name, MAC, switch port and place.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from enum import StrEnum
from heapq import nsmallest
from itertools import chain, islice

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Subnet
from netcheck.space.intervals import Spans, range_of, single
from netcheck.space.occupancy import Gateway, Island, Placed
from netcheck.space.usable import usable_ranges
from netcheck.survey.host_table import SiteHost

MOST_CELLS = 1024


class Use(StrEnum):
    """The use of a cell; its value is the letter on the map. A block with several uses gets the first in this order."""

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
        """Return the use in words."""
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
    """The cells of a subnet in ascending order; each stands for `block` addresses."""

    prefix: Prefix
    block: int
    uses: tuple[Use, ...]

    def count(self, use: Use) -> int:
        """Return the number of cells with a use."""
        return self.uses.count(use)


@dataclass(frozen=True, slots=True)
class Holding:
    """Addresses in use, their use, and the name of the user if it has one."""

    span: Range
    use: Use
    who: str = ""


def cells_of(island: Island, prefix: Prefix, conflicts: Collection[Address], most: int = MOST_CELLS) -> Cells:
    """Return the cells of a prefix, at most `most`, which must be a power of two.

    `conflicts` are the addresses that a conflict names.
    """
    block = max(1, -(-prefix.size // most))
    order = {use: rank for rank, use in enumerate(Use)}
    ranks = [order[Use.FREE]] * (prefix.size // block)
    for holding in holdings(island, prefix, conflicts):
        first, last = ((value - prefix.value) // block for value in holding.span[1:])
        for cell in range(first, last + 1):
            ranks[cell] = min(ranks[cell], order[holding.use])
    for span in Spans(usable_ranges(prefix)).gaps(range_of(prefix)):
        first, after = -(-(span.low - prefix.value) // block), (span.high + 1 - prefix.value) // block
        for cell in range(first, after):  # cells without a usable address
            ranks[cell] = min(ranks[cell], order[Use.UNUSABLE])
    uses = list(Use)
    return Cells(prefix, block, tuple(uses[rank] for rank in ranks))


def holdings(island: Island, prefix: Prefix, conflicts: Collection[Address]) -> Iterator[Holding]:
    """Yield every use of addresses in a prefix, clipped to it; an address may have several uses."""
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
    """Return the `most` widest gaps of usable addresses without a use, the widest first, then the lowest."""
    held = Spans(holding.span for holding in holdings(island, prefix, conflicts))
    gaps = (gap for span in usable_ranges(prefix) for gap in held.gaps(span))
    return nsmallest(most, gaps, key=lambda gap: (-gap.size, gap.low))


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressUse:
    """One use of an address, or of a pool or reserved range. An address with several users has several entries."""

    span: Range
    use: Use
    who: str
    name: str = ""
    mac: str = ""
    switch_port: str = ""
    location: str = ""
    source: str = ""  # the position in the plan or in a survey
    description: str = ""
    remark: str = ""


def address_list(island: Island, subnet: Subnet, most_hosts: int | None = None) -> list[AddressUse]:
    """Return the uses of a subnet's addresses in address order, with at most `most_hosts` site hosts.

    Empty if the prefix cannot be read.
    """
    prefix = subnet.prefix.value
    if prefix is None:
        return []
    order = list(Use)
    return sorted(_uses(island, prefix, most_hosts), key=lambda one: (one.span.low, order.index(one.use), one.who))


def _uses(island: Island, prefix: Prefix, most_hosts: int | None) -> Iterator[AddressUse]:
    for gateway in island.gateways:
        if prefix.holds(gateway.address):
            yield _of_gateway(gateway)
    for placed in island.placed:
        if prefix.holds(placed.address):
            yield _of_interface(placed)
    for address, station in island.stations:
        if prefix.holds(address):
            yield AddressUse(span=_one(address), use=Use.STATION, who=station.name, source=str(station.position))
    for host in islice(island.hosts.between(prefix.first, prefix.last), most_hosts):
        yield _of_host(host)
    for subnet in island.subnets:
        for cells, use in ((subnet.pools, Use.POOL), (subnet.reserved, Use.RESERVED)):
            for cell in cells:
                span = cell.value
                if span is not None and span.family == prefix.family and prefix.overlaps_range(span):
                    yield AddressUse(span=span, use=use, who=f"subnet {subnet.name}", source=str(cell.position))


def _one(address: Address) -> Range:
    return Range(address.family, address.value, address.value)


def _of_gateway(gateway: Gateway) -> AddressUse:
    return AddressUse(span=_one(gateway.address), use=Use.GATEWAY, who=str(gateway), source=str(gateway.owner.position))


def _of_interface(placed: Placed) -> AddressUse:
    one = placed.interface
    return AddressUse(
        span=_one(placed.address),
        use=Use.PLANNED,
        who=one.subject,
        name=one.host_name.text if one.host_name else "",
        mac=str(one.mac.value) if one.mac and one.mac.value else "",
        switch_port=one.switch_port.text if one.switch_port else "",
        location=one.location,
        source=str(one.position),
        description=one.description,
        remark=one.remark,
    )


def _of_host(host: SiteHost) -> AddressUse:
    return AddressUse(
        span=_one(host.address),
        use=Use.SITE_HOST,
        who=host.name or "a site host",
        name=host.name,
        mac=str(host.mac) if host.mac else "",
        source=host.where,
    )
