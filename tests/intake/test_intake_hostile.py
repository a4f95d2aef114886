"""Hostile device lists are refused with a message, or read within bounds and shown without control codes."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import openpyxl
import pytest

from netcheck.errors import UsageError
from netcheck.intake.device_list import intake_from, plan_files, sheets_of, to_text
from netcheck.plan.write.new_plan import workbook_of

SHEET = "xl/worksheets/sheet1.xml"
OPEN = b'<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
CLOSE = b"</sheetData></worksheet>"


def with_sheet(path: Path, sheet: bytes) -> Path:
    """Write a workbook whose first sheet is this part."""
    whole = io.BytesIO()
    openpyxl.Workbook().save(whole)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, sheet if name == SHEET else old.read(name))
    return path


def cell(place: str, text: str) -> bytes:
    """Return the XML of a cell with a text."""
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'.encode()


ENTITIES = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
BOMBS = {
    "entities": OPEN.replace(b"?>", b"?>" + ENTITIES, 1) + b'<row r="1">' + cell("A1", "&b;") + b"</row>" + CLOSE,
    "nested": OPEN + b'<row r="1">' + b"<c>" * 50_000 + b"</c>" * 50_000 + b"</row>" + CLOSE,
    "cut": OPEN + b'<row r="1">' + cell("A1", "Tag"),
    "zeros": b"\0" * 5000,
}


def assert_refused(path: Path) -> None:
    """Assert that a list is refused with one message that has its name and says what to do."""
    with pytest.raises(UsageError) as caught:
        intake_from([path], {})
    (problem,) = caught.value.problems
    assert problem.where == str(path)
    assert problem.do


@pytest.mark.timeout(60)
@pytest.mark.parametrize("sheet", BOMBS.values(), ids=BOMBS)
def test_a_hostile_workbook_is_refused(tmp_path: Path, sheet: bytes) -> None:
    """Each hostile form of a sheet is refused."""
    assert_refused(with_sheet(tmp_path / "list.xlsx", sheet))


def test_a_small_workbook_of_70_mib_is_refused(tmp_path: Path) -> None:
    """The file has only some kilobytes before it is unpacked."""
    path = with_sheet(tmp_path / "list.xlsx", OPEN + b'<row r="1">' + cell("A1", "A" * (70 << 20)) + b"</row>" + CLOSE)
    assert path.stat().st_size < 1 << 20
    assert_refused(path)


def test_a_merged_range_over_the_whole_sheet(tmp_path: Path) -> None:
    """A cell in the last row and column and a merged range take no memory for the cells between them."""
    rows = b'<row r="1">' + cell("A1", "Tag") + cell("B1", "IP") + b'</row><row r="2">' + cell("A2", "plc")
    rows += cell("B2", "10.0.0.5") + b'</row><row r="1048576">' + cell("XFD1048576", "x") + b"</row></sheetData>"
    merged = b'<mergeCells count="1"><mergeCell ref="C1:XFD1048576"/></mergeCells></worksheet>'
    found = intake_from([with_sheet(tmp_path / "list.xlsx", OPEN + rows + merged)], {})
    assert found.interfaces[0].interface.address == "10.0.0.5"


TEXTS = {
    "NUL bytes": b"Tag,IP\na\x00b,10.0.0.5\n",
    "a cell of 2 MiB": b'Tag,IP,Remark\na,10.0.0.5,"' + b"A" * (2 << 20) + b'"\n',
    "more than 100,000 rows": b"Tag,IP\n" + b"a,10.0.0.5\n" * 100_001,
}


@pytest.mark.parametrize("data", TEXTS.values(), ids=TEXTS)
def test_a_hostile_text_is_refused(tmp_path: Path, data: bytes) -> None:
    """The message has the name of the file and says what to do."""
    (tmp_path / "list.csv").write_bytes(data)
    with pytest.raises(UsageError, match=r"list\.csv: it ") as caught:
        intake_from([tmp_path / "list.csv"], {})
    assert caught.value.problems[0].do


@pytest.mark.timeout(60)
def test_a_row_of_100_000_columns(tmp_path: Path) -> None:
    """Every column is kept under its title, in a table that `csv` reads back."""
    width = 100_000
    head = ",".join(("Tag", "IP", *(f"c{n}" for n in range(width))))
    (tmp_path / "list.csv").write_text(f"{head}\nplc,10.0.0.5,{','.join('x' * width)}\n")
    found = intake_from([tmp_path / "list.csv"], {})
    assert len(found.interfaces[0].interface.extra) == width
    titles, row = csv.reader(io.StringIO(plan_files(found)["interfaces.csv"]))
    assert dict(zip(titles, row, strict=True))["c99999"] == "x"
    assert len(to_text(found)) < 100_000


CONTROLS = "\x1b[31mred\x1b]0;title\x07\u202egnp\x9b31m"
FORMULA = '=HYPERLINK("http://plant.example","x")'


def test_escapes_and_formulas_have_no_effect(tmp_path: Path) -> None:
    """Titles, tags, remarks and sheet names reach a terminal or a spreadsheet only as harmless text."""
    titles = ["Tag", "IP", "Remark", CONTROLS, FORMULA]
    lines = [titles, [FORMULA, "10.0.0.5", CONTROLS, FORMULA, "-1"], [CONTROLS, CONTROLS, FORMULA, "+1", "@x"]]
    with (tmp_path / "list.csv").open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows(lines)
    found = intake_from([tmp_path / "list.csv"], {})
    texts = [to_text(found), *plan_files(found).values()]
    assert not any(character in text for text in texts for character in "\x1b\x07\x9b\u202e")
    cells = [text for row in csv.reader(io.StringIO(plan_files(found)["interfaces.csv"])) for text in row]
    assert not any(text.startswith(("=", "+", "-", "@")) for text in cells)
    made = openpyxl.load_workbook(io.BytesIO(workbook_of(sheets_of(found), ["too-near"])))
    assert not any(one.data_type == "f" for sheet in made for row in sheet.iter_rows() for one in row)
