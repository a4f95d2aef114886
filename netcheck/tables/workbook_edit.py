"""Writes texts into cells of a workbook (.xlsx), adds missing rows and sheets, and changes nothing else.

Only the parts that change are parsed (ECMA-376 part 1, section 18.3.1); every other part is copied byte for byte.
Pictures, macros, formulas with their stored values and everything else that openpyxl would drop are thus kept.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Mapping
from itertools import count
from typing import TYPE_CHECKING

from netcheck.tables.workbook_read import Merged, column_of, letters_of

if TYPE_CHECKING:
    from lxml.etree import _Element

_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_STRICT_OFFICE = "http://purl.oclc.org/ooxml/officeDocument/relationships"  # the strict form (section 2.1)
_SHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
_BOOK, _RELATIONS, _TYPES = "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml"
_VALUE_ATTRIBUTES = ("t", "cm", "vm")  # attributes of a cell's value; its reference and style are kept
_SPACE = "{http://www.w3.org/XML/1998/namespace}space"

Cells = Mapping[tuple[int, int], str]  # by row and column, both counted from 1


def workbook_with_cells(data: bytes, sheet: str, cells: Cells) -> bytes:
    """Return the workbook with these texts on a sheet; an empty text empties the cell.

    ValueError if a cell has a formula or is hidden in merged cells, or if the workbook is signed.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        part = _part_of(archive, sheet)
        return _repacked(archive, {part: sheet_with_cells(archive.read(part), cells)})


def workbook_with_sheet(data: bytes, name: str) -> bytes:
    """Return the workbook with an empty sheet of this name after its other sheets; ValueError if it is signed."""
    from lxml import etree

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        book, relations, types = (_parsed(archive.read(part)) for part in (_BOOK, _RELATIONS, _TYPES))
        sheets = next(iter(book.iterfind("{*}sheets")), None)
        if sheets is None:
            raise ValueError("it has no list of sheets")
        main = str(etree.QName(book).namespace)
        office = _STRICT_OFFICE if "purl.oclc.org" in main else _OFFICE
        part = next(each for n in count(1) if (each := f"xl/worksheets/sheet{n}.xml") not in archive.namelist())
        links = {link.get("Id") for link in relations}
        link = next(each for n in count(1) if (each := f"rId{n}") not in links)
        number = max((int(sheet.get("sheetId", "0")) for sheet in sheets), default=0) + 1
        entry = {"name": name, "sheetId": str(number), f"{{{office}}}id": link}
        _added(sheets, "sheet", entry)
        _added(relations, "Relationship", {"Id": link, "Type": f"{office}/worksheet", "Target": f"/{part}"})
        _added(types, "Override", {"PartName": f"/{part}", "ContentType": _SHEET_TYPE})
        sheet = _parsed(f'<worksheet xmlns="{main}"><sheetData/></worksheet>'.encode())
        parts = {part: sheet, _BOOK: book, _RELATIONS: relations, _TYPES: types}
        return _repacked(archive, {name: _bytes_of(root) for name, root in parts.items()})


def sheet_with_cells(data: bytes, cells: Cells) -> bytes:
    """Return a sheet's XML with these texts; ValueError if a cell cannot be changed."""
    sheet = _parsed(data)
    rows = next(iter(sheet.iterfind("{*}sheetData")), None)
    if rows is None:
        raise ValueError("its sheet has no element for rows")
    if hidden := [at for one in _merged(sheet) for at in cells if one.hides(*at)]:
        raise ValueError(f"its cell {letters_of(hidden[0][1])}{hidden[0][0]} is hidden in merged cells")
    wanted: dict[int, dict[int, str]] = {}
    for (row, column), text in sorted(cells.items()):
        wanted.setdefault(row, {})[column] = text
    for number, element in _numbered_rows(rows, wanted):
        _put(element, number, wanted[number])
    return _bytes_of(sheet)


def _parsed(data: bytes) -> _Element:
    from lxml import etree  # only to write a workbook

    try:
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
        return etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise ValueError(f"one of its parts is not XML ({error})") from error


def _bytes_of(root: _Element) -> bytes:
    out, tree = io.BytesIO(), root.getroottree()
    tree.write(out, xml_declaration=True, encoding="UTF-8", standalone=bool(tree.docinfo.standalone))
    return out.getvalue()


def _repacked(archive: zipfile.ZipFile, parts: Mapping[str, bytes]) -> bytes:
    """Return the workbook with these parts replaced or added; ValueError if it is signed."""
    if any(name.startswith("_xmlsignatures/") for name in archive.namelist()):
        raise ValueError("it is signed, and a change would break the signature")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as copy:
        for info in archive.infolist():
            copy.writestr(info, parts.get(info.filename, b"") or archive.read(info), info.compress_type)
        for name in parts.keys() - set(archive.namelist()):
            copy.writestr(name, parts[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _part_of(archive: zipfile.ZipFile, sheet: str) -> str:
    """Return the name of a sheet's part from the workbook's relationships (ECMA-376 part 2, section 9.3)."""
    targets = {link.get("Id"): link.get("Target", "") for link in _parsed(archive.read(_RELATIONS))}
    for entry in _parsed(archive.read(_BOOK)).iterfind("{*}sheets/{*}sheet"):
        if entry.get("name") == sheet:
            link = entry.get(f"{{{_OFFICE}}}id") or entry.get(f"{{{_STRICT_OFFICE}}}id")
            target = targets.get(link, "")
            return target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    raise ValueError(f"its list of sheets gives no file for the sheet {sheet}")


def _merged(sheet: _Element) -> Iterator[Merged]:
    for cell in sheet.iterfind("{*}mergeCells/{*}mergeCell"):
        if one := Merged.from_text(cell.get("ref", "")):
            yield one


def _numbered_rows(rows: _Element, wanted: Mapping[int, object]) -> Iterator[tuple[int, _Element]]:
    """Yield the wanted rows with their numbers; missing rows are inserted in ascending order (section 18.3.1.73)."""
    waiting = sorted(wanted, reverse=True)
    number = 0
    for element in list(rows.iterfind("{*}row")):
        number = int(element.get("r") or number + 1)
        while waiting and waiting[-1] < number:
            missing = _element(rows, "row", {"r": str(waiting[-1])})
            element.addprevious(missing)
            yield waiting.pop(), missing
        if waiting and waiting[-1] == number:
            yield waiting.pop(), element
    while waiting:
        yield waiting[-1], _added(rows, "row", {"r": str(waiting.pop())})


def _put(row: _Element, number: int, texts: Mapping[int, str]) -> None:
    """Write the texts of one row; a new cell gets the style of the cell to its left."""
    columns: dict[int, _Element] = {}
    column = 0
    for cell in row.iterfind("{*}c"):
        column = column_of(cell.get("r", "")) or column + 1
        columns[column] = cell
    for column, text in texts.items():
        if column not in columns:
            columns[column] = _new_cell(row, number, column, columns)
        _set(columns[column], f"{letters_of(column)}{number}", text)


def _new_cell(row: _Element, number: int, column: int, columns: Mapping[int, _Element]) -> _Element:
    _remove_attributes(row, "spans")  # the optional extent of the row, which the new cell may exceed
    cell = _element(row, "c", {"r": f"{letters_of(column)}{number}"})
    left = max((each for each in columns if each < column), default=0)
    if left and (style := columns[left].get("s")):
        cell.set("s", style)
    if right := min((each for each in columns if each > column), default=0):
        columns[right].addprevious(cell)
    elif left:
        columns[left].addnext(cell)
    else:
        row.insert(0, cell)
    return cell


def _set(cell: _Element, reference: str, text: str) -> None:
    """Replace the value of a cell with an inline string (section 18.3.1.53); ValueError if it has a formula."""
    if any(True for _ in cell.iterfind("{*}f")):
        raise ValueError(f"its cell {reference} has a formula")
    _remove_attributes(cell, *_VALUE_ATTRIBUTES)
    for child in [*cell.iterfind("{*}v"), *cell.iterfind("{*}is")]:
        cell.remove(child)
    if text:
        cell.set("t", "inlineStr")
        inline = _element(cell, "is", {})
        cell.insert(0, inline)
        words = _added(inline, "t", {_SPACE: "preserve"} if text != text.strip() else {})
        words.text = text


def _remove_attributes(element: _Element, *attributes: str) -> None:
    for name in attributes:
        if name in element.attrib:
            del element.attrib[name]


def _named(near: _Element, name: str) -> str:
    """Return a qualified name in the namespace of an element."""
    from lxml import etree

    return f"{{{etree.QName(near).namespace}}}{name}"


def _element(near: _Element, name: str, attributes: Mapping[str, str]) -> _Element:
    return near.makeelement(_named(near, name), dict(attributes))


def _added(parent: _Element, name: str, attributes: Mapping[str, str]) -> _Element:
    child = _element(parent, name, attributes)
    parent.append(child)
    return child
