"""Decides which addresses a host may have, why it may not have the others, and which have a special purpose.

`BLOCKS` are the IANA special-purpose address registries, IPv4 and IPv6, of 2026-07-18. netcheck has its own dated
table, because `private` and `global` in the standard library differ from the registries and change between Python
releases. The flags are those of RFC 6890 section 2.2.1, renamed by RFC 8190 section 2.1: Source, Destination,
Forwardable, Globally reachable, Reserved by protocol; T is true, F is false, `-` is blank or not applicable.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from typing import NamedTuple

from netcheck.addr import WIDTH, Address, Prefix, Range
from netcheck.space.intervals import Cover, Spans, range_of

REGISTRY_DATE = "2026-07-18"


class SpecialBlock(NamedTuple):
    """One row of a registry."""

    prefix: Prefix
    name: str
    source: str
    flags: str

    @property
    def globally_reachable(self) -> bool | None:
        """Return the registry's value; None if the registry gives none."""
        return {"T": True, "F": False}.get(self.flags[3])

    @property
    def private_use(self) -> bool:
        """Return whether the block is for private use: RFC 1918 section 3 and RFC 4193 section 3."""
        return self.name in ("Private-Use", "Unique-Local")


_ROWS = (
    ("0.0.0.0/8", '"This network"', "RFC 791 section 3.2", "TFFFT"),
    ("0.0.0.0/32", '"This host on this network"', "RFC 1122 section 3.2.1.3", "TFFFT"),
    ("10.0.0.0/8", "Private-Use", "RFC 1918", "TTTFF"),
    ("100.64.0.0/10", "Shared Address Space", "RFC 6598", "TTTFF"),
    ("127.0.0.0/8", "Loopback", "RFC 1122 section 3.2.1.3", "FFFFT"),
    ("169.254.0.0/16", "Link Local", "RFC 3927", "TTFFT"),
    ("172.16.0.0/12", "Private-Use", "RFC 1918", "TTTFF"),
    ("192.0.0.0/24", "IETF Protocol Assignments", "RFC 6890 section 2.1", "FFFFF"),
    ("192.0.0.0/29", "IPv4 Service Continuity Prefix", "RFC 7335", "TTTFF"),
    ("192.0.0.8/32", "IPv4 dummy address", "RFC 7600", "TFFFF"),
    ("192.0.0.9/32", "Port Control Protocol Anycast", "RFC 7723", "TTTTF"),
    ("192.0.0.10/32", "Traversal Using Relays around NAT Anycast", "RFC 8155", "TTTTF"),
    ("192.0.0.170/32", "NAT64/DNS64 Discovery", "RFC 8880", "FFFFT"),
    ("192.0.0.171/32", "NAT64/DNS64 Discovery", "RFC 8880", "FFFFT"),
    ("192.0.2.0/24", "Documentation (TEST-NET-1)", "RFC 5737", "FFFFF"),
    ("192.31.196.0/24", "AS112-v4", "RFC 7535", "TTTTF"),
    ("192.52.193.0/24", "AMT", "RFC 7450", "TTTTF"),
    ("192.88.99.0/24", "Deprecated (6to4 Relay Anycast)", "RFC 7526", "-----"),
    ("192.88.99.2/32", "6a44-relay anycast address", "RFC 6751", "TTTFF"),
    ("192.168.0.0/16", "Private-Use", "RFC 1918", "TTTFF"),
    ("192.175.48.0/24", "Direct Delegation AS112 Service", "RFC 7534", "TTTTF"),
    ("198.18.0.0/15", "Benchmarking", "RFC 2544", "TTTFF"),
    ("198.51.100.0/24", "Documentation (TEST-NET-2)", "RFC 5737", "FFFFF"),
    ("203.0.113.0/24", "Documentation (TEST-NET-3)", "RFC 5737", "FFFFF"),
    ("240.0.0.0/4", "Reserved", "RFC 1112 section 4", "FFFFT"),
    ("255.255.255.255/32", "Limited Broadcast", "RFC 919 section 7", "FTFFT"),
    ("::1/128", "Loopback Address", "RFC 4291", "FFFFT"),
    ("::/128", "Unspecified Address", "RFC 4291", "TFFFT"),
    ("::ffff:0:0/96", "IPv4-mapped Address", "RFC 4291", "FFFFT"),
    ("64:ff9b::/96", "IPv4-IPv6 Translation", "RFC 6052", "TTTTF"),
    ("64:ff9b:1::/48", "IPv4-IPv6 Translation", "RFC 8215", "TTTFF"),
    ("100::/64", "Discard-Only Address SpecialBlock", "RFC 6666", "TTTFF"),
    ("100:0:0:1::/64", "Dummy IPv6 Prefix", "RFC 9780", "TFFFF"),
    ("2001::/23", "IETF Protocol Assignments", "RFC 2928", "FFFFF"),
    ("2001::/32", "TEREDO", "RFC 4380", "TTT-F"),
    ("2001:1::1/128", "Port Control Protocol Anycast", "RFC 7723", "TTTTF"),
    ("2001:1::2/128", "Traversal Using Relays around NAT Anycast", "RFC 8155", "TTTTF"),
    ("2001:1::3/128", "DNS-SD Service Registration Protocol Anycast", "RFC 9665", "TTTTF"),
    ("2001:2::/48", "Benchmarking", "RFC 5180", "TTTFF"),
    ("2001:3::/32", "AMT", "RFC 7450", "TTTTF"),
    ("2001:4:112::/48", "AS112-v6", "RFC 7535", "TTTTF"),
    ("2001:10::/28", "Deprecated (previously ORCHID)", "RFC 4843", "-----"),
    ("2001:20::/28", "ORCHIDv2", "RFC 7343", "TTTTF"),
    ("2001:30::/28", "Drone Remote ID Protocol Entity Tags", "RFC 9374", "TTTTF"),
    ("2001:db8::/32", "Documentation", "RFC 3849", "FFFFF"),
    ("2002::/16", "6to4", "RFC 3056", "TTT-F"),
    ("2620:4f:8000::/48", "Direct Delegation AS112 Service", "RFC 7534", "TTTTF"),
    ("3fff::/20", "Documentation", "RFC 9637", "FFFFF"),
    ("5f00::/16", "Segment Routing (SRv6) SIDs", "RFC 9602", "TTTFF"),
    ("fc00::/7", "Unique-Local", "RFC 4193", "TTTFF"),
    ("fe80::/10", "Link-Local Unicast", "RFC 4291", "TTFFT"),
)
BLOCKS = tuple(SpecialBlock(Prefix.from_text(prefix), name, source, flags) for prefix, name, source, flags in _ROWS)
_MOST_SPECIFIC_FIRST = sorted(BLOCKS, key=lambda block: -block.prefix.length)
_COVER = Cover((range_of(block.prefix), block) for block in _MOST_SPECIFIC_FIRST)
PRIVATE_USE: tuple[Range, ...] = tuple(range_of(block.prefix) for block in BLOCKS if block.private_use)

# Blocks for a special purpose other than private use.
SPECIAL: tuple[Range, ...] = tuple(range_of(block.prefix) for block in BLOCKS if not block.private_use)
_ALL = Spans(range_of(block.prefix) for block in BLOCKS)
# Only these addresses can be public; callers test `is_public` for no others.
PERHAPS_PUBLIC: tuple[Range, ...] = (
    *(gap for family, width in WIDTH.items() for gap in _ALL.gaps(Range(family, 0, (1 << width) - 1))),
    *(range_of(block.prefix) for block in BLOCKS if block.globally_reachable),
)
# Never assignable to a host: RFC 1122 section 3.2.1.3 (a)-(c), (g); RFC 1112 section 4; RFC 4291 sections 2.5.2,
# 2.5.3, 2.7.
_NEVER = tuple(
    (range_of(Prefix.from_text(prefix)), why)
    for prefix, why in (
        ("255.255.255.255/32", "is the limited broadcast address"),
        ("0.0.0.0/8", 'is in 0.0.0.0/8, "this network"'),
        ("127.0.0.0/8", "is a loopback address"),
        ("224.0.0.0/4", "is a multicast address"),
        ("240.0.0.0/4", "is in the reserved block 240.0.0.0/4"),
        ("::/128", "is the unspecified address"),
        ("::1/128", "is the loopback address"),
        ("ff00::/8", "is a multicast address"),
    )
)
_NEVER_COVER = Cover(_NEVER)
_NEVER_SPANS = Spans(span for span, _ in _NEVER)
NEVER: tuple[Range, ...] = tuple(span for span, _ in _NEVER)
_PRIVATE = Spans(PRIVATE_USE)
# RFC 2526 section 2: the highest 128 interface identifiers of a 64-bit prefix are anycast addresses; the range as
# RFC 5453 section 3 lists it.
_ANYCAST_LOW, _ANYCAST_HIGH = 0xFDFFFFFFFFFFFF80, 0xFDFFFFFFFFFFFFFF


def block_of(address: Address) -> SpecialBlock | None:
    """Return the most specific registry block that contains an address, or None."""
    return _COVER.at(address)


def is_public(address: Address) -> bool:
    """Return whether an assignable address is globally reachable; it is unless a registry says otherwise."""
    block = block_of(address)
    return block is None or block.globally_reachable is True


def unusable_by_prefix(prefix: Prefix) -> Iterator[Range]:
    """Yield the ranges of a subnet that its prefix makes unusable: the two end addresses and the anycast addresses."""
    if prefix.usable.low > prefix.value:
        yield Range(prefix.family, prefix.value, prefix.value)
    if prefix.usable.high < prefix.last.value:
        yield Range(prefix.family, prefix.last.value, prefix.last.value)
    yield from _anycast(prefix)


def why_unusable(address: Address, prefix: Prefix | None) -> str:
    """Return why no host of the subnet may have an address, as a predicate such as "is a loopback address".

    Empty if a host may have it, or if the address is outside the subnet.
    """
    why = _NEVER_COVER.at(address)
    if why is not None:
        return why
    if prefix is None or not prefix.holds(address):
        return ""
    if any(span.holds(address) for span in _anycast(prefix)):
        return f"is a reserved anycast address of {prefix}"
    if prefix.usable.holds(address):
        return ""
    if address.value == prefix.value:
        return f"is the {'network' if address.family == 4 else 'subnet-router anycast'} address of {prefix}"
    return f"is the directed-broadcast address of {prefix}"


def usable_ranges(prefix: Prefix) -> Iterator[Range]:
    """Yield the ranges of addresses that hosts of a subnet may have, ascending."""
    anycast = Spans(_anycast(prefix))
    return chain.from_iterable(map(anycast.gaps, _NEVER_SPANS.gaps(prefix.usable)))


def private_ranges(prefix: Prefix) -> list[Range]:
    """Return the usable ranges of a subnet that are for private use; empty if it has none."""
    return list(chain.from_iterable(map(_PRIVATE.within, usable_ranges(prefix))))


def _anycast(prefix: Prefix) -> tuple[Range, ...]:
    if prefix.family == 4 or prefix.length != 64:
        return ()
    return (Range(6, prefix.value + _ANYCAST_LOW, prefix.value + _ANYCAST_HIGH),)
