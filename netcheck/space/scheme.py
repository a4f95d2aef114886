"""The plan's numbering scheme: which range of addresses belongs to an interface, by kind, place or name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from fnmatch import translate
from functools import cached_property

from netcheck.addr import Prefix, Range
from netcheck.plan.model import Interface, LastOctets, Plan, Scheme, Subnet

MOST_BLOCKS = 256  # /24 blocks of a large subnet in which a range of last octets counts


class Schemes:
    """The schemes of a plan. Of several that match an interface, the first one in the plan counts."""

    def __init__(self, plan: Plan) -> None:
        self._readable = [(one, _Matcher(one)) for one in plan.schemes if one.range.value is not None]
        self._found: dict[tuple[str, str, str, str, str], Scheme | None] = {}

    def __bool__(self) -> bool:
        return bool(self._readable)

    def of(self, interface: Interface, subnet: Subnet) -> Scheme | None:
        """Return the scheme for an interface in a subnet, or None."""
        key = interface.kind, interface.location, interface.device, interface.name, subnet.name
        if key not in self._found:
            fitting = (one for one, matcher in self._readable if matcher.fits(interface) and spans_of(one, subnet))
            self._found[key] = next(fitting, None)
        return self._found[key]

    def all_in(self, subnet: Subnet) -> list[Range]:
        """Return the ranges of all schemes inside a subnet."""
        return [span for scheme, _ in self._readable for span in spans_of(scheme, subnet)]


class _Matcher:
    """Compares the criteria of a scheme, without case; `*` stands for any text."""

    def __init__(self, scheme: Scheme) -> None:
        self._scheme = scheme

    @cached_property
    def _patterns(self) -> tuple[re.Pattern[str] | None, ...]:
        texts = (self._scheme.kind, self._scheme.location, self._scheme.name)
        return tuple(re.compile(translate(text.casefold())) if text else None for text in texts)

    def fits(self, interface: Interface) -> bool:
        """Return whether an interface matches all criteria."""
        whole = "/" in self._scheme.name
        values = (interface.kind, interface.location, interface.subject if whole else interface.device)
        pairs = zip(self._patterns, values, strict=True)
        return all(pattern is None or pattern.match(value.casefold()) for pattern, value in pairs)


def spans_of(scheme: Scheme, subnet: Subnet) -> list[Range]:
    """Return the ranges of a scheme inside a subnet, ascending."""
    prefix, span = subnet.prefix.value, scheme.range.value
    if prefix is None or span is None or (scheme.subnet and scheme.subnet != subnet.name):
        return []
    inside = (_clipped(one, prefix) for one in (_blocks(span, prefix) if isinstance(span, LastOctets) else (span,)))
    return [one for one in inside if one is not None]


def _blocks(octets: LastOctets, prefix: Prefix) -> Iterator[Range]:
    if prefix.family == 4:
        first = prefix.value & ~0xFF
        for number in range(min(MOST_BLOCKS, max(1, prefix.size >> 8))):
            start = first + (number << 8)
            yield Range(4, start + octets.low, start + octets.high)


def _clipped(span: Range, prefix: Prefix) -> Range | None:
    low, high = max(span.low, prefix.value), min(span.high, prefix.last.value)
    return Range(span.family, low, high) if span.family == prefix.family and low <= high else None
