"""Cuts a block of addresses into the smallest subnets that fit the needs; the largest subnet is placed first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from netcheck.addr import WIDTH, Address, Prefix, Range
from netcheck.space.intervals import Spans, prefixes_of, range_of
from netcheck.space.usable import usable_ranges
from netcheck.text import listed, safe

MOST_HOSTS = 1 << 31
GATEWAYS = 1  # gateways in every subnet
EDGES = 2  # network and directed-broadcast address: RFC 1122 section 3.2.1.3
# RFC 4291 section 2.5.1: interface identifiers are 64 bits long, so every subnet of hosts is a /64.
IPV6_LENGTH = 64
_NEED = re.compile(r"(?P<name>.+):\s*(?P<hosts>[0-9]{1,10})\s*", re.ASCII | re.DOTALL)
_GROWTH = re.compile(r"(?P<number>[0-9]{1,6}(?:\.[0-9]{1,6})?)\s*(?P<sign>%?)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Need:
    """One subnet to create: its name, and the number of hosts that it needs on the first day."""

    name: str
    hosts: int

    @classmethod
    def from_text(cls, text: str) -> Need:
        """Return the need in a text such as `process:40`; ValueError with the reason otherwise."""
        found = _NEED.fullmatch(text.strip())
        if not found or not found["name"].strip():
            raise ValueError(f"{safe(text, 60)!r} is not NAME:HOSTS; write for example process:40")
        hosts = int(found["hosts"])
        if not 1 <= hosts <= MOST_HOSTS:
            raise ValueError(f"{safe(text, 60)!r} asks for {hosts} hosts; a subnet holds from 1 to {MOST_HOSTS:,}")
        return cls(found["name"].strip(), hosts)


def growth_from_text(text: str) -> Fraction:
    """Return a growth such as `50%` as an exact fraction; ValueError otherwise.

    A number below 1 without `%` is refused, because it could be a share or a percentage.
    """
    found = _GROWTH.fullmatch(text.strip())
    if not found or (not found["sign"] and 0 < Fraction(found["number"]) < 1):
        raise ValueError(f"{safe(text, 40)!r} is not a growth in percent; write for example 50%")
    return Fraction(found["number"]) / 100


@dataclass(frozen=True, slots=True)
class Carved:
    """One new subnet.

    `grown` is the number of hosts after growth. `prefix` has room for them, the gateway and the two end addresses.
    """

    need: Need
    grown: int
    prefix: Prefix

    @property
    def gateway(self) -> Address:
        """Return the first assignable address."""
        return Address(self.prefix.family, self.prefix.usable.low)

    @property
    def room(self) -> int:
        """Return the number of assignable addresses without the gateway."""
        return sum(span.size for span in usable_ranges(self.prefix)) - GATEWAYS


@dataclass(frozen=True, slots=True)
class Carving:
    """A block cut into subnets in ascending order; `left` is the free rest as the fewest prefixes."""

    block: Prefix
    subnets: tuple[Carved, ...]
    left: tuple[Prefix, ...]


def carve(block: Prefix, needs: Sequence[Need], growth: Fraction, used: Iterable[Range] = ()) -> Carving:
    """Pack the smallest subnets that fit the needs into a block, the largest first, equal sizes in the order given.

    Each subnet gets the lowest aligned prefix that contains no address of `used`. Sizes are powers of two in descending
    order, so that no address is lost between subnets. Raises ValueError if the subnets do not fit, or if the block
    contains addresses that no host may have.
    """
    _require_host_addresses(block)
    sized = sorted(((_length(block.family, _grown(need, growth)), need) for need in needs), key=lambda one: one[0])
    sizes = [Prefix(block.family, 0, max(length, 0)).size << max(0, -length) for length, _ in sized]
    if sum(sizes) > block.size:
        raise ValueError(_too_small(block, sum(sizes), len(needs)))
    free = [part for gap in Spans(used).gaps(range_of(block)) for part in prefixes_of(gap)]
    subnets = []
    for length, need in sized:
        prefix = _take(free, length)
        if prefix is None:
            left = listed([str(one) for one in free])
            raise ValueError(f"no /{length} of {block} is free for {safe(need.name, 60)}; free are: {left}")
        subnets.append(Carved(need, _grown(need, growth), prefix))
    subnets.sort(key=lambda one: one.prefix)
    rest = Spans(map(range_of, free)).ranges()
    return Carving(block, tuple(subnets), tuple(part for span in rest for part in prefixes_of(span)))


def _take(free: list[Prefix], length: int) -> Prefix | None:
    """Remove the lowest prefix of a length from `free`, which stays in ascending order, and return it; None if none."""
    for index, part in enumerate(free):
        if part.length <= length:
            taken = Prefix(part.family, part.value, length)
            rest = Range(part.family, taken.last.value + 1, part.last.value)
            free[index : index + 1] = prefixes_of(rest) if rest.low <= rest.high else ()
            return taken
    return None


def _grown(need: Need, growth: Fraction) -> int:
    return ceil(need.hosts * (1 + growth))


def _length(family: int, hosts: int) -> int:
    """Return the length of the smallest prefix that fits; negative if the whole address space is too small."""
    if family == 6:
        return IPV6_LENGTH
    return WIDTH[4] - (hosts + GATEWAYS + EDGES - 1).bit_length()


def _require_host_addresses(block: Prefix) -> None:
    if block.family == 6 and block.length > IPV6_LENGTH:
        raise ValueError(f"{block} is smaller than a /64, and an IPv6 subnet is a /64 (RFC 4291 section 2.5.1)")
    if block.family == 4 and list(usable_ranges(block)) != [block.usable]:
        raise ValueError(f"{block} contains addresses that no host may have (RFC 1122 section 3.2.1.3, RFC 1112)")
    if block.family == 6 and not any(usable_ranges(block)):
        raise ValueError(f"{block} contains only addresses that no host may have (RFC 4291 section 2.7)")


def _too_small(block: Prefix, size: int, count: int) -> str:
    bits = (size - 1).bit_length()
    them = "the subnet needs" if count == 1 else f"the {count} subnets need"
    would = f"take a /{WIDTH[block.family] - bits}" if bits <= WIDTH[block.family] else "no block has as many"
    return f"{them} {size:,} addresses, and {block} has {block.size:,}; {would}, or ask for fewer hosts or less growth"
