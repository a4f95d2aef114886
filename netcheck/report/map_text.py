"""The map of a subnet for the terminal: a letter an address, a row of 32 or 64, and what the letters mean."""

from __future__ import annotations

from netcheck.addr import Address
from netcheck.space.cells import Cells, Use
from netcheck.text import safe


def to_text(name: str, cells: Cells, width: int = 80) -> str:
    """Draw the cells in rows that fit `width` columns, each behind the address it begins with."""
    across = 64 if width >= 84 else 32
    prefix = cells.prefix
    size = "" if cells.block == 1 else f", a letter stands for {cells.block} addresses"
    lines = [f"{safe(name)}  {prefix}{size}"]
    for start in range(0, len(cells.uses), across):
        first = Address(prefix.family, prefix.value + start * cells.block)
        row = "".join(cells.uses[start : start + across])
        lines.append(f"{first!s:>15}  {' '.join(row[at : at + 8] for at in range(0, len(row), 8))}")
    shown = [use for use in Use if cells.count(use)]
    lines.append("  " + ", ".join(f"{use.value} {use.word} ({cells.count(use)})" for use in shown))
    return "\n".join(lines)
