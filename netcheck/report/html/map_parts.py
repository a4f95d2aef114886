"""Chooses the sheets on which each subnet is drawn, and describes them in words. The size is bounded.

A subnet of up to 256 addresses (IPv4 /24) is one sheet with one cell an address. A larger one is an overview by blocks,
followed by sheets of the /24 in use. An IPv6 subnet is a list.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import islice

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Subnet
from netcheck.report.html.map_sheet import Sheet, overview_of, sheet_of
from netcheck.report.html.map_words import WordRow, held_at, rows_of, taken_by
from netcheck.report.model import Report
from netcheck.report.text.subnet_map import conflicts_in
from netcheck.space.intervals import Spans, range_of
from netcheck.space.occupancy import Island, islands_of

WHOLE = 24  # prefix length of the largest sheet
ALL_DRAWN = 4  # a subnet of up to 4 /24 has all of them drawn, a larger one only those in use
SHEETS_EACH, SHEETS_IN_ALL = 16, 64  # a sheet takes about 35 kB
LISTED = 500  # addresses of an IPv6 subnet
WIDEST = 5  # free ranges that are named


@dataclass(frozen=True, slots=True, kw_only=True)
class SubnetMap:
    """One subnet: `overview` where it is larger than a sheet, `rows` as text alternative, `gaps` with the widest free
    ranges, `held` for an IPv6 list; `left_out` says what is not drawn or listed."""

    anchor: str
    subnet: Subnet
    overview: Sheet | None = None
    sheets: tuple[Sheet, ...] = ()
    rows: tuple[WordRow, ...] = ()
    gaps: tuple[Range, ...] = ()
    held: tuple[tuple[Address, str], ...] = ()
    left_out: str = ""


def maps_of(report: Report) -> tuple[SubnetMap, ...]:
    """Return the map of every subnet in plan order."""
    islands = islands_of(report.plan, report.surveys)
    conflicts = {name: conflicts_in(report.plan, report.checked.findings, name) for name in islands}
    maps: list[SubnetMap] = []
    room = SHEETS_IN_ALL
    for number, subnet in enumerate(report.plan.subnets, 1):
        island = islands[subnet.island]
        maps.append(_map(f"map-{number}", subnet, island, conflicts[subnet.island], room))
        room -= len(maps[-1].sheets)
    return tuple(maps)


def _map(anchor: str, subnet: Subnet, island: Island, conflicts: Collection[Address], room: int) -> SubnetMap:
    prefix = subnet.prefix.value
    if prefix is None:
        return SubnetMap(
            anchor=anchor, subnet=subnet, left_out=f"The prefix {subnet.prefix.text!r} cannot be read; no map is drawn."
        )
    taken = taken_by(island, prefix, conflicts)
    rows = rows_of(taken, prefix)
    if prefix.family == 6:
        return _listed(SubnetMap(anchor=anchor, subnet=subnet, rows=rows), prefix, island, conflicts)
    gaps = sorted(Spans(span for spans in taken.values() for span in spans).gaps(prefix.usable), key=_widest_first)
    wanted = _parts(prefix, island, conflicts)
    parts = sorted(wanted[: min(room, SHEETS_EACH)])
    sheets = tuple(sheet_of(_anchor(anchor, prefix, part), island, part, conflicts) for part in parts)
    overview = None if prefix.length >= WHOLE else overview_of(anchor, island, prefix, conflicts, sheets)
    left = len(wanted) - len(parts)
    said = f"Not drawn in detail: {left} more of its /24; the table holds all." if left else ""
    return SubnetMap(
        anchor=anchor,
        subnet=subnet,
        overview=overview,
        sheets=sheets,
        rows=rows,
        gaps=tuple(gaps[:WIDEST]),
        left_out=said,
    )


def _widest_first(gap: Range) -> tuple[int, int]:
    return -gap.size, gap.low


def _anchor(anchor: str, prefix: Prefix, part: Prefix) -> str:
    return f"{anchor}-sheet-{(part.value - prefix.value) // part.size + 1}"


def _parts(prefix: Prefix, island: Island, conflicts: Collection[Address]) -> list[Prefix]:
    """Return the /24 parts to draw: those with conflicts and planned addresses first, then the others in use."""
    if prefix.length >= WHOLE:
        return [prefix]
    planned = [address for address in (*conflicts, *island.placed_at) if prefix.holds(address)]
    others = [address for address in (*island.gateways_at, *island.stations_at) if prefix.holds(address)]
    first = {Prefix.of(address, WHOLE).value for address in planned}
    hosts = {value >> 8 << 8 for value in island.hosts.values(range_of(prefix))}
    then = {Prefix.of(address, WHOLE).value for address in others} | hosts
    if prefix.length >= WHOLE - ALL_DRAWN.bit_length() + 1:
        then |= set(range(prefix.value, prefix.last.value + 1, 256))
    return [Prefix(4, value, WHOLE) for value in (*sorted(first), *sorted(then - first))]


def _listed(bare: SubnetMap, prefix: Prefix, island: Island, conflicts: Collection[Address]) -> SubnetMap:
    addresses = _known(prefix, island)
    held = [(address, held_at(island, address, conflicts)) for address in islice(addresses, LISTED)]
    said = f"Only the first {LISTED} addresses are listed; the table counts all." if next(addresses, None) else ""
    return SubnetMap(anchor=bare.anchor, subnet=bare.subnet, rows=bare.rows, held=tuple(held), left_out=said)


def _known(prefix: Prefix, island: Island) -> Iterator[Address]:
    """Yield every address in use in a prefix, ascending."""
    named = {*island.placed_at, *island.gateways_at, *island.stations_at}
    hosts = {Address(prefix.family, value) for value in island.hosts.values(range_of(prefix))}
    return iter(sorted({address for address in named if prefix.holds(address)} | hosts))
