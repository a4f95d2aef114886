"""Writes a divided block of addresses as text and as JSON."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from tabulate import tabulate

from netcheck.addr import WIDTH, Prefix, quad
from netcheck.space.carve import Carved, Carving
from netcheck.text import count_words, safe

HEADERS = ("subnet", "prefix", "mask", "gateway", "hosts", "grown", "room")


def to_text(carving: Carving) -> str:
    """Return a table with one subnet in a row, in address order, and the unused prefixes below it."""
    rows = list(map(_row, carving.subnets))
    right = ("left",) * 4 + ("right",) * 3
    table = tabulate(rows, HEADERS, tablefmt="simple", disable_numparse=True, colalign=right)
    left = [f"  {prefix}  ({count_words(prefix.size)} addresses)" for prefix in carving.left]
    over = ["left over:", *left] if left else [f"left over: nothing, {carving.block} is full"]
    return "\n".join((*(line.rstrip() for line in table.splitlines()), "", *over, "", _words(carving))) + "\n"


def _row(one: Carved) -> tuple[str, ...]:
    numbers = (str(one.need.hosts), str(one.grown), count_words(one.room))
    return safe(one.need.name, 60), str(one.prefix), _mask(one.prefix), str(one.gateway), *numbers


def _mask(prefix: Prefix) -> str:
    return quad(0xFFFFFFFF << (32 - prefix.length) & 0xFFFFFFFF) if prefix.family == 4 else f"/{prefix.length}"


def _words(carving: Carving) -> str:
    if carving.block.family == 6:
        return "Every IPv6 subnet is a /64 (RFC 4291 section 2.5.1)."
    return "grown: hosts including growth; room: addresses left for hosts after gateway, network and broadcast address."


def to_json(carving: Carving, growth: Fraction) -> dict[str, Any]:
    """Return one object: block, growth as a fraction, subnets in address order, unused prefixes."""
    return {
        "block": str(carving.block),
        "growth": float(growth),
        "subnets": [_subnet(one) for one in carving.subnets],
        "left": [str(prefix) for prefix in carving.left],
    }


def _subnet(one: Carved) -> dict[str, Any]:
    """Return a new subnet as a JSON object."""
    width = WIDTH[one.prefix.family]
    return {
        "name": one.need.name,
        "prefix": str(one.prefix),
        "mask": _mask(one.prefix),
        "gateway": str(one.gateway),
        "hosts": one.need.hosts,
        "grown": one.grown,
        "room": one.room,
        "addresses": 1 << (width - one.prefix.length),
    }
