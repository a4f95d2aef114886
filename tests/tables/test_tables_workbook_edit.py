"""Writing into a workbook changes only cells of one sheet, checked by canonical XML and by openpyxl."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import canonicalize

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.worksheet.datavalidation import DataValidation

from netcheck.addr import Address
from netcheck.errors import PlanError
from netcheck.plan.read import read_plan
from netcheck.plan.write.addresses import with_addresses
from netcheck.tables.workbook_edit import sheet_with_cells, workbook_with_cells
from netcheck.tables.workbook_read import letters_of

NEW = Address.from_text("10.62.30.72")
ROWS: list[list[Any]] = [
    ["device", "interface", "subnet", "address", "mac"],
    ["filler-plc", "cpu", "packing", "10.62.30.70", "00-00-5E-00-53-30"],
    ["capper", "lan", "packing", None, "00-00-5E-00-53-31"],
]
SHEET = "xl/worksheets/sheet2.xml"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def workbook(path: Path, rows: list[list[Any]] = ROWS) -> Path:
    """Return a workbook with a merged heading, a selection list, a hidden sheet and a coloured tab."""
    made = openpyxl.Workbook()
    made.worksheets[0].title = "subnets"
    for row in (["name", "prefix"], ["packing", "10.62.30.0/24"]):
        made.worksheets[0].append(row)
    sheet = made.create_sheet("Interfaces")
    sheet.append(["Interfaces of the filler line"])
    sheet.merge_cells("A1:E1")
    for row in rows:
        sheet.append(row)
    choice = DataValidation(type="list", formula1='"packing,process"')
    choice.add("C3:C99")
    sheet.add_data_validation(choice)
    sheet.sheet_properties.tabColor = "1072BA"
    made.create_sheet("prices").sheet_state = "hidden"
    made.save(path)
    return path


def parts_of(data: bytes) -> dict[str, bytes]:
    """Return the parts of a zip archive."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def canonical(data: bytes) -> str:
    """Return a part in the canonical form of XML (C14N 2.0), made by the standard library."""
    return canonicalize(data.decode())


def packed(path: Path, parts: dict[str, bytes]) -> Path:
    """Write a zip archive of these parts."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def written(path: Path) -> dict[str, bytes]:
    """Return the parts of a workbook after an address was written."""
    (edit,) = with_addresses(path, {"capper/lan": NEW})
    edit.write()
    return parts_of(path.read_bytes())


def test_nothing_but_the_cell_changes(tmp_path: Path) -> None:
    """Pictures, macros, unknown parts and formulas with their values are kept byte for byte."""
    path = workbook(tmp_path / "p.xlsx")
    before = parts_of(path.read_bytes())
    formula = b'<c r="Z1"><f>1+1</f><v>2</v></c></row>'
    before[SHEET] = formula.join(before[SHEET].split(b"</row>", 1))
    before |= {"xl/media/photo.png": b"\x89PNG", "xl/vbaProject.bin": b"\0", "xl/charts/chart1.xml": b"<chart/>"}
    after = written(packed(path, before))
    assert [name for name in before if before[name] != after[name]] == [SHEET]
    old, new = canonical(before[SHEET]), canonical(after[SHEET])
    cell = '<c r="D4" t="inlineStr"><is><t>10.62.30.72</t></is></c>'
    assert (new.replace(cell, ""), formula.decode() in new) == (old, True)
    lan = read_plan(path).interface_named["capper/lan"]
    assert lan.address is not None
    assert lan.address.value == NEW


@pytest.mark.parametrize(
    ("row", "put", "expected"),
    [
        ('<c r="A2" s="1"/>', 1, '<c r="A2" s="1" t="inlineStr"><is><t>new</t></is></c>'),
        ("<c r='A2' t='s' s='1'><v>7</v></c>", 1, '<c r="A2" s="1" t="inlineStr"><is><t>new</t></is></c>'),
        (
            '<c r="A2" s="3"><v>1</v></c><c r="C2"/>',
            2,
            '<c r="A2" s="3"><v>1</v></c><c r="B2" s="3" t="inlineStr"><is><t>new</t></is></c><c r="C2"/>',
        ),
        ("<c><v>1</v></c><c><v>2</v></c>", 2, '<c><v>1</v></c><c t="inlineStr"><is><t>new</t></is></c>'),
        ("<c><v>1</v></c>", 28, '<c><v>1</v></c><c r="AB2" t="inlineStr"><is><t>new</t></is></c>'),
    ],
    ids=["empty", "shared", "between", "without-references", "behind"],
)
def test_cells_in_the_forms_of_other_programs(row: str, put: int, expected: str) -> None:
    """References and values may be missing, quotes single, elements empty (ECMA-376 part 1, section 18.3.1.4)."""
    head = f'<worksheet xmlns="{MAIN}" a=">"><sheetData><row r="1"/><row spans="1:3">'
    frame = f"{head}{{}}</row></sheetData></worksheet>"
    new = canonical(sheet_with_cells(frame.format(row).encode(), {(2, put): "new"}))
    whole = canonical(frame.format(expected).encode())
    assert new.replace(' spans="1:3"', "") == whole.replace(' spans="1:3"', "")


def test_elements_with_a_prefix_keep_it() -> None:
    """Some programs write every element with a prefix (Namespaces in XML 1.0, section 3)."""
    text = f'<x:worksheet xmlns:x="{MAIN}"><x:sheetData><x:row r="4"><x:c r="A4"/></x:row></x:sheetData></x:worksheet>'
    new = sheet_with_cells(text.encode(), {(4, 1): "a<b\xe9"})
    assert '<x:c r="A4" t="inlineStr"><x:is><x:t>a&lt;b\xe9</x:t></x:is></x:c>' in new.decode()


@pytest.mark.parametrize(
    ("part", "change", "words"),
    [
        (
            SHEET,
            lambda data: data.replace(b'<c r="E4"', b'<c r="D4"><f>A1</f><v>1</v></c><c r="E4"'),
            "D4 has a formula",
        ),
        ("_xmlsignatures/sig1.xml", lambda _: b"<x/>", "it is signed"),
    ],
    ids=["formula", "signed"],
)
def test_a_change_that_would_lose_content_is_refused(tmp_path: Path, part: str, change: Any, words: str) -> None:
    """The message has the change to make by hand; the file is not changed."""
    path = workbook(tmp_path / "p.xlsx")
    parts = parts_of(path.read_bytes())
    before = packed(path, parts | {part: change(parts.get(part, b""))}).read_bytes()
    with pytest.raises(PlanError, match=words) as caught:
        with_addresses(path, {"capper/lan": NEW})
    assert "Change by hand: capper/lan 10.62.30.72" in str(caught.value)
    assert path.read_bytes() == before


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_any_cells_read_back(data: st.DataObject) -> None:
    """openpyxl reads the new texts, and every other value is as before."""
    value = st.none() | st.integers(0, 9) | st.text("a<&>'\" \xe9", max_size=4).filter(str.strip)
    grid = data.draw(st.lists(st.lists(value, min_size=3, max_size=3), max_size=6))
    made = openpyxl.Workbook()
    sheet = made.worksheets[0]
    sheet.title = 'a & "b"'
    for line in grid:
        sheet.append(line)
    out = io.BytesIO()
    made.save(out)
    positions = st.tuples(st.integers(1, 9), st.integers(1, 5))
    cells: dict[tuple[int, int], Any] = data.draw(
        st.dictionaries(positions, st.text("x.<&1\xe9", min_size=1, max_size=5), min_size=1, max_size=4)
    )
    new = workbook_with_cells(out.getvalue(), sheet.title, cells)
    again = openpyxl.load_workbook(io.BytesIO(new)).worksheets[0]
    for at in ((row, column) for row in range(1, 10) for column in range(1, 6)):
        old = grid[at[0] - 1][at[1] - 1] if at[1] < 4 and at[0] <= len(grid) else None
        assert again.cell(*at).value == cells.get(at, old)


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("<x:sheetData/>", "<x:sheetData>{2}{5}</x:sheetData>"),
        ("<x:sheetData a='/>'></x:sheetData>", "<x:sheetData a='/>'>{2}{5}</x:sheetData>"),
        (
            '<x:sheetData><x:row r="3"/><x:row/></x:sheetData>',
            '<x:sheetData>{2}<x:row r="3"/><x:row/>{5}</x:sheetData>',
        ),
        ('<x:sheetData><x:row r="9"/></x:sheetData>', '<x:sheetData>{2}{5}<x:row r="9"/></x:sheetData>'),
    ],
    ids=["none", "none, open", "around", "before"],
)
def test_missing_rows_are_inserted_in_order(rows: str, expected: str) -> None:
    """Rows are in ascending order (ECMA-376 part 1, section 18.3.1.73); elements after them may have other prefixes."""
    frame = f'<x:worksheet xmlns:x="{MAIN}" xmlns:e="e">{{}}<e:ext/></x:worksheet>'
    new = canonical(sheet_with_cells(frame.format(rows).encode(), {(5, 2): "b", (2, 1): "a"}))
    made = '<x:row r="{}"><x:c r="{}" t="inlineStr"><x:is><x:t>{}</x:t></x:is></x:c></x:row>'
    filled = expected.replace("{2}", made.format(2, "A2", "a")).replace("{5}", made.format(5, "B5", "b"))
    assert new == canonical(frame.format(filled).encode())


def test_columns_have_letters() -> None:
    """Columns are A to Z, then AA (ECMA-376 part 1, section 18.18.62); the last one of a sheet is XFD, 16,384."""
    assert [letters_of(number) for number in (1, 26, 27, 702, 703, 16384)] == ["A", "Z", "AA", "ZZ", "AAA", "XFD"]
