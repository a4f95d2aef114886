"""Sets of addresses agree with Python sets, with `ipaddress`, and with the worked example of RFC 4632."""

from __future__ import annotations

import ipaddress
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, Prefix, Range
from netcheck.space.intervals import Cover, Prefixes, Spans, prefixes_of, range_of

BASE = {4: int(ipaddress.ip_address("192.0.2.0")), 6: int(ipaddress.ip_address("2001:db8::"))}
spans = st.builds(
    lambda family, low, size: Range(family, BASE[family] + low, BASE[family] + low + size),
    st.sampled_from([4, 6]),
    st.integers(0, 60),
    st.integers(0, 12),
)
WINDOWS = tuple(Range(family, base, base + 80) for family, base in BASE.items())


def values(span: Range) -> set[Address]:
    """Return every address of a range."""
    return {Address(span.family, value) for value in range(span.low, span.high + 1)}


@given(st.lists(spans, max_size=12), spans)
def test_spans_are_the_set_of_their_ranges(ranges: list[Range], window: Range) -> None:
    """`holds`, `within`, `gaps` and `count` agree with a Python set of addresses."""
    held = set().union(*map(values, ranges))
    found = Spans(ranges)
    assert set().union(*map(values, found.within(window))) == values(window) & held
    assert set().union(*map(values, found.gaps(window))) == values(window) - held
    assert found.count(window) == len(values(window) & held)
    assert all(found.holds(*address) == (address in held) for whole in WINDOWS for address in values(whole))
    assert list(found.joined([window]).within(WINDOWS[0])) == list(Spans([*ranges, window]).within(WINDOWS[0]))


@given(st.lists(spans, max_size=12))
def test_spans_do_not_touch(ranges: list[Range]) -> None:
    """Ranges that overlap or touch become one, as the standard library collapses networks."""
    for window in WINDOWS:
        parts = list(Spans(ranges).within(window))
        assert all(left.high + 1 < right.low for left, right in itertools.pairwise(parts))


@given(st.lists(spans, max_size=10))
def test_cover_gives_the_earliest_owner(ranges: list[Range]) -> None:
    """If ranges overlap, the first one owns the address."""
    cover = Cover((span, index) for index, span in enumerate(ranges))
    for window in WINDOWS:
        for address in values(window):
            owners = [index for index, span in enumerate(ranges) if span.holds(address)]
            assert cover.at(address) == (owners[0] if owners else None)


@given(spans)
def test_prefixes_of_a_range_are_the_fewest(span: Range) -> None:
    """The prefixes are aligned, cover exactly the range, and no two neighbours form a larger prefix."""
    found = list(prefixes_of(span))
    assert [prefix.value for prefix in found] == [span.low, *(prefix.last.value + 1 for prefix in found[:-1])]
    assert found[-1].last.value == span.high
    assert all(prefix.value % prefix.size == 0 for prefix in found)
    assert all(one.size != two.size or one.value % (2 * one.size) for one, two in itertools.pairwise(found))


@pytest.mark.parametrize("family", [4, 6])
def test_the_whole_space_is_one_prefix(family: int) -> None:
    """All addresses together are /0."""
    whole = Prefix(family, 0, 0)
    assert list(prefixes_of(range_of(whole))) == [whole]


# RFC 4632 section 6.1: the prefixes that provider PA assigned to its clients, and the prefixes that it has left. The
# figure labels C4 as 10.24.12.0/20, which has host bits set; the text gives the mask 255.255.252.0, a /22.
GIVEN = ("10.24.0.0/21", "10.24.16.0/20", "10.24.8.0/22", "10.24.12.0/22", "10.24.32.0/23", "10.24.34.0/23")
LEFT = (
    "10.24.36.0/22",
    "10.24.40.0/21",
    "10.24.48.0/20",
    "10.24.64.0/18",
    "10.24.128.0/17",
    "10.25.0.0/16",
    "10.26.0.0/15",
    "10.28.0.0/14",
)


def test_prefixes_that_rfc_4632_leaves_free() -> None:
    """RFC 4632 section 6.1: 10.24.0.0/13 without the clients' prefixes has 515,072 addresses in eight prefixes."""
    block = range_of(Prefix.from_text("10.24.0.0/13"))
    taken = Spans(range_of(Prefix.from_text(prefix)) for prefix in GIVEN)
    gaps = list(taken.gaps(block))
    assert taken.count(block) == 9216
    assert sum(gap.size for gap in gaps) == 515072
    assert tuple(str(prefix) for gap in gaps for prefix in prefixes_of(gap)) == LEFT


networks = st.builds(
    lambda family, low, bits: Prefix.of(Address(family, BASE[family] + low), ({4: 32, 6: 128}[family]) - bits),
    st.sampled_from([4, 6]),
    st.integers(0, 63),
    st.integers(0, 6),
)


@given(st.lists(networks, max_size=12), networks)
def test_prefixes_that_share_addresses(prefixes: list[Prefix], wanted: Prefix) -> None:
    """They are exactly those for which `overlaps` of `ipaddress` is true."""
    found = Prefixes(enumerate(prefixes))
    one = ipaddress.ip_network(str(wanted))
    others = [ipaddress.ip_network(str(prefix)) for prefix in prefixes]
    same = [number for number, two in enumerate(others) if one.version == two.version and one.overlaps(two)]
    assert sorted(found.sharing(wanted)) == same
    assert found.count(wanted) == len(same)
