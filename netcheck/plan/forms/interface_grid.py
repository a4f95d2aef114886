"""Reads a faultless table of interfaces by columns, which is the fast path of nearly every large plan.

A table is faultless if no row needs a message: all rows are as long as the titles, and no required cell is empty. Any
other table is read row by row (`csv_table.entries_of`), where each fault gets its message.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache, partial
from itertools import repeat
from types import MappingProxyType
from typing import TypeVar

from netcheck.addr import Address, Mac, Mask
from netcheck.plan.cells import (
    DHCP,
    address6_from,
    address_from,
    any_unknown,
    gateway6_from,
    gateway_from,
    is_dhcp,
    mac_from,
    mask_from,
    maybe_from,
)
from netcheck.plan.entries import Grid
from netcheck.plan.model import Cell, Interface, Position
from netcheck.tables.columns import ipv4_of, macs_of, made
from netcheck.tables.delimited import parts_of

T = TypeVar("T")
Cells = Iterable[Cell[T] | None]
ONE_PORT = ("1",)
_remembered = lru_cache(4096)  # a plan has few different masks and gateways


def grid_of(
    columns: dict[str, list[str]],
    required: Iterable[str],
    file: str,
    extra: Mapping[str, list[str]] = MappingProxyType({}),
) -> Grid | None:
    """Return the rows below the titles, the first of which is row 2; None where there are none, or one has a fault."""
    ports = list(map(_remembered(_ports), columns.pop("ports"))) if "ports" in columns else None
    if not all(all(columns[key]) for key in required) or not all(ports or (ONE_PORT,)):
        return None
    rows = map("row {}".format, range(2, len(next(iter(columns.values()))) + 2))
    positions = list(made(Position, file=repeat(file), at=rows))
    pairs = ([(title, text) for text in texts] for title, texts in extra.items())
    rows_extra = [tuple(pair for pair in row if pair[1]) for row in zip(*pairs, strict=True)] if extra else None
    return Grid(columns, ports, positions, rows_extra) if positions else None


def _ports(text: str) -> tuple[str, ...]:
    return tuple(parts_of(text)) if text else ONE_PORT


def interfaces_of(grid: Grid, families: Mapping[str, int]) -> Iterator[Interface]:
    """Yield the interfaces of a faultless table; `families` gives the address family of each subnet by name."""
    addresses = _cells(grid, "address", address_from, _addresses)
    texts = partial(_texts, grid)
    return made(
        Interface,
        device=texts("device"),
        name=texts("interface"),
        subnet=texts("subnet"),
        position=grid.positions,
        kind=texts("kind"),
        location=texts("place"),
        slot=texts("slot"),
        address=addresses,
        mask=_masks(grid, addresses, families),
        gateway=_cells(grid, "gateway", _remembered(gateway_from)),
        mac=_cells(grid, "mac", mac_from, _macs),
        host_name=_cells(grid, "host-name", str),
        switch_port=_cells(grid, "switch-port", str),
        ports=grid.ports or repeat(ONE_PORT),
        behind=texts("behind"),
        granted=texts("granted"),
        address6=_cells(grid, "address6", address6_from),
        mask6=_cells(grid, "mask6", partial(mask_from, family=6)),
        gateway6=_cells(grid, "gateway6", _remembered(gateway6_from)),
        subnet6=texts("subnet6"),
        dhcp=_dhcp(grid.columns.get("address", ())),
        description=texts("description"),
        remark=texts("remark"),
        extra=grid.extra or repeat(()),
    )


def _texts(grid: Grid, title: str) -> Iterable[str]:
    """Return a column from top to bottom, or endless empty texts where the table has no such column."""
    return grid.columns.get(title) or repeat("")


def _cells(
    grid: Grid, title: str, read: Callable[[str], T], many: Callable[[Sequence[str]], Iterable[T] | None] | None = None
) -> Cells[T]:
    """Return a column of cells, None for each empty text. `many` reads a whole column faster, or returns None."""
    texts = grid.columns.get(title)
    if texts is None:
        return repeat(None)
    values = _values(texts, read, many) if not any_unknown(texts) else None
    if values is not None:
        return list(made(Cell, text=texts, value=values, position=grid.positions))
    pairs = zip(texts, grid.positions, strict=True)
    return [None if is_dhcp(text) else maybe_from(text, read, position) for text, position in pairs]


def _values(
    texts: Sequence[str], read: Callable[[str], T], many: Callable[[Sequence[str]], Iterable[T] | None] | None
) -> Iterable[T] | None:
    """Return the values of a column without empty texts, or None where one cannot be read."""
    values = many(texts) if many else None
    if values is not None:
        return values
    try:
        return list(map(read, texts))
    except ValueError:
        return None


def _dhcp(texts: Sequence[str]) -> Iterable[bool]:
    return map(is_dhcp, texts) if DHCP in map(str.casefold, texts) else repeat(False)


def _addresses(texts: Sequence[str]) -> Iterable[Address] | None:
    values = ipv4_of(texts)
    return None if values is None else made(Address, family=repeat(4), value=values)


def _macs(texts: Sequence[str]) -> Iterable[Mac] | None:
    values = macs_of(texts)
    return None if values is None else made(Mac, value=values)


def _masks(grid: Grid, addresses: Cells[Address], families: Mapping[str, int]) -> Cells[Mask]:
    """Read masks in the family of the row's address, or of its subnet where the address cannot be read."""
    readers = {family: _remembered(partial(mask_from, family=family)) for family in (4, 6)}
    rows = zip(addresses, _texts(grid, "subnet"), strict=False) if "mask" in grid.columns else ()
    found = [one.value.family if one and one.value else families.get(subnet, 4) for one, subnet in rows]
    if len(set(found)) < 2:
        return _cells(grid, "mask", readers[found[0]] if found else mask_from)
    cells = zip(grid.columns["mask"], found, grid.positions, strict=True)
    return [maybe_from(text, readers[family], position) for text, family, position in cells]
