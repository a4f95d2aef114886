"""The table of site hosts finds the same rows as a linear search over a list."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, Mac, Prefix, Range
from netcheck.survey.host_table import HostTable, SiteHost, folded

BASE = Address.from_text("192.0.2.0").value
V6 = Address.from_text("2001:db8::").value

addresses = st.builds(
    lambda family, low: Address(family, (BASE if family == 4 else V6) + low),
    st.sampled_from([4, 6]),
    st.integers(0, 40),
)
macs = st.none() | st.integers(0, 5).map(lambda low: Mac(0x00005E005300 + low))
names = st.sampled_from(["", "boiler", "BOILER.", "Straße", "STRASSE", "cam-1"])
hosts = st.lists(
    st.builds(
        SiteHost,
        address=addresses,
        mac=macs,
        name=names,
        note=st.text(max_size=4),
        seen=st.none() | st.just(date(2026, 10, 28)),
        file=st.sampled_from(["a.csv", "b.csv"]),
        line=st.integers(1, 9),
    ),
    max_size=30,
)


@given(hosts)
def test_iterates_in_order_of_address_and_keeps_every_row(rows: list[SiteHost]) -> None:
    """No row is lost, and rows with the same address keep the order read."""
    table = HostTable.of(rows)
    assert list(table) == sorted(rows, key=lambda host: host.address)
    assert len(table) == len(rows)


@given(hosts, addresses, addresses)
def test_searches_agree_with_a_plain_search(rows: list[SiteHost], low: Address, high: Address) -> None:
    """`at`, `between`, `values` and `count` return exactly the rows that a linear search finds."""
    table = HostTable.of(rows)
    assert list(table.at(low)) == [host for host in rows if host.address == low]
    if low.family == high.family and low <= high:
        inside = [host for host in table if low <= host.address <= high]
        assert list(table.between(low, high)) == inside
        within = Range(low.family, low.value, high.value)
        assert list(table.values(within)) == sorted({host.address.value for host in inside})
        assert table.count(within) == len({host.address.value for host in inside})


@given(hosts, addresses, st.integers(24, 32))
def test_nearest_first(rows: list[SiteHost], address: Address, length: int) -> None:
    """`around` yields every row of the prefix in order of distance; `nearest` returns the first of them."""
    table = HostTable.of(rows)
    within = Prefix.of(address, length if address.family == 4 else length + 96)
    found = list(table.around(address, within))
    distances = [abs(host.address.value - address.value) for host in found]
    assert distances == sorted(distances)
    assert sorted(map(repr, found)) == sorted(repr(host) for host in rows if within.holds(host.address))
    assert table.nearest(address, within) == (found[0] if found else None)


def test_nearest_stays_inside_the_prefix() -> None:
    """A nearer host outside the prefix does not count."""
    table = HostTable.of([SiteHost(address=Address(4, BASE + 15)), SiteHost(address=Address(4, BASE + 30))])
    near = table.nearest(Address(4, BASE + 17), Prefix(4, BASE + 16, 28))
    assert near is not None
    assert near.address.value == BASE + 30


def test_nearest_of_the_other_family_is_none() -> None:
    """An IPv6 address has no neighbour in an IPv4 prefix."""
    assert HostTable.of([SiteHost(address=Address(4, BASE))]).nearest(Address(6, V6), Prefix(4, BASE, 24)) is None


@given(hosts, macs, names)
def test_by_mac_and_by_name(rows: list[SiteHost], mac: Mac | None, name: str) -> None:
    """The indexes find the same rows as a linear search; an empty name matches no host."""
    table = HostTable.of(rows)
    if mac is not None:
        assert list(table.by_mac(mac)) == [host for host in rows if host.mac == mac]
    named = table.by_names({folded(name)}).get(folded(name), [])
    assert named == [host for host in rows if name and folded(host.name) == folded(name)]


@given(hosts)
def test_repeated_addresses(rows: list[SiteHost]) -> None:
    """Each address with several rows is yielded once, with all its rows."""
    groups = list(HostTable.of(rows).repeated())
    counts = {host.address: sum(other.address == host.address for other in rows) for host in rows}
    assert {group[0].address: len(group) for group in groups} == {a: n for a, n in counts.items() if n > 1}


@given(st.lists(hosts, max_size=3))
def test_merging_is_reading_one_after_the_other(parts: list[list[SiteHost]]) -> None:
    """A table merged from several equals one table of all rows."""
    merged = HostTable.merged(HostTable.of(part) for part in parts)
    assert list(merged) == list(HostTable.of([host for part in parts for host in part]))
