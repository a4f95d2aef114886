"""Puts an empty sheet into a workbook (.xlsx); every part stays as it was but for the three that list its sheets."""

from __future__ import annotations

import io
import re
import zipfile
from itertools import count
from xml.sax.saxutils import quoteattr

from netcheck.tables.workbook_edit import repacked

# The namespaces of ECMA-376 part 1, and of its strict form (section 2.1).
_LOOSE = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_MAIN = {
    False: "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    True: "http://purl.oclc.org/ooxml/spreadsheetml/main",
}
_LINKS = {
    False: "http://schemas.openxmlformats.org/officeDocument/2006/relationships",
    True: "http://purl.oclc.org/ooxml/officeDocument/relationships",
}
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
_BOOK, _RELATIONS, _TYPES = "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml"
_SHEET_NUMBER = re.compile(rb"\ssheetId\s*=\s*[\"']([0-9]{1,9})[\"']")


def workbook_with_sheet(data: bytes, name: str) -> bytes:
    """The bytes of a workbook with an empty sheet of this name behind its others; ValueError where its list of sheets
    cannot be taken apart, or it is signed."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        book, relations, types = (archive.read(part) for part in (_BOOK, _RELATIONS, _TYPES))
        strict = _LOOSE not in book
        part = next(each for n in count(1) if (each := f"xl/worksheets/sheet{n}.xml") not in archive.namelist())
        link = next(each for n in count(1) if (each := f"rId{n}").encode() not in relations)
        number = max(map(int, _SHEET_NUMBER.findall(book)), default=0) + 1
        sheet = f'<?xml version="1.0" encoding="UTF-8"?>\n<worksheet xmlns="{_MAIN[strict]}"><sheetData/></worksheet>'
        entry = f'sheet xmlns:r="{_LINKS[strict]}" name={quoteattr(name)} sheetId="{number}" r:id="{link}"/>'
        relation = f'Relationship Id="{link}" Type="{_LINKS[strict]}/worksheet" Target="/{part}"/>'
        override = f'Override PartName="/{part}" ContentType="{_TYPE}"/>'
        return repacked(
            archive,
            {
                part: sheet.encode(),
                _BOOK: _with_last(book, "sheets", entry),
                _RELATIONS: _with_last(relations, "Relationships", relation),
                _TYPES: _with_last(types, "Types", override),
            },
        )


def _with_last(data: bytes, parent: str, child: str) -> bytes:
    """An XML part with one more element in one that is there once, its names with the same prefix."""
    ends = list(re.finditer(rb"</((?:[\w.-]+:)?)" + parent.encode() + rb"\s*>", data))
    if len(ends) != 1:
        raise ValueError("its list of sheets cannot be taken apart")
    at = ends[0].start()
    return data[:at] + b"<" + ends[0][1] + child.encode("ascii", "xmlcharrefreplace") + data[at:]
