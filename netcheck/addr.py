"""Addresses, masks, prefixes, ranges and MACs as small ordered values, with readers stricter than the standard library.

An address is an integer and its family (4 or 6). Readers raise ValueError. Its text says what is wrong with the value
and, if possible, what was meant; the caller adds the position.
"""

from __future__ import annotations

import ipaddress
import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from itertools import islice
from socket import inet_aton
from typing import NamedTuple, TypeVar

from netcheck.text import Pattern

# RFC 3986 section 3.2.2, dec-octet: no leading zeros. RFC 6943 section 3.1.1 shows how leniently other software reads
# other texts, so the pattern is checked before any of it is used.
_OCTET = r"(?:25[0-5]|2[0-4][0-9]|1[0-9][0-9]|[1-9]?[0-9])"
_V4 = Pattern(rf"{_OCTET}(?:\.{_OCTET}){{3}}", re.ASCII)
_QUAD = Pattern(r"[0-9]+(?:\.[0-9]+){3}", re.ASCII)
_LENGTH = Pattern(r"0|[1-9][0-9]{0,2}", re.ASCII)
_MAC = Pattern(
    r"[0-9A-Fa-f]{2}([-:])[0-9A-Fa-f]{2}(?:\1[0-9A-Fa-f]{2}){4}"
    r"|[0-9A-Fa-f]{4}\.[0-9A-Fa-f]{4}\.[0-9A-Fa-f]{4}|[0-9A-Fa-f]{12}",
    re.ASCII,
)

_LETTERS = str.maketrans(
    "OoIl", "0011"
)  # letters that are typed or read in place of digits; common practice, no source
T = TypeVar("T")
WIDTH = {4: 32, 6: 128}
LONGEST_TEXT = 100


def _shown(text: str) -> str:
    return repr(text if len(text) <= LONGEST_TEXT else text[:LONGEST_TEXT] + "\u2026")


def quad(value: int) -> str:
    """Return the dotted decimal form of a 32-bit integer."""
    return f"{value >> 24}.{value >> 16 & 255}.{value >> 8 & 255}.{value & 255}"


def mac_text(value: int) -> str:
    """Return the IEEE 802 form of a 48-bit MAC: `00-00-5E-00-53-21`."""
    return "-".join(f"{octet:02X}" for octet in value.to_bytes(6, "big"))


class Address(NamedTuple):
    """One IP address: `family` 4 or 6, `value` as an unsigned integer."""

    family: int
    value: int

    def __str__(self) -> str:
        return quad(self.value) if self.family == 4 else _v6_text(self.value)

    @classmethod
    def from_text(cls, text: str) -> Address:
        """Return the address of a text; ValueError says why the text is not one address."""
        text = text.strip()
        if ":" in text:
            return cls(6, _v6_value(text))
        if _V4.fullmatch(text):
            return cls(4, int.from_bytes(inet_aton(text), "big"))  # lenient, so the pattern is checked first
        raise ValueError(_why_not_v4(text))


def is_address(text: str) -> bool:
    """Return whether the text is one address."""
    try:
        Address.from_text(text)
    except ValueError:
        return False
    return True


def _v6_text(value: int) -> str:
    address = ipaddress.IPv6Address(value)
    mapped = address.ipv4_mapped  # RFC 5952 section 5 recommends the mixed form
    return f"::ffff:{mapped}" if mapped is not None else str(address)


def _v6_value(text: str) -> int:
    if "%" in text:
        raise ValueError(f"{_shown(text)} has a zone; write the address alone")
    try:
        return int(ipaddress.IPv6Address(text))
    except ValueError as error:
        raise ValueError(f"{_shown(text)} is not an IPv6 address") from error


def with_digits(text: str) -> str:
    """Return a text with the letters O, o, I and l replaced by the digits that they look like."""
    return text.translate(_LETTERS)


def _why_not_v4(text: str) -> str:
    if not text:
        return "the address is empty"
    if _QUAD.fullmatch(text) and len(text) <= LONGEST_TEXT:
        octets = text.split(".")
        zeros = [octet for octet in octets if len(octet) > 1 and octet.startswith("0")]
        if zeros:
            return (
                f"{_shown(text)} has an octet with a leading zero ({zeros[0]}), "
                "which some software reads as decimal and other software as octal"
            )
        return f"{_shown(text)} has an octet above 255"
    if "/" in text:
        return f"{_shown(text)} has a prefix length; an address alone is expected"
    if _V4.fullmatch(meant := with_digits(text)):
        letter = next(letter for letter in text if ord(letter) in _LETTERS)
        return f"{_shown(text)} has the letter {letter} in place of a digit; if a digit is meant, write {meant}"
    return f"{_shown(text)} is not an address of four decimal octets"


class Prefix(NamedTuple):
    """An IP prefix: `family`, the first address's `value` (host bits zero) and `length` in bits."""

    family: int
    value: int
    length: int

    def __str__(self) -> str:
        return f"{Address(self.family, self.value)}/{self.length}"

    @property
    def size(self) -> int:
        """Return the number of addresses."""
        return 1 << (WIDTH[self.family] - self.length)

    @property
    def first(self) -> Address:
        """Return the network address."""
        return Address(self.family, self.value)

    @property
    def last(self) -> Address:
        """Return the highest address; in IPv4 the directed broadcast, except in /31 and /32."""
        return Address(self.family, self.value + self.size - 1)

    @property
    def usable(self) -> Range:
        """Return the addresses that a host may have.

        In IPv4 these are all but the first and the last (RFC 1122 section 3.2.1.3); in /31 (RFC 3021) and /32 all. In
        IPv6 these are all but the subnet-router anycast address (RFC 4291 section 2.6.1); in /127 (RFC 6164) and /128
        all.
        """
        short = self.size <= 2
        low = self.value if short else self.value + 1
        high = self.last.value - (1 if self.family == 4 and not short else 0)
        return Range(self.family, low, high)

    def holds(self, address: Address) -> bool:
        """Return whether an address is inside."""
        same = address.family == self.family
        return same and not (address.value ^ self.value) >> (WIDTH[self.family] - self.length)

    def overlaps(self, other: Prefix) -> bool:
        """Return whether the two prefixes share an address."""
        return self.family == other.family and self.value <= other.last.value and other.value <= self.last.value

    def overlaps_range(self, span: Range) -> bool:
        """Return whether the prefix and a range share an address."""
        return self.family == span.family and self.value <= span.high and span.low <= self.last.value

    @classmethod
    def of(cls, address: Address, length: int) -> Prefix:
        """Return the prefix of this length that contains the address."""
        shift = WIDTH[address.family] - length
        return cls(address.family, address.value >> shift << shift, length)

    @classmethod
    def from_text(cls, text: str) -> Prefix:
        """Return the prefix of a text `address/length`; ValueError if host bits are set, with the likely prefix."""
        address, length = _split(text)
        prefix = cls.of(address, length)
        if prefix.value != address.value:
            raise ValueError(f"{_shown(text.strip())} has host bits set; the prefix meant is probably {prefix}")
        return prefix


def _split(text: str) -> tuple[Address, int]:
    head, slash, tail = text.strip().partition("/")
    if not slash:
        raise ValueError(f"{_shown(text)} has no prefix length; expected address/length, for example 10.0.0.0/24")
    address = Address.from_text(head)
    if not _LENGTH.fullmatch(tail) or int(tail) > WIDTH[address.family]:
        raise ValueError(f"{_shown(text)} has no prefix length from 0 to {WIDTH[address.family]} after the slash")
    return address, int(tail)


class InterfaceAddress(NamedTuple):
    """An address with the length of its subnet's prefix, such as `10.62.20.1/24`."""

    address: Address
    length: int

    def __str__(self) -> str:
        return f"{self.address}/{self.length}"

    @property
    def prefix(self) -> Prefix:
        """Return the prefix of this length that contains the address."""
        return Prefix.of(self.address, self.length)

    @classmethod
    def from_text(cls, text: str) -> InterfaceAddress:
        """Return the address and length of a text `address/length`, which may have host bits; otherwise ValueError."""
        return cls(*_split(text))


class Range(NamedTuple):
    """Addresses from `low` to `high`, both included, of one family."""

    family: int
    low: int
    high: int

    def __str__(self) -> str:
        low = str(Address(self.family, self.low))
        return low if self.low == self.high else f"{low}-{Address(self.family, self.high)}"

    @property
    def size(self) -> int:
        """Return the number of addresses."""
        return self.high - self.low + 1

    def holds(self, address: Address) -> bool:
        """Return whether an address is inside."""
        return address.family == self.family and self.low <= address.value <= self.high

    @classmethod
    def from_text(cls, text: str) -> Range:
        """Return the range of a text: `a-b` with a <= b, a single address, or a prefix; otherwise ValueError."""
        text = text.strip()
        if "/" in text:
            prefix = Prefix.from_text(text)
            return cls(prefix.family, prefix.value, prefix.last.value)
        low, high = _ends(text)
        if low.family != high.family:
            raise ValueError(f"{_shown(text)} mixes IPv4 and IPv6")
        if low.value > high.value:
            raise ValueError(f"{_shown(text)} is reversed: it ends before it begins")
        return cls(low.family, low.value, high.value)


def _ends(text: str) -> tuple[Address, Address]:
    head, dash, tail = text.partition("-")
    if not dash:
        return (Address.from_text(head),) * 2
    try:
        return Address.from_text(head), Address.from_text(tail)
    except ValueError as error:
        raise ValueError(f"{_shown(text)} is not a range such as 10.0.0.20-10.0.0.29: {error}") from error


class Mask(NamedTuple):
    """A typed mask: `value` as bits, and the prefix `length`, which is None if no host can have such a mask."""

    family: int
    value: int
    length: int | None

    def __str__(self) -> str:
        return quad(self.value) if self.family == 4 else f"/{self.length}"

    @classmethod
    def from_text(cls, text: str, family: int = 4) -> Mask:
        """Return the mask of a text: a dotted quad or a length such as `/24`; ValueError if it is neither.

        A quad that is not contiguous (RFC 1812 section 10.2.2), 0.0.0.0 and a wildcard mask give a mask without length.
        """
        text = text.strip()
        width = WIDTH[family]
        if text.startswith("/"):
            if not _LENGTH.fullmatch(text[1:]) or int(text[1:]) > width:
                raise ValueError(f"{_shown(text)} is not a prefix length from /1 to /{width}")
            length = int(text[1:])
            return cls(family, ((1 << length) - 1) << (width - length), length or None)
        if family == 6 or not _V4.fullmatch(text):
            raise ValueError(
                f"{_shown(text)} is not a mask; expected 255.255.255.0 or /24"
                if family == 4
                else f"{_shown(text)} is not a prefix length such as /64"
            )
        value = Address.from_text(text).value
        flipped = value ^ 0xFFFFFFFF
        contiguous = flipped & (flipped + 1) == 0
        return cls(4, value, 32 - flipped.bit_length() if contiguous and value else None)


class Mac(NamedTuple):
    """A 48-bit MAC address."""

    value: int

    def __str__(self) -> str:
        return mac_text(self.value)

    @property
    def group(self) -> bool:
        """Return whether the group bit is set: the address of several stations (RFC 7042 section 2.1)."""
        return bool(self.value >> 40 & 1)

    @property
    def local(self) -> bool:
        """Return whether the locally administered bit is set (RFC 7042 section 2.1)."""
        return bool(self.value >> 40 & 2)

    @classmethod
    def from_text(cls, text: str) -> Mac:
        """Return the MAC of a text with hyphens, colons, dots or no separators, in any case; otherwise ValueError."""
        text = text.strip()
        if not _MAC.fullmatch(text):
            raise ValueError(f"{_shown(text)} is not a MAC of twelve hexadecimal digits, for example 00-00-5E-00-53-21")
        return cls(int(text.replace("-", "").replace(":", "").replace(".", ""), 16))


def ranges_without(ranges: Iterable[tuple[T, Range]], excluded: Iterable[Range]) -> Iterator[tuple[T, Range]]:
    """Yield the parts of each range outside all excluded ranges, in order; each part keeps the value of its range."""
    apart: list[Range] = []  # the excluded ranges in ascending order; overlapping ones are joined
    for one in sorted(excluded):
        if apart and apart[-1].family == one.family and one.low <= apart[-1].high + 1:
            apart[-1] = Range(one.family, apart[-1].low, max(apart[-1].high, one.high))
        else:
            apart.append(one)
    for mark, span in ranges:
        low = span.low
        start = bisect_right(apart, (span.family, span.low), key=lambda each: (each.family, each.low)) - 1
        for one in islice(apart, max(0, start), None):
            if (one.family, one.low) > (span.family, span.high):
                break
            if one.family != span.family or one.high < low:
                continue
            if one.low > low:
                yield mark, Range(span.family, low, one.low - 1)
            low = one.high + 1
        if low <= span.high:
            yield mark, Range(span.family, low, span.high)
