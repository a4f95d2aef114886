"""Rows read in blocks give the same hosts as rows read one by one; rows that need a remark are never in a block."""

from __future__ import annotations

from datetime import date
from itertools import accumulate
from pathlib import Path
from socket import AF_INET, inet_pton

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Address
from netcheck.plan.model import Position, SurveyEntry
from netcheck.survey.gathering import Gathering
from netcheck.survey.host_columns import NO_MAC, HostColumns
from netcheck.survey.host_table import HostTable, SiteHost
from netcheck.survey.model import Survey
from netcheck.survey.read import read_survey
from netcheck.survey.readers.header import Layout
from netcheck.survey.readers.table import Bulk, gather
from netcheck.tables.delimited import macs_of, records_of

ENTRY = SurveyEntry(file="site-hosts.csv", position=Position("plan.toml"))
LAYOUT = Layout(",", 1, (0,), (("mac", 1), ("name", 2), ("note", 3), ("seen", 4)))
CELLS = (
    st.sampled_from(
        ["10.0.0.5", " 10.0.0.6 ", "198.51.100.7", "10.0.0.5", "2001:db8::5", "10.0.0.07", "", "10.0.0.8/24"]
    ),
    st.sampled_from(["00-00-5E-00-53-21", "00:00:5e:00:53:22", "", "-", "0000.5e00.5323", "00-00-00-00-00-00", "x"]),
    st.sampled_from(["plc", "Pümpe", "", " press ", '"a, b"', 'a"b']),
    st.sampled_from(["", "by hand"]),
    st.sampled_from(["", "2026-10-28", "28.10.2026", "1/2/2026"]),
)
USUAL = st.tuples(
    st.sampled_from(["10.0.0.5", "10.0.0.9"]),
    st.sampled_from(["00-00-5E-00-53-21", ""]),
    st.sampled_from(["a", "é"]),
    st.just(""),
    st.just(""),
)
lines = st.lists((st.tuples(*CELLS) | USUAL).map(lambda cells: ",".join(cells) + "\n"), max_size=5)


def survey_of(gathering: Gathering) -> Survey:
    """Return the survey that was gathered so far."""
    return gathering.survey(ENTRY, "csv")


@settings(deadline=None)
@given(lines | st.lists(USUAL.map(lambda cells: ",".join(cells) + "\n"), max_size=5))
def test_a_block_equals_its_rows(rows: list[str]) -> None:
    """A block is refused, or it gives the same hosts as its rows and no row needs a remark."""
    one_by_one, together = Gathering("site-hosts.csv"), Gathering("site-hosts.csv")
    gather(records_of(rows, ",", 2), LAYOUT, one_by_one)
    block = Bulk(LAYOUT).block("".join(rows))
    if block is not None:
        together.add_block(block, 2)
        expected, found = survey_of(one_by_one), survey_of(together)
        assert list(found.hosts) == list(expected.hosts)
        assert (expected.skipped, expected.addressless, expected.unread) == (
            found.skipped,
            found.addressless,
            found.unread,
        )


def test_usual_rows_are_read_as_a_block() -> None:
    """The rows use every column, signs for unknown values, and texts that are not ASCII."""
    block = Bulk(LAYOUT).block("10.0.0.5,00-00-5E-00-53-21,plc,é,2026-10-28\n10.0.0.6,-,,,\n")
    assert block is not None
    columns = HostColumns()
    columns.begin("site-hosts.csv")
    columns.add_block(block, 2)
    first, second = HostTable(columns)
    assert (first.address, str(first.mac), first.name, first.note, first.seen, first.line) == (
        *(Address.from_text("10.0.0.5"), "00-00-5E-00-53-21", "plc", "é", date(2026, 10, 28), 2),
    )
    assert second == SiteHost(address=Address.from_text("10.0.0.6"), file="site-hosts.csv", line=3)


def test_macs_of_one_form_and_of_several() -> None:
    """MACs in one notation and in several give the same integers; IEEE 802 writes hyphens, colons are usual."""
    one, two, three = ("10.0.0.5,00-00-5E-00-53-21,,,\n", "10.0.0.6,02-00-00-00-00-01,,,\n", "10.0.0.7,,,,\n")
    uniform, mixed = Bulk(LAYOUT).block(one + two), Bulk(LAYOUT).block(one + two.replace("-", ":") + three)
    assert uniform is not None
    assert mixed is not None
    assert list(uniform.macs) == [0x00005E005321, 0x020000000001]
    assert list(mixed.macs) == [0x00005E005321, 0x020000000001, NO_MAC]


def test_macs_of_other_lengths_are_left() -> None:
    """One text is a character short and the next a character long, so that both together look like two MACs."""
    short = ["00-00-5E-00-53-2", "100-00-5E-00-53-22"]
    assert len("".join(short)) == 2 * len("00-00-5E-00-53-21")
    assert macs_of(short) is None
    assert macs_of(["00-00-5E-00-53-2\n", "00-00-5E-00-53-22"]) is None
    assert macs_of(["00005E005321", "0000-5E005322"]) is None
    assert macs_of([]) is None
    bare = macs_of(["00005E005321", "00005e005322"])
    assert bare is not None
    assert list(bare) == [0x00005E005321, 0x00005E005322]


@pytest.mark.parametrize("mac", ["00-00-5E-00-53- 1", "00-00-5E-00-53:21", "FF-FF-FF-FF-FF-FF", "0０-00-5E-00-53-21"])
def test_macs_that_need_a_remark_are_refused(mac: str) -> None:
    """Cases: a space, which `bytes.fromhex` ignores, two separators, the broadcast MAC, a digit of another script."""
    assert Bulk(LAYOUT).block(f"10.0.0.5,{mac},,,\n") is None


@pytest.mark.parametrize(
    "text", ["10.1", "010.1.2.3", "0x0a.1.2.3", "10.1.2.3 x", "1.2.3.4\n", "1.2.3.256", "１.2.3.4", ""]
)
def test_the_conversion_is_strict(text: str) -> None:
    """`inet_pton` takes four decimal octets without leading zeros only (POSIX.1-2017 on `inet_ntop`, from memory)."""
    with pytest.raises((OSError, ValueError)):
        inet_pton(AF_INET, text)


def test_rows_keep_their_numbers_across_blocks(tmp_path: Path) -> None:
    """Row numbers continue after blocks, after rows read one by one, and after a row of two lines at a block's edge."""
    rows = [f"10.{n >> 16}.{n >> 8 & 255}.{n & 255},h{n}" for n in range(1, 60_000)]
    lengths = accumulate(len(row) + 1 for row in rows)
    edge = next(n for n, length in enumerate(lengths) if length > 2 << 18)  # blocks have 2 ** 18 characters
    rows[edge - 5000] = "10.9.9.300,bad"
    rows[edge] = '10.9.9.9,"two\nlines"'
    rows[edge - 1] = '10.9.9.8,"two\nlines"'
    (tmp_path / ENTRY.file).write_text("\n".join(["address,name", *rows, ""]), encoding="utf-8")
    survey = read_survey(ENTRY, tmp_path)
    assert [str(remark.position) for remark in survey.skipped.first] == [f"site-hosts.csv: row {edge - 4998}"]
    assert len(survey.hosts) == len(rows) - 1
    for host in survey.hosts:
        assert rows[host.line - 2] == f"{host.address},{host.name}" or host.name == "two\nlines"


@given(st.lists(st.integers(0, 2**32 - 1), max_size=30))
def test_hosts_are_in_order_of_address_and_then_of_row(values: list[int]) -> None:
    """The order is that of a stable sort of the standard library."""
    table = HostTable.of(SiteHost(address=Address(4, value), line=line) for line, value in enumerate(values, 1))
    expected = sorted(enumerate(values, 1), key=lambda pair: pair[1])
    assert [(host.line, host.address.value) for host in table] == expected
