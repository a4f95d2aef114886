"""Reads addresses, MACs and dates in the notations of lists and exports."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache

from netcheck.addr import Address, Mac, Range
from netcheck.plan.cells import interface_address_from, range_from, several_addresses
from netcheck.text import Pattern, safe

_PARTS = Pattern(r"[\s;,]+")
_PLAIN_MAC = Pattern(r"[0-9A-Fa-f]{2}([:-]?)[0-9A-Fa-f]{2}(?:\1[0-9A-Fa-f]{2}){4}", re.ASCII)
# macOS prints MAC octets without leading zeros (public samples of `arp -a`).
_UNPADDED = Pattern(r"[0-9A-Fa-f]{1,2}(?:([:-])[0-9A-Fa-f]{1,2})(?:\1[0-9A-Fa-f]{1,2}){4}", re.ASCII)
# Signs for an unknown value; common practice, no source.
_UNKNOWN = frozenset(
    {"", "-", "--", "?", "n/a", "na", "none", "null", "unknown", "incomplete", "(incomplete)", "<none>"}
)
NO_HOST_MACS = frozenset({0, 0xFFFFFFFFFFFF})
_ISO = Pattern(r"(\d{4})-(\d\d)-(\d\d)(?:[T ].*)?", re.ASCII)
_OTHER = Pattern(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})(?:[ ,T].*)?", re.ASCII)
_SPAN = Pattern(
    r"\d{1,3}(?:\.\d{1,3}){3}\s*(?:[-\u2010-\u2015\u2212]|to|bis)\s*(?:\d{1,3}(?:\.\d{1,3}){3}|\.?\d{1,3})",
    re.ASCII,
)
_MOST_OF_RANGE = 1024  # a range in a list of hosts has a few dozen addresses; common practice, no source
_MOST_ADDRESSES = 64  # addresses in one cell
_LONGEST = 2000  # characters of a cell with several addresses
# Notations that mark a value as text for spreadsheets: `="192.0.2.20"` or `'192.0.2.20`; common practice, no source.
_AS_TEXT = Pattern(r"""\s*(?:="([^"]*)"|'([^']*))\s*""")


def is_unknown(text: str) -> bool:
    """Return whether a cell is empty or contains a sign for an unknown value."""
    return text.strip().casefold() in _UNKNOWN


def addresses_from(text: str) -> tuple[Address, ...]:
    """Return the addresses of a cell, each alone or with a prefix length; ValueError with the reason otherwise."""
    try:
        return (Address.from_text(text),)  # the usual form, without a regular expression
    except ValueError:
        if "/" in text and (several := several_addresses(_bare(text)[:_LONGEST])):
            return tuple(map(Address.from_text, several))
        parts = _PARTS.split(_bare(text), _MOST_ADDRESSES)
        return tuple(_address(part) for part in parts if part or len(parts) == 1)


def span_from(text: str) -> Range | None:
    """Return the range of a cell such as `10.62.20.10 - 10.62.20.15` or `10.62.20.10-15`; None for any other cell."""
    plain = _bare(text[:_LONGEST])
    if not _SPAN.fullmatch(plain):
        return None
    span = range_from(re.sub("to|bis", "-", plain))
    return span if span.size > 1 else None


def addresses_of(span: Range) -> tuple[Address, ...]:
    """Return the addresses of a range; ValueError for a range of more than 1024, which is not a list of hosts."""
    if span.size > _MOST_OF_RANGE:
        do = "write it into `reserved` or `pools` of the subnet in the plan"
        raise ValueError(f"{span} is a range of {span.size:,} addresses; {do}")
    return tuple(Address(span.family, value) for value in range(span.low, span.high + 1))


def _address(text: str) -> Address:
    if "/" not in text:
        return Address.from_text(text)
    found = interface_address_from(text)
    if found.prefix.size > 2 and found.address == found.prefix.first:
        raise ValueError(f"{found} is a prefix, not a host")
    return found.address


def _bare(text: str) -> str:
    found = _AS_TEXT.fullmatch(text)
    return ((found[1] or found[2] or "") if found else text).strip()


def holds_address(text: str) -> bool:
    """Return whether a cell can be read as one or more addresses."""
    if "." not in text and ":" not in text:  # nearly every other cell; every address contains one of them
        return False
    try:
        return bool(addresses_from(text))
    except ValueError:
        return _SPAN.fullmatch(text.strip()[:_LONGEST]) is not None


def mac_from(text: str) -> Mac | None:
    """Return the MAC of a cell, whose octets may lack leading zeros; None for an unknown value, else ValueError."""
    text = text.strip()
    if plain := _PLAIN_MAC.fullmatch(text):  # the usual form, tested first for speed
        mac = Mac(int(text.replace(plain[1], ""), 16))
    elif is_unknown(text):
        return None
    else:
        mac = _odd_mac(_bare(text))
    if mac.value in NO_HOST_MACS:
        raise ValueError(f"{mac} is not the MAC of a host")
    return mac


def _odd_mac(text: str) -> Mac:
    if _UNPADDED.fullmatch(text):
        text = "-".join(octet.zfill(2) for octet in re.split("[:-]", text))
    return Mac.from_text(text)


@lru_cache(1024)
def date_from(text: str) -> date | None:
    """Return the day of a cell in ISO 8601, or in another order if only one day fits; a time after it is ignored.

    None for an unknown value; ValueError for any other text.
    """
    if is_unknown(text):
        return None
    text = text.strip()
    if found := _ISO.fullmatch(text):
        return _day(int(found[1]), int(found[2]), int(found[3]), text)
    if found := _OTHER.fullmatch(text):
        return _day_month(int(found[1]), found[2], int(found[3]), int(found[4]))
    raise ValueError(f"{_quoted(text)} is not a day such as 2026-10-28")


def _day(year: int, month: int, day: int, text: str) -> date:
    try:
        return date(year, month, day)
    except ValueError as error:
        raise ValueError(f"{_quoted(text)} is not a day of the calendar") from error


def _day_month(first: int, separator: str, second: int, year: int) -> date:
    text = f"{first}{separator}{second}{separator}{year}"
    if separator == "." or first > 12 or first == second:
        return _day(year, second, first, text)
    if second > 12:
        return _day(year, first, second, text)
    raise ValueError(f"{text} could be two days; write it as 2026-10-28")


def _quoted(text: str) -> str:
    return f"{safe(text, 60)!r}"


def why_no_host(address: Address) -> str:
    """Return why an address cannot be a host of the site, as the end of a sentence; empty if it can be one."""
    value = address.value
    if address.family == 6:  # RFC 4291 sections 2.5.2, 2.5.3 and 2.7
        return "it means no address" if value == 0 else "loopback" if value == 1 else _group(value >> 120 == 0xFF)
    if value >> 24 == 127:  # RFC 1122 section 3.2.1.3 (g)
        return "loopback"
    if value >> 24 == 0 or value == 0xFFFFFFFF:  # the same section, (a) to (c)
        return "it means no single host"
    return _group(value >> 28 == 0xE)  # RFC 5771 section 3


def _group(found: bool) -> str:
    return "a multicast group" if found else ""
