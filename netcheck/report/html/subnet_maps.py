"""Lays out the map of every subnet: sheets of cells, and the same facts in words. The size is bounded.

A subnet of up to 256 addresses (IPv4 /24) is one sheet with one cell for each address. A larger subnet is an overview
by blocks, followed by sheets of the /24 parts that are in use. An IPv6 subnet is a list. Lengths are in units of the
drawing, which the page scales to its width.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Subnet
from netcheck.report.model import Report
from netcheck.report.text.subnet_map import conflicts_in
from netcheck.space.intervals import Spans, range_of, single
from netcheck.space.map_cells import Cells, Use, cells_of
from netcheck.space.occupancy import Island, islands_of

WHOLE = 24  # prefix length of the largest sheet
ALL_DRAWN = 4  # parts of /24: a subnet with at most so many has all drawn, a larger one only those in use
SHEETS_EACH, SHEETS_IN_ALL = 16, 64  # a sheet takes about 35 kB
LISTED = 500  # addresses in the list of an IPv6 subnet
WIDEST = 5  # free ranges in the list
ACROSS = 16  # cells in a row
SIDE, PITCH = 26, 28  # side of a cell, and distance between cells
HEAD = 20  # height above the first row, for the column numbers
SHORT_LABEL, LONG_LABEL = 36, 116  # width of the row labels: a last octet, or a whole address
BLOCKS = 256  # cells of an overview, at most
LEAST_BLOCK = 16  # addresses in a cell of an overview, at least
SHOWN = 24  # ranges in one row of the table of uses
NAMED = 4  # holders of one address that are named


@dataclass(frozen=True, slots=True)
class WordRow:
    """One use in a subnet: number of addresses, their first ranges, and the number of further ranges."""

    use: Use
    count: int
    ranges: tuple[Range, ...]
    more: int = 0


@dataclass(frozen=True, slots=True)
class Drawn:
    """One cell: its corner, use and title; `link` is the anchor of the sheet that shows it in detail, or empty."""

    x: int
    y: int
    use: Use
    title: str
    link: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One drawing. `labels` stand in front of the rows; `desc` describes the drawing in a sentence."""

    anchor: str
    prefix: Prefix
    block: int  # addresses in a cell
    cells: tuple[Drawn, ...]
    labels: tuple[str, ...]
    left: int
    desc: str

    @property
    def width(self) -> int:
        """Return the width of the drawing, always for full rows, so that all cells of a page have one size."""
        return self.left + ACROSS * PITCH

    @property
    def height(self) -> int:
        """Return the height of the drawing."""
        return HEAD + len(self.labels) * PITCH


@dataclass(frozen=True, slots=True, kw_only=True)
class SubnetMap:
    """The map of one subnet.

    `overview` exists if the subnet is larger than a sheet. `rows` are the text alternative, `gaps` the widest free
    ranges, `held` the list of an IPv6 subnet. `left_out` says what is not drawn or listed.
    """

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
    """Return the map of one subnet; *room* is the number of sheets that the page can still have."""
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
    said = f"Not drawn in detail: {left} more /24 of this subnet; the table has all." if left else ""
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
    """Yield every address in use in a prefix, in ascending order."""
    named = {*island.placed_at, *island.gateways_at, *island.stations_at}
    hosts = {Address(prefix.family, value) for value in island.hosts.values(range_of(prefix))}
    return iter(sorted({address for address in named if prefix.holds(address)} | hosts))


def sheet_of(anchor: str, island: Island, prefix: Prefix, conflicts: Collection[Address]) -> Sheet:
    """Return a drawing of up to 256 addresses, with one cell for each."""
    cells = cells_of(island, prefix, conflicts)
    drawn = []
    for at, use in enumerate(cells.uses):
        address = Address(prefix.family, prefix.value + at)
        held = held_at(island, address, conflicts) if use is not Use.FREE else ""
        drawn.append(_cell(at, SHORT_LABEL, use, f"{address}: {held or use.word}"))
    labels = tuple(f".{(prefix.value + at) & 255}" for at in range(0, len(drawn), ACROSS))
    return Sheet(
        anchor=anchor,
        prefix=prefix,
        block=1,
        cells=tuple(drawn),
        labels=labels,
        left=SHORT_LABEL,
        desc=_described(cells.uses, "addresses"),
    )


def overview_of(
    anchor: str, island: Island, prefix: Prefix, conflicts: Collection[Address], sheets: Sequence[Sheet]
) -> Sheet:
    """Return a drawing of a large prefix by blocks, each with its most severe use and a link to its sheet."""
    fine = cells_of(island, prefix, conflicts)
    block = max(LEAST_BLOCK, prefix.size // BLOCKS)
    uses = _coarser(fine, block)
    counter = _Counter(island, prefix)
    starts = [sheet.prefix.value for sheet in sheets]
    drawn = []
    for at, use in enumerate(uses):
        span = Range(prefix.family, prefix.value + at * block, prefix.value + (at + 1) * block - 1)
        link = _link(span, starts, sheets)
        drawn.append(_cell(at, LONG_LABEL, use, f"{span}: {counter.words(span)}", link))
    labels = tuple(str(Address(prefix.family, prefix.value + at * block)) for at in range(0, len(drawn), ACROSS))
    return Sheet(
        anchor=f"{anchor}-blocks",
        prefix=prefix,
        block=block,
        cells=tuple(drawn),
        labels=labels,
        left=LONG_LABEL,
        desc=_described(uses, "blocks"),
    )


def _cell(at: int, left: int, use: Use, title: str, link: str = "") -> Drawn:
    return Drawn(left + at % ACROSS * PITCH, HEAD + at // ACROSS * PITCH, use, title, link)


def _coarser(cells: Cells, block: int) -> tuple[Use, ...]:
    order = list(Use)
    step = max(1, block // cells.block)
    groups = (cells.uses[at : at + step] for at in range(0, len(cells.uses), step))
    return tuple(min(group, key=order.index) for group in groups)


def _link(span: Range, starts: Sequence[int], sheets: Sequence[Sheet]) -> str:
    """Return the anchor of the sheet that contains a block, or of the first sheet inside the block."""
    at = bisect_right(starts, span.low) - 1
    if at >= 0 and sheets[at].prefix.last.value >= span.low:
        return sheets[at].anchor
    after = bisect_left(starts, span.low)
    return sheets[after].anchor if after < len(starts) and starts[after] <= span.high else ""


def _described(uses: Sequence[Use], what: str) -> str:
    counts = ", ".join(f"{uses.count(use)} {use.word}" for use in Use if use in uses)
    return f"{len(uses)} {what} in rows of {ACROSS}: {counts}."


class _Counter:
    """Counts the contents of a block of addresses."""

    def __init__(self, island: Island, prefix: Prefix) -> None:
        self._hosts = island.hosts
        self._planned = sorted(address.value for address in island.placed_at if address.family == prefix.family)
        kept = [cell for subnet in island.subnets for cell in (*subnet.pools, *subnet.reserved)]
        self._kept = Spans(cell.value for cell in kept if cell.value is not None)

    def words(self, span: Range) -> str:
        """Return a count such as `3 planned, 12 site hosts, 40 in pools or reserved`."""
        planned = bisect_right(self._planned, span.high) - bisect_left(self._planned, span.low)
        counts = ((planned, "planned"), (self._hosts.count(span), "site hosts"))
        told = [
            f"{count} {word}" for count, word in (*counts, (self._kept.count(span), "in pools or reserved")) if count
        ]
        return ", ".join(told) or "nothing known"


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
    """Return the uses of an address, such as `conflict; planned pump-plc/cpu; site host camera-7`; "" if unused."""
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
