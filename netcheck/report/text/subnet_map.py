"""Draws the map of a subnet for the terminal: sixteen rows of sixteen letters, and the widest free ranges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import StringIO
from itertools import zip_longest

from rich.text import Text

from netcheck.addr import Address, Range
from netcheck.plan.model import Plan
from netcheck.rules.finding import Finding, Severity
from netcheck.space.map_cells import Cells, Holding, Use
from netcheck.text import count_words, safe

ACROSS = 16  # cells in a row
MOST_DRAWN = ACROSS * ACROSS  # cells of one map
GAPS = 5
LISTED = 40  # addresses of an IPv6 subnet
_LABEL = 15  # columns of an IPv4 address
_WIDE, _NARROW = 3, 2  # columns of a cell; the wide one fits the number above it
_PANEL = 42  # columns of the legend next to the cells
STYLES = {
    Use.CONFLICT: "bold red",
    Use.GATEWAY: "bold magenta",
    Use.PLANNED: "bold green",
    Use.SITE_HOST: "yellow",
    Use.STATION: "bold cyan",
    Use.POOL: "blue",
    Use.RESERVED: "magenta",
    Use.UNUSABLE: "dim",
    Use.FREE: "dim",
}


def to_text(title: str, cells: Cells, gaps: Sequence[Range], width: int = 80, *, colour: bool = False) -> str:
    """Return the drawing; each row starts with its first address. It needs at least 49 columns.

    Legend and free ranges stand to the right if *width* permits, otherwise below.
    """
    size = _WIDE if width >= _LABEL + _WIDE * ACROSS + 1 else _NARROW
    prefix = cells.prefix
    many = f": a letter stands for {cells.block:,} addresses, a row for {cells.block * ACROSS:,}"
    head = Text(_cut(f"{safe(title, 60)}  {prefix}{many if cells.block > 1 else ''}", width), "bold")
    grid = _grid(cells, size)
    across = _LABEL + size * ACROSS + 3
    if width >= across + _PANEL:
        panel = [*_legend(cells), Text(), *_gaps(gaps)]
        body = [_beside(left, right, across) for left, right in zip_longest(grid, panel, fillvalue=Text())]
    else:
        body = [*grid, *_wrapped(_legend(cells), width), *_gaps(gaps)]
    return _out([head, *body], colour)


def list_to_text(title: str, held: Iterable[Holding], gaps: Sequence[Range], width: int, *, colour: bool) -> str:
    """Return the list of an IPv6 subnet, which is too large to draw: one address on a line, then the free ranges."""
    order = {use: rank for rank, use in enumerate(Use)}
    held = sorted(held, key=lambda holding: (holding.span.low, order[holding.use]))
    lines = [Text(_cut(safe(title, 120), width), "bold")]
    for holding in held[:LISTED]:
        who = f"  {safe(holding.who, 60)}" if holding.who else ""
        rest = f" {holding.span}  {holding.use.word}{who}"
        lines.append(Text.assemble("  ", (holding.use.value, STYLES[holding.use]), _cut(rest, width - 3)))
    if len(held) > LISTED:
        lines.append(Text(f"  and {len(held) - LISTED} more"))
    if not held:
        lines.append(Text("  nothing is planned, listed or reserved there"))
    return _out([*lines, *_gaps(gaps)], colour)


def _grid(cells: Cells, size: int) -> list[Text]:
    """Return the rows of cells, each cell *size* columns wide; column numbers stand above wide cells of one address."""
    rows = []
    if size == _WIDE and cells.block == 1:
        rows.append(Text(" " * _LABEL + "".join(f"{n:>{size}}" for n in range(min(ACROSS, len(cells.uses)))), "dim"))
    for start in range(0, len(cells.uses), ACROSS):
        first = Address(cells.prefix.family, cells.prefix.value + start * cells.block)
        row = Text(f"{first!s:>{_LABEL}}")
        for use in cells.uses[start : start + ACROSS]:
            row.append(" " * (size - 1)).append(use.value, STYLES[use])
        rows.append(row)
    return rows


def _legend(cells: Cells) -> list[Text]:
    """Return the meaning of each letter in the map, and its number of addresses, or of blocks in a large subnet."""
    counts = {use: cells.count(use) for use in Use}
    unit = "" if cells.block == 1 else " blocks"
    return [
        Text.assemble((use.value, STYLES[use]), f" {use.word} ({count}{unit if count > 1 else unit[:-1]})")
        for use, count in counts.items()
        if count
    ]


def _wrapped(items: Sequence[Text], width: int) -> list[Text]:
    """Return the items as lines, each with as many items as fit."""
    lines: list[Text] = []
    for item in items:
        if lines and len(lines[-1]) + 3 + len(item) <= width:
            lines[-1].append("   ").append_text(item)
        else:
            lines.append(Text("  ").append_text(item))
    return lines


def _gaps(gaps: Sequence[Range]) -> list[Text]:
    if not gaps:
        return [Text("  no address is free")]
    return [Text("  widest free gaps:"), *(Text(f"    {gap}  ({count_words(gap.size)})") for gap in gaps)]


def _beside(left: Text, right: Text, column: int) -> Text:
    line = left.copy()
    if right.plain:
        line.append(" " * (column - len(left))).append_text(right)
    return line


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "\u2026"


def _out(lines: Iterable[Text], colour: bool) -> str:
    if not colour:
        return "\n".join(line.plain.rstrip() for line in lines)
    from rich.console import Console

    console = Console(file=StringIO(), force_terminal=True, color_system="standard", legacy_windows=False)
    with console.capture() as captured:
        for line in lines:
            console.print(line, soft_wrap=True, highlight=False)
    return captured.get().rstrip("\n")


def conflicts_in(plan: Plan, findings: Iterable[Finding], island: str) -> set[Address]:
    """Return the addresses that conflicts of one island name; the same address in another island is another one."""
    homes = {interface.subject: plan.island_of(interface) for interface in plan.interfaces}
    homes |= {subnet.name: subnet.island for subnet in plan.subnets}
    found = set()
    for finding in findings:
        islands = {homes[subject] for subject in finding.subjects if subject in homes}
        if finding.severity is Severity.CONFLICT and finding.address and (not islands or island in islands):
            try:
                found.add(Address.from_text(finding.address))
            except ValueError:
                continue  # an address that cannot be read has no cell
    return found
