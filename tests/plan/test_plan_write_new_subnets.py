"""New subnets are added to a plan in each of its forms, and nothing else in it changes."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from netcheck.addr import Address, Prefix
from netcheck.errors import PlanError
from netcheck.plan.read import read_plan
from netcheck.plan.write.new_plan import workbook_of
from netcheck.plan.write.new_subnets import table_with_subnets, with_subnets
from netcheck.rules.catalogue import RULES

NEW = [
    ("packing", Prefix.from_text("10.62.0.0/26"), Address.from_text("10.62.0.1")),
    ("=F1", Prefix.from_text("2001:db8::/64"), Address.from_text("2001:db8::1")),
]
TABLE = "Gateway;Name;Hall;prefix;vlan\r\n10.62.20.1;process; north ;10.62.20.0/24;620\r\n"


def subnets_of(path: Path) -> list[tuple[str, str, str]]:
    """Return name, prefix and gateway of each subnet."""
    subnets = read_plan(path).subnets
    return [(one.name, one.prefix.text, one.gateway.text if one.gateway else "") for one in subnets]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_csv_table_of_subnets_gets_rows(tmp_path: Path, encoding: str) -> None:
    """The rows follow the last row, with the file's columns, delimiter, encoding and line ends."""
    (tmp_path / "plan.toml").write_text('format = 1\nsubnets = "subnets.csv"\n[site]\nname = "x"\n', "utf-8")
    table = tmp_path / "subnets.csv"
    table.write_bytes(TABLE.replace("north", "h\u00f6he").encode(encoding))
    before = table.read_bytes()
    edit = with_subnets(tmp_path, NEW)
    assert edit.path == table
    assert edit.data.startswith(before)
    edit.write()
    assert subnets_of(tmp_path) == [
        ("process", "10.62.20.0/24", "10.62.20.1"),
        ("packing", "10.62.0.0/26", "10.62.0.1"),
        ("=F1", "2001:db8::/64", "2001:db8::1"),
    ]


@pytest.mark.parametrize("end", ["", "\n", "\r\n"])
def test_a_last_row_without_line_end(end: str) -> None:
    """The new row begins on a line of its own."""
    text = f"name,prefix,gateway{end or chr(10)}a,10.0.0.0/24,{end}"
    new = table_with_subnets(text.encode(), NEW[:1]).decode()
    assert new.splitlines() == ["name,prefix,gateway", "a,10.0.0.0/24,", "packing,10.62.0.0/26,10.62.0.1"]


@pytest.mark.parametrize("titled", [True, False], ids=["with its sheet", "without it"])
def test_a_workbook_gets_rows(tmp_path: Path, titled: bool) -> None:
    """The rows are added to its sheet of subnets; existing rows, further columns and sheets are kept."""
    rows = [{"name": "process", "prefix": "10.62.20.0/24", "gateway": "10.62.20.1"}]
    sheets = {"site": [{"key": "name", "value": "x"}], "subnets": rows}
    path = tmp_path / "plan.xlsx"
    path.write_bytes(workbook_of(sheets, [rule.slug for rule in RULES]))
    book = openpyxl.load_workbook(path)
    book.create_sheet("Notes").append(["keep me"])
    if not titled:
        del book["subnets"]
    else:
        book["subnets"]["AD1"], book["subnets"]["AD2"] = "Hall", "north"
    book.save(path)
    with_subnets(path, NEW).write()
    kept = [("process", "10.62.20.0/24", "10.62.20.1")] if titled else []
    assert subnets_of(path) == [
        *kept, ("packing", "10.62.0.0/26", "10.62.0.1"), ("=F1", "2001:db8::/64", "2001:db8::1")
    ]  # fmt: skip
    after = openpyxl.load_workbook(path)
    assert after["Notes"]["A1"].value == "keep me"
    assert not titled or (after["subnets"]["AD1"].value, after["subnets"]["AD2"].value) == ("Hall", "north")


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("name,prefix\na,10.0.0.0/24\n", "it has no column gateway. Add the subnets by hand"),
        ("name,prefix,gateway\npacking,10.0.0.0/24,\n", "subnet 'packing' exists already"),
    ],
    ids=["no column", "name there"],
)
def test_subnets_that_cannot_be_added_are_refused(tmp_path: Path, table: str, words: str) -> None:
    """The message says what to do, and nothing is written."""
    (tmp_path / "plan.toml").write_text('format = 1\nsubnets = "subnets.csv"\n[site]\nname = "x"\n', "utf-8")
    (tmp_path / "subnets.csv").write_text(table, "utf-8")
    with pytest.raises(PlanError) as caught:
        with_subnets(tmp_path, NEW)
    assert words in str(caught.value)
