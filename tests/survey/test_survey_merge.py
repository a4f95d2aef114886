"""Several lists become one list: equal rows are joined, and no value of any list is lost."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, Mac
from netcheck.survey.host_table import HostTable, SiteHost, folded
from netcheck.survey.merge import Disagreement, disagreements, merged

A, B = (Mac.from_text(f"00-00-5E-00-53-{octet}") for octet in ("14", "15"))


def host(octet: int, mac: Mac | None, name: str, file: str, line: int, seen: date | None = None) -> SiteHost:
    """Return a row of a list of 192.0.2.0/24."""
    return SiteHost(
        address=Address.from_text(f"192.0.2.{octet}"),
        mac=mac,
        name=name,
        note=f"note {file}",
        seen=seen,
        file=file,
        line=line,
    )


def test_rows_that_agree_become_one() -> None:
    """A row without MAC or name joins the only host of its address; the latest day and all positions are kept."""
    table = HostTable.of([
        host(20, None, "plc-a", "zone", 3),
        host(20, A, "", "arp", 7, date(2026, 1, 15)),
        host(20, A, "PLC-A.", "leases", 9, date(2026, 1, 14)),
    ])  # fmt: skip
    (one,) = merged(table)
    assert (one.mac, one.name, one.seen) == (A, "plc-a", date(2026, 1, 15))
    assert one.sources == ("zone: row 3", "arp: row 7", "leases: row 9")
    assert list(disagreements(table)) == []


def test_two_macs_and_two_names_are_reported() -> None:
    """Each value is reported with its first position; a row without MAC joins none of several hosts."""
    rows = [
        host(20, A, "a", "one", 2),
        host(20, B, "b", "two", 3),
        host(20, None, "", "x", 4),
        host(21, A, "a", "x", 5),
    ]
    table = HostTable.of(rows)
    assert [(one.mac, one.name) for one in merged(table)] == [(A, "a"), (B, "b"), (None, ""), (A, "a")]
    address = Address.from_text("192.0.2.20")
    assert list(disagreements(table)) == [
        Disagreement(address, "MAC", ((str(A), "one: row 2"), (str(B), "two: row 3"))),
        Disagreement(address, "name", (("a", "one: row 2"), ("b", "two: row 3"))),
    ]


def test_a_short_name_is_no_other_name() -> None:
    """A host's first label and its full name are one name; both are kept for searches."""
    table = HostTable.of([host(20, A, "plc-a", "one", 2), host(20, A, "plc-a.line1.example.", "two", 3)])
    assert list(disagreements(table)) == []
    assert [one.name for one in merged(table)] == ["plc-a", "plc-a.line1.example."]


@given(
    st.lists(
        st.builds(
            host,
            st.integers(1, 4), st.sampled_from([None, A, B]), st.sampled_from(["", "a", "A.", "b", "b.x"]),
            st.sampled_from(["one", "two"]), st.integers(1, 9),
        ),
        max_size=12,
    )
)  # fmt: skip
def test_no_value_of_a_list_is_lost(rows: list[SiteHost]) -> None:
    """The merged list contains every address with each of its MACs, names and positions."""
    found = list(merged(HostTable.of(rows)))
    assert [one.address for one in found] == sorted(one.address for one in found)
    for row in rows:
        mine = [one for one in found if one.address == row.address]
        assert row.mac is None or any(one.mac == row.mac for one in mine)
        assert not row.name or any(folded(one.name) == folded(row.name) for one in mine)
        assert any(row.where in one.sources for one in mine)
    assert len(found) <= len(rows)
