"""Which addresses a host may have, and why it may not have the others."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from netcheck.addr import Address, Prefix, Range
from netcheck.space.intervals import Cover, Spans, range_of
from netcheck.space.special_purpose import PRIVATE_USE

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


def unusable_by_prefix(prefix: Prefix) -> Iterator[Range]:
    """Yield the ranges of a subnet that its own prefix makes unusable: the two ends and the anycast addresses."""
    if prefix.usable.low > prefix.value:
        yield Range(prefix.family, prefix.value, prefix.value)
    if prefix.usable.high < prefix.last.value:
        yield Range(prefix.family, prefix.last.value, prefix.last.value)
    yield from _anycast(prefix)


def why_unusable(address: Address, prefix: Prefix | None) -> str:
    """Return why no host of the subnet may have an address, as a predicate; empty if it may or is outside."""
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
