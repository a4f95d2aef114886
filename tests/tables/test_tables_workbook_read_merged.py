"""The value of a merged cell counts for all its rows, in plans, in surveys and when addresses are written."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address
from netcheck.errors import PlanError
from netcheck.plan.model import Position, SurveyEntry
from netcheck.plan.read import read_plan
from netcheck.plan.write.addresses import with_addresses
from netcheck.survey.read import read_survey
from netcheck.tables.delimited import Record
from netcheck.tables.workbook_read import MOST_FILLED, MOST_RANGES, Merged, filled, merged_in, opened

NEW = Address.from_text("10.62.30.72")


def workbook(path: Path, *merged: str) -> Path:
    """Return a plan whose second device has three interfaces, the last one after an empty row."""
    made = openpyxl.Workbook()
    made.worksheets[0].title = "subnets"
    made.worksheets[0].append(["name", "prefix"])
    made.worksheets[0].append(["packing", "10.62.30.0/24"])
    sheet = made.create_sheet("interfaces")
    for row in (
        ["device", "interface", "subnet", "address"],
        ["capper", "lan", "packing", "10.62.30.60"],
        ["filler-plc", "cpu", "packing", "10.62.30.70"],
        [None, "cm-1", None, "10.62.30.71"],
        [],
        [None, "cm-2", None, None],
        ["labeller", "lan", "packing", "10.62.30.80"],
    ):
        sheet.append(row)
    for cells in merged:
        sheet.merge_cells(cells)
    made.save(path)
    return path


def test_a_merged_device_has_all_its_rows(tmp_path: Path) -> None:
    """An empty row among them stays empty; an address is written into the row of its interface."""
    path = workbook(tmp_path / "p.xlsx", "A3:A6", "C3:C6")
    assert list(read_plan(path).interface_named) == [
        "capper/lan", "filler-plc/cpu", "filler-plc/cm-1", "filler-plc/cm-2", "labeller/lan",
    ]  # fmt: skip
    (edit,) = with_addresses(path, {"filler-plc/cm-2": NEW})
    edit.write()
    addresses = {subject: one.address for subject, one in read_plan(path).interface_named.items()}
    found = addresses["filler-plc/cm-2"]
    assert found is not None
    assert found.value == NEW
    sheet = openpyxl.load_workbook(path)["interfaces"]
    assert sorted(map(str, sheet.merged_cells.ranges)) == ["A3:A6", "C3:C6"]
    assert [sheet["D6"].value, sheet["D4"].value, sheet["A6"].value] == ["10.62.30.72", "10.62.30.71", None]


@pytest.mark.parametrize(
    ("subject", "words"),
    [("filler-plc/cm-2", "its cell D6 is hidden in merged cells"), ("filler-plc/cpu", "another value would change")],
    ids=["hidden", "shown"],
)
def test_no_address_is_written_into_merged_cells(subject: str, words: str, tmp_path: Path) -> None:
    """The address would be hidden, or it would also count for other rows."""
    path = workbook(tmp_path / "p.xlsx", "A3:A6", "C3:C6", "D3:D6")
    before = path.read_bytes()
    with pytest.raises(PlanError, match=words):
        with_addresses(path, {subject: NEW})
    assert path.read_bytes() == before


def test_a_merged_value_in_a_survey_counts_for_all_its_rows(tmp_path: Path) -> None:
    """Two addresses get the name of one merged cell."""
    made = openpyxl.Workbook()
    sheet = made.worksheets[0]
    for row in (["Name", "IP address"], ["camera", "192.0.2.5"], [None, "192.0.2.6"], ["printer", "192.0.2.7"]):
        sheet.append(row)
    sheet.merge_cells("A2:A3")
    made.save(tmp_path / "list.xlsx")
    hosts = read_survey(SurveyEntry(file="list.xlsx", position=Position("plan.toml")), tmp_path).hosts
    assert [(str(host.address), host.name) for host in hosts] == [
        ("192.0.2.5", "camera"), ("192.0.2.6", "camera"), ("192.0.2.7", "printer"),
    ]  # fmt: skip


cells = st.lists(st.sampled_from(["", "a", "b"]), max_size=4).map(tuple)


@given(st.lists(cells, max_size=8), st.lists(st.tuples(*[st.integers(1, 9)] * 4), max_size=4))
def test_only_empty_cells_are_filled(rows: list[tuple[str, ...]], ranges: list[tuple[int, int, int, int]]) -> None:
    """A filled cell is kept; an empty one gets the value of the first row of its range."""
    records = [Record(number, row) for number, row in enumerate(rows, 1)]
    merged = [Merged(*one) for one in ranges]
    for old, new in zip(records, filled(records, merged), strict=True):
        assert new.cells[: len(old.cells)] == tuple(a or b for a, b in zip(old.cells, new.cells, strict=False))
        for column, text in enumerate(new.cells, 1):
            if text and old.cells[column - 1 : column] != (text,):
                tops = [
                    rows[one.first - 1] for one in merged if one.column == column and one.first < new.row <= one.last
                ]
                assert text in [top[column - 1] for top in tops if len(top) >= column]


def test_ranges_without_end_are_refused(tmp_path: Path) -> None:
    """A great number or size of ranges does not fill the memory."""
    with pytest.raises(ValueError, match="more than 100,000 ranges"):
        list(merged_in(b'<mergeCell ref="A1:A2"/>' * (MOST_RANGES + 1)))
    whole = Merged(1, 16384, 1 << 20, 16384)
    wide = (Record(number, ("",) * 16383 + ("x",)) for number in range(1, 1 << 20))
    with pytest.raises(ValueError, match="contain more than 20,000,000 cells"):
        for _ in filled(wide, [whole]):
            pass
    assert MOST_FILLED // 16384 < 1 << 20
    path = workbook(tmp_path / "p.xlsx", "A3:A6")
    with opened(path) as book:
        assert [record.cells[0] for record in book.records("interfaces")][2:5] == ["filler-plc"] * 3
