"""Places the cells of one drawing in rows of 16, each with its use and title.

Lengths are in units of the drawing, which the page scales to its width.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from netcheck.addr import Address, Prefix, Range
from netcheck.report.html.map_words import held_at
from netcheck.space.intervals import Spans
from netcheck.space.map_cells import Cells, Use, cells_of
from netcheck.space.occupancy import Island

ACROSS = 16  # cells in a row
SIDE, PITCH = 26, 28  # side of a cell, and distance between cells
HEAD = 20  # above the first row, for the column numbers
SHORT_LABEL, LONG_LABEL = 36, 116  # width of the row labels: a last octet, or a whole address
BLOCKS = 256  # cells of an overview, at most
LEAST_BLOCK = 16  # addresses in a cell of an overview, at least


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
    """One drawing. `labels` stand in front of the rows; `desc` describes it in a sentence."""

    anchor: str
    prefix: Prefix
    block: int  # addresses in a cell
    cells: tuple[Drawn, ...]
    labels: tuple[str, ...]
    left: int
    desc: str

    @property
    def width(self) -> int:
        """Return the width of the drawing; a short row does not narrow it, so that all cells have one size."""
        return self.left + ACROSS * PITCH

    @property
    def height(self) -> int:
        """Return the height of the drawing."""
        return HEAD + len(self.labels) * PITCH


def sheet_of(anchor: str, island: Island, prefix: Prefix, conflicts: Collection[Address]) -> Sheet:
    """Return a drawing of up to 256 addresses, one a cell."""
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
    """Return the anchor of the sheet that holds a block, or of the first one inside it."""
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
