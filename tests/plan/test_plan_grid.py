"""A table without faults gives the same interfaces by columns and by rows; any other table is read by rows."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.errors import Problem
from netcheck.plan.build import build
from netcheck.plan.entries import Entry, Grid, Rows, Tables
from netcheck.plan.forms.csv_table import entries_of, grid_of, required_of, title_of
from netcheck.plan.model import Interface, Position
from netcheck.plan.shapes import InterfaceRow
from netcheck.tables.delimited import columns_of, records_of

TITLES = (
    *("device", "interface", "subnet", "address", "mask", "gateway", "mac", "host-name", "switch-port", "ports"),
    *("kind", "place", "slot", "behind", "granted", "address6", "mask6", "gateway6", "subnet6"),
)
CELLS = (
    *("plc", "cpu", "hall", "10.0.0.5", "10.0.0.05", "255.255.255.0", "/24", "00-00-5E-00-53-21", "0000.5e00.5321"),
    *("", " ", " plc ", "fe80::1", "fe80::1%2", "2001:db8::5", "/64", "1;2", "1 2", ";", '"plc"', '"a,b"', 'a"b', "7"),
)


def table(titles: list[str], rows: list[list[str]]) -> list[str]:
    """Return the lines of a table."""
    return [",".join(cells) + "\r\n" for cells in (titles, *rows)]


tables = st.builds(
    lambda titles, rows: table(
        [*TITLES[:3], *titles], [cells[: len(titles) + 3] if full else cells for cells, full in rows]
    ),
    st.lists(st.sampled_from(TITLES[3:]), max_size=6, unique=True),
    st.lists(
        st.tuples(
            st.lists(st.sampled_from(CELLS), min_size=9, max_size=9),
            st.booleans() | st.just(True) | st.just(True) | st.just(True),
        ),
        max_size=4,
    ),
)


def by_columns(lines: list[str]) -> Grid | None:
    """Return the table as a grid, or None if it has a fault."""
    columns = {title_of(cells[0]): cells[1:] for cells in columns_of("".join(lines), ",") or ()}
    return grid_of(columns, required_of(InterfaceRow), "t.csv") if columns else None


def by_rows(lines: list[str]) -> tuple[tuple[Entry, ...], list[Problem]]:
    """Return the entries of the same table read row by row, and their problems."""
    problems: list[Problem] = []
    records = list(records_of(lines, ","))
    problems += [Problem(record.fault) for record in records if record.fault]
    return entries_of([one for one in records if not one.empty], InterfaceRow, "t.csv", problems), problems


def made(rows: Rows) -> tuple[tuple[Interface, ...], list[Problem]]:
    """Return the interfaces of a table, and their problems."""
    problems: list[Problem] = []
    position = Position("plan.toml")
    subnets = (
        Entry(data={"name": "hall", "prefix": "10.0.0.0/24"}, position=position),
        Entry(data={"name": "cpu", "prefix": "2001:db8::/64"}, position=position),
    )
    return build(
        Tables(site=Entry(data={"name": "x"}, position=position), subnets=subnets, interfaces=rows), problems
    ).interfaces, problems


@settings(deadline=None)
@given(tables)
def test_a_clean_table_gives_the_same_both_ways(lines: list[str]) -> None:
    """Both give equal interfaces and no problem."""
    grid = by_columns(lines)
    entries, problems = by_rows(lines)
    if grid is not None:
        assert problems == []
        assert [(made((one,)), one.position) for one in grid] == [(made((one,)), one.position) for one in entries]
        assert made(grid) == made(entries)
        assert made(grid)[1] == []


CLEAN = table(["device", "interface", "subnet", "ports"], [["plc", "cpu", "hall", "1 2"], ["plc", "lan", "hall", ""]])


def test_a_clean_table_is_read_by_columns() -> None:
    """Lists, empty cells and closed quotes are no faults."""
    grid = by_columns(CLEAN)
    assert grid is not None
    interfaces, problems = made(grid)
    assert problems == []
    assert [(each.subject, each.ports, str(each.position)) for each in interfaces] == [
        ("plc/cpu", ("1", "2"), "t.csv: row 2"),
        ("plc/lan", ("1",), "t.csv: row 3"),
    ]
    assert by_columns([line.replace("plc", '"plc, old"') for line in CLEAN]) is not None


@pytest.mark.parametrize(
    "line",
    [
        "plc,x,hall\n",
        "plc,x,hall,1,\n",
        "plc,,hall,1\n",
        "plc,x,hall,;\n",
        "\n",
        'plc,"x\ny",hall,1\n',
        '"plc,x,hall,1\n',
    ],
    ids=["short", "long", "empty cell", "empty list", "empty row", "two lines", "open quotes"],
)
def test_a_table_with_a_fault_is_read_by_rows(line: str) -> None:
    """One row that needs a message is enough."""
    assert by_columns([*CLEAN, *line.splitlines(keepends=True)]) is None
