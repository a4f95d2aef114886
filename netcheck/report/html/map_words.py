"""Describes in words who holds the addresses of a subnet: the table next to its map, and the title of each cell."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice

from netcheck.addr import Address, Prefix, Range
from netcheck.space.intervals import Spans, range_of, single
from netcheck.space.map_cells import Use
from netcheck.space.occupancy import Island

SHOWN = 24  # ranges in one row of the table
NAMED = 4  # holders of one address


@dataclass(frozen=True, slots=True)
class WordRow:
    """One use in a subnet: number of addresses, their first ranges, and the number of further ranges."""

    use: Use
    count: int
    ranges: tuple[Range, ...]
    more: int = 0


def taken_by(island: Island, prefix: Prefix, conflicts: Collection[Address]) -> dict[Use, tuple[Range, ...]]:
    """Return the ascending ranges of each use in a prefix; an address may have several uses."""
    window = range_of(prefix)
    hosts = (Range(prefix.family, value, value) for value in island.hosts.values(window))
    found: dict[Use, Iterable[Range]] = {
        Use.CONFLICT: map(single, conflicts),
        Use.GATEWAY: map(single, island.gateways_at),
        Use.PLANNED: map(single, island.placed_at),
        Use.SITE_HOST: hosts,
        Use.STATION: map(single, island.stations_at),
        Use.POOL: (cell.value for each in island.subnets for cell in each.pools if cell.value is not None),
        Use.RESERVED: (cell.value for each in island.subnets for cell in each.reserved if cell.value is not None),
    }
    return {use: tuple(Spans(ranges).within(window)) for use, ranges in found.items()}


def rows_of(taken: dict[Use, tuple[Range, ...]], prefix: Prefix) -> tuple[WordRow, ...]:
    """Return one row for each use and one for free addresses; an address counts in each of its uses."""
    rows = [_row(use, ranges) for use, ranges in taken.items() if ranges]
    free = tuple(Spans(span for spans in taken.values() for span in spans).gaps(prefix.usable))
    return (*rows, *([_row(Use.FREE, free)] if free else []))


def _row(use: Use, ranges: tuple[Range, ...]) -> WordRow:
    return WordRow(use, sum(span.size for span in ranges), ranges[:SHOWN], max(0, len(ranges) - SHOWN))


def held_at(island: Island, address: Address, conflicts: Collection[Address]) -> str:
    """Return who holds an address, such as `conflict; planned pump-plc/cpu; site host camera-7`; empty if nobody."""
    words = ["conflict"] if address in conflicts else []
    return "; ".join([*words, *_some(_holders(island, address))])


def _holders(island: Island, address: Address) -> Iterator[str]:
    yield from (f"planned {placed.interface.subject}" for placed in island.placed_at.get(address, ()))
    yield from map(str, island.gateways_at.get(address, ()))
    yield from (f"site host {host.name or host.mac or 'without a name'}" for host in island.hosts.at(address))
    yield from (f"station {station.name}" for station in island.stations_at.get(address, ()))
    pool, reserved = island.pools.at(address), island.reserved.at(address)
    yield from ([f"pool {pool.span}"] if pool else [])
    yield from ([f"reserved {reserved.span}"] if reserved else [])


def _some(words: Iterator[str]) -> Iterator[str]:
    yield from islice(words, NAMED)
    left = sum(1 for _ in words)
    yield from ([f"{left} more"] if left else [])
