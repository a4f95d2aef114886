"""The map of a subnet for the terminal: a letter an address, a row of 32 or 64, and what the letters mean."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import fill

from netcheck.addr import Address
from netcheck.plan.model import Plan
from netcheck.rules.finding import Finding, Severity
from netcheck.space.cells import Cells, Use
from netcheck.text import safe

WIDE = 88  # columns that a row of 64 takes with its address and the gaps between eights


def to_text(name: str, cells: Cells, width: int = 80) -> str:
    """Draw the cells in rows that fit `width` columns, each behind the address it begins with."""
    across = 64 if width >= WIDE else 32
    prefix = cells.prefix
    size = "" if cells.block == 1 else f", a letter stands for {cells.block} addresses"
    lines = [f"{safe(name)}  {prefix}{size}"]
    for start in range(0, len(cells.uses), across):
        first = Address(prefix.family, prefix.value + start * cells.block)
        row = "".join(cells.uses[start : start + across])
        lines.append(f"{first!s:>15}  {' '.join(row[at : at + 8] for at in range(0, len(row), 8))}")
    shown = [use for use in Use if cells.count(use)]
    legend = ", ".join(f"{use.value} {use.word} ({cells.count(use)})" for use in shown)
    lines.append(fill(legend, max(60, width), initial_indent="  ", subsequent_indent="  "))
    return "\n".join(lines)


def conflicts_in(plan: Plan, findings: Iterable[Finding], island: str) -> set[Address]:
    """The addresses that conflicts of one island name: another island may have the same address without any."""
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
