"""Reads the values of a plan in the notations that people type; a value that cannot be read does not stop a check.

Notations with only one meaning are read: `24` as a mask, `10.0.0.0/255.255.255.0`, full-width digits, dashes of any
length, `10,62,20,81`. An octet with a leading zero could be octal or decimal and is not read; the message names the
likely value.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range, is_address
from netcheck.plan.model import Cell, LastOctets, Position
from netcheck.text import Pattern, safe

T = TypeVar("T")
DHCP = "dhcp"  # in place of an address: the DHCP server assigns it by a reservation

# Signs for a value that is not known yet; common practice, no source.
_UNKNOWN = frozenset({"-", "--", "\u2013", "\u2014", "?", "??", "n/a", "n.a.", "tbd", "t.b.d.", "tba", "tbc", "none"})
_LONGEST_SIGN = max(map(len, _UNKNOWN))
# Present on every interface and qualified by a zone: RFC 4291 section 2.5.6, RFC 4007 sections 6 and 11.
_LINK_LOCAL = Prefix.from_text("fe80::/10")
_ZONE = Pattern(r"[0-9A-Za-z._~/:-]{1,64}", re.ASCII)
_DASHES = Pattern("\\s*[-\u2010-\u2015\u2212]\\s*")
_COMMAS = Pattern(r"\d{1,3}(?:,\d{1,3}){3}", re.ASCII)  # written by a spreadsheet with decimal commas
_ZEROS = Pattern(r"\d{1,4}(?:\.\d{1,4}){3}", re.ASCII)
_SEVERAL = Pattern(r"\s*(?:[;,&+]|/(?=\s*\d+\.))\s*|\s+")
_SHORT = Pattern(r"\.?(\d{1,3})(?:-\.?(\d{1,3}))?", re.ASCII)  # `.200-.239`
_TAIL = Pattern(r"((?:\d{1,3}\.){3})(\d{1,3})-\.?(\d{1,3})", re.ASCII)  # `10.62.20.200-239`
_RANGE_OF_ADDRESSES = Pattern(r"\d{1,3}(?:\.\d{1,3}){3}\s*[-\u2010-\u2015\u2212]", re.ASCII)
# Dates that spreadsheets make of 1/7 or 1.7: 2026-07-01, 01.07.2026, 7-Jan, Jan-07, 7. Jan.
_DATE = Pattern(
    r"\d{4}-\d\d-\d\d(?: .*)?|\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d\d)"
    r"|\d{1,2}[.-]?[ -]?[A-Z][a-z\u00e4]{2}\.?(?:[ -]\d{2,4})?|[A-Z][a-z\u00e4]{2}\.?[ -]\d{2,4}",
    re.ASCII,
)


def cell_from(text: str, read: Callable[[str], T], position: Position) -> Cell[T]:
    """Return a cell with the value of a text, or with the reason why it cannot be read."""
    text = text.strip()
    try:
        return Cell(text, read(text), position)
    except ValueError as error:
        return Cell(text, None, position, str(error))


def maybe_from(text: str, read: Callable[[str], T], position: Position) -> Cell[T] | None:
    """Return the cell of `cell_from`, or None for an empty text or a sign such as `tbd`."""
    return None if is_unknown(text) else cell_from(text, read, position)


def cells_from(texts: Iterable[str], read: Callable[[str], T], position: Position) -> tuple[Cell[T], ...]:
    """Return one cell for each text of a list."""
    return tuple(cell_from(text, read, position) for text in texts)


def is_unknown(text: str) -> bool:
    """Return whether a text is empty or a sign for a value that is not known yet."""
    text = text.strip().casefold()
    return not text or text in _UNKNOWN


def any_unknown(texts: Sequence[str]) -> bool:
    """Return whether `is_unknown` is true for any of these stripped texts; faster than one call for each text."""
    if min(map(len, texts), default=0) > _LONGEST_SIGN:
        return False
    return not all(texts) or not _UNKNOWN.isdisjoint(map(str.casefold, texts))


def address_cell_from(text: str, position: Position) -> Cell[Address] | None:
    """Return the cell of an interface's address; None if it is not known yet or assigned by DHCP."""
    return None if is_dhcp(text) else maybe_from(text, address_from, position)


def is_dhcp(text: str) -> bool:
    """Return whether the text in place of an address says that DHCP assigns it."""
    return text.strip().casefold() == DHCP


def address_from(text: str) -> Address:
    """Return an interface's address; ValueError says what is wrong and what to write."""
    try:
        return Address.from_text(text)
    except ValueError as error:
        return _address_as_typed(text, error)


def _address_as_typed(text: str, error: ValueError) -> Address:
    plain = unicodedata.normalize("NFKC", text).strip()
    if _COMMAS.fullmatch(plain):
        plain = plain.replace(",", ".")
    if plain != text:
        try:
            return Address.from_text(plain)
        except ValueError:
            pass
    parts = several_addresses(plain)
    if parts:
        what = f"{_shown(text)} contains {len(parts)} addresses; give each its own interface"
        raise ValueError(what) from error
    try:
        size = range_from(plain).size if _RANGE_OF_ADDRESSES.match(plain) else 1
    except ValueError:
        size = 1
    if size > 1:
        what = f"{_shown(text)} is a range of {size} addresses; give each interface its own row with one of them"
        raise ValueError(what) from error
    raise ValueError(f"{error}{_decimal(plain)}") from error


def several_addresses(text: str) -> list[str]:
    """Return the addresses of a cell that contains two or more of them and nothing else, otherwise an empty list.

    A mask after an address is not a second address.
    """
    parts = [part for part in _SEVERAL.split(text) if part]
    if len(parts) < 2 or not all(is_address(part) for part in parts):
        return []
    is_mask = len(parts) == 2 and ":" not in parts[1] and Mask.from_text(parts[1]).length is not None
    with_mask = is_mask and ("/" in text or parts[1].startswith("255."))  # no host has 240.0.0.0/4 (RFC 1112 section 4)
    return [] if with_mask else parts


def _decimal(text: str) -> str:
    """Return the likely value of an address with leading zeros, as the end of a message; otherwise an empty text."""
    if not _ZEROS.fullmatch(text):
        return ""
    octets = [int(part) for part in text.split(".")]
    return f"; if it is decimal, write {'.'.join(map(str, octets))}" if max(octets) < 256 else ""


def mask_from(text: str, family: int = 4) -> Mask:
    """Return the mask of a text that is a mask or a prefix length, with or without a slash; otherwise ValueError."""
    plain = unicodedata.normalize("NFKC", text).strip()
    return Mask.from_text(f"/{plain}" if plain.isdecimal() else plain.replace(",", "."), family)


def prefix_from(text: str) -> Prefix:
    """Return the prefix of a text with its length or its mask after the slash; otherwise ValueError."""
    return Prefix.from_text(_with_length(text))


def interface_address_from(text: str) -> InterfaceAddress:
    """Return an address with the length or the mask of its subnet after the slash; otherwise ValueError."""
    return InterfaceAddress.from_text(_with_length(text))


def _with_length(text: str) -> str:
    plain = unicodedata.normalize("NFKC", text).strip()
    head, separator, tail = plain.partition("/") if "/" in plain else plain.partition(" ")
    if not separator or "." not in tail:
        return plain
    mask = Mask.from_text(tail)
    if mask.length is None:
        raise ValueError(f"{_shown(text)} has no valid mask after the slash; write it as {safe(head.strip(), 40)}/24")
    return f"{head.strip()}/{mask.length}"


def range_from(text: str, prefix: Prefix | None = None) -> Range:
    """Return the range of a text; otherwise ValueError.

    In a prefix of /24 or longer the ends may be shortened to their last octets: `.200-.239`.
    """
    plain = _DASHES.sub("-", unicodedata.normalize("NFKC", text).strip())
    if tail := _TAIL.fullmatch(plain):
        plain = f"{tail[1]}{tail[2]}-{tail[1]}{tail[3]}"
    elif (short := _SHORT.fullmatch(plain)) and prefix is not None and prefix.family == 4 and prefix.length >= 24:
        start = str(prefix.first).rpartition(".")[0]
        plain = f"{start}.{short[1]}" + (f"-{start}.{short[2]}" if short[2] else "")
    else:
        plain = plain.replace("-.", "-") if ".-." not in plain else plain
    return Range.from_text(plain)


def scheme_range_from(text: str) -> Range | LastOctets:
    """Return the range of a scheme: last octets such as `.100-.149`, or addresses; otherwise ValueError."""
    plain = _DASHES.sub("-", unicodedata.normalize("NFKC", text).strip())
    found = _SHORT.fullmatch(plain)
    if not found:
        return range_from(plain)
    low, high = int(found[1]), int(found[2] or found[1])
    if not low <= high <= 255:
        raise ValueError(f"{_shown(text)} is not a range of last octets such as .100-.149")
    return LastOctets(low, high)


def mac_from(text: str) -> Mac:
    """Return the MAC of a text, which may contain any kind of dash; otherwise ValueError."""
    try:
        return Mac.from_text(text)
    except ValueError:
        return Mac.from_text(_DASHES.sub("-", unicodedata.normalize("NFKC", text).strip()))


def label_fault(text: str) -> str:
    """Return why a spreadsheet has probably changed the text of a slot, port or switch port, or the empty text."""
    if not _DATE.fullmatch(text.strip()):
        return ""
    do = "format the column as text and type the value again"
    return f"{_shown(text)} is a date; spreadsheets turn values such as 1/7 into dates: {do}"


def gateway_from(text: str) -> Address:
    """Return a gateway's address; otherwise ValueError.

    A link-local address may have a zone, which is dropped because only the device uses it.
    """
    head, percent, zone = text.partition("%")
    address = address_from(head if percent and _ZONE.fullmatch(zone) else text)
    if percent and not _LINK_LOCAL.holds(address):
        raise ValueError(f"{address} is not link-local, so it has no zone; write the address alone")
    return address


def address6_from(text: str) -> Address:
    """Return an IPv6 address; ValueError for any other text."""
    return _of_ipv6(Address.from_text(text))


def gateway6_from(text: str) -> Address:
    """Return a gateway's IPv6 address, which may have a zone; ValueError for any other text."""
    return _of_ipv6(gateway_from(text))


def _of_ipv6(address: Address) -> Address:
    if address.family != 6:
        raise ValueError(f"{address} is an IPv4 address; an IPv6 address is expected here")
    return address


def _shown(text: str) -> str:
    return f"{safe(text, 60)!r}"
