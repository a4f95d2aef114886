"""Reads the cells of a plan; a value that cannot be read does not stop a check."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import TypeVar

from netcheck.addr import Address, Prefix
from netcheck.plan.model import Cell, Position

T = TypeVar("T")

# Present on every interface and qualified by a zone: RFC 4291 section 2.5.6, RFC 4007 sections 6 and 11.
_LINK_LOCAL = Prefix.from_text("fe80::/10")
_ZONE = re.compile(r"[0-9A-Za-z._~/:-]{1,64}", re.ASCII)


def cell_from(text: str, read: Callable[[str], T], position: Position) -> Cell[T]:
    """Return a cell with its value, or with the reason why it cannot be read."""
    text = text.strip()
    try:
        return Cell(text, read(text), position)
    except ValueError as error:
        return Cell(text, None, position, str(error))


def maybe_from(text: str, read: Callable[[str], T], position: Position) -> Cell[T] | None:
    """Return a cell as `cell_from` does, or None for an empty text."""
    return cell_from(text, read, position) if text.strip() else None


def cells_from(texts: Iterable[str], read: Callable[[str], T], position: Position) -> tuple[Cell[T], ...]:
    """Return one cell for each text of a list."""
    return tuple(cell_from(text, read, position) for text in texts)


def gateway_from(text: str) -> Address:
    """Read a gateway's address; a link-local address may name its zone, which only the device uses."""
    head, percent, zone = text.partition("%")
    address = Address.from_text(head if percent and _ZONE.fullmatch(zone) else text)
    if percent and not _LINK_LOCAL.holds(address):
        raise ValueError(f"{address} is not link-local, so it can name no zone; write the address alone")
    return address


def address6_from(text: str) -> Address:
    """Read an IPv6 address."""
    return _of_ipv6(Address.from_text(text))


def gateway6_from(text: str) -> Address:
    """Read a gateway's IPv6 address."""
    return _of_ipv6(gateway_from(text))


def _of_ipv6(address: Address) -> Address:
    if address.family != 6:
        raise ValueError(f"{address} is an IPv4 address; IPv6 is expected here")
    return address
