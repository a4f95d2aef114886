"""Puts texts into cells of one sheet of a workbook (.xlsx), and rows that are missing; no other byte changes.

The sheet's XML is changed in place (ECMA-376 part 1, section 18.3.1): a cell keeps its style and gets an inline
string. So pictures, formulas with their stored values, lists, macros and whatever else a library would drop stay.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html import escape
from xml.etree import ElementTree
from xml.parsers import expat

from netcheck.tables.workbook_merged import column_of, letters_of, merged_in

_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_STRICT_RELATION = "{http://purl.oclc.org/ooxml/officeDocument/relationships}id"
# What belongs to the value of a cell; its place and style stay.
_VALUE_TYPE = re.compile(rb"\s(?:t|cm|vm)\s*=\s*(?:\"[^\"]*\"|'[^']*')")
_STYLE = re.compile(rb"\ss\s*=\s*(?:\"[0-9]+\"|'[0-9]+')")
_FORMULA = re.compile(rb"<(?:[\w.-]+:)?f[\s/>]")
_TAG = re.compile(rb"<(?:[^\"'>]|\"[^\"]*\"|'[^']*')*>")
_SPANS = re.compile(rb"\sspans\s*=\s*(?:\"[^\"]*\"|'[^']*')")

Cells = Mapping[tuple[int, int], str]  # by row and column, both counted from 1


def workbook_with_cells(data: bytes, sheet: str, cells: Cells) -> bytes:
    """The bytes of a workbook with these texts on a sheet, empty ones for cells without a value; ValueError where a
    cell holds a formula, or the workbook is signed."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        part = part_of(archive, sheet)
        return repacked(archive, {part: sheet_with_cells(archive.read(part), cells)})


def repacked(archive: zipfile.ZipFile, parts: Mapping[str, bytes]) -> bytes:
    """The bytes of a workbook with these parts put in the place of its own, or added; ValueError where it is signed."""
    if any(name.startswith("_xmlsignatures/") for name in archive.namelist()):
        raise ValueError("it is signed, and the signature would no longer fit")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as copy:
        for info in archive.infolist():
            copy.writestr(info, parts.get(info.filename, b"") or archive.read(info), info.compress_type)
        for name in parts.keys() - set(archive.namelist()):
            copy.writestr(name, parts[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def part_of(archive: zipfile.ZipFile, sheet: str) -> str:
    """The name of the part that holds a sheet, by the workbook's relations (ECMA-376 part 2, section 9.3)."""
    book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
    links = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    targets = {link.get("Id"): link.get("Target", "") for link in links}
    for entry in book.iterfind("./{*}sheets/{*}sheet"):
        if entry.get("name") == sheet:
            target = targets.get(entry.get(_RELATION) or entry.get(_STRICT_RELATION), "")
            return target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    raise ValueError(f"its sheet {sheet} is not where its list of sheets says")


@dataclass(frozen=True, slots=True)
class _Cell:
    """A cell's column and bytes: from its `<` to behind its start tag, and to behind its end tag."""

    column: int
    start: int
    inner: int
    end: int


@dataclass(slots=True)
class _Row:
    """A row's bytes as those of a cell, and its cells as they stand."""

    number: int
    start: int
    inner: int = 0
    close: int = 0
    cells: list[_Cell] = field(default_factory=list)


def sheet_with_cells(data: bytes, cells: Cells) -> bytes:
    """A sheet's XML with these texts."""
    wanted: dict[int, dict[int, str]] = {}
    for (row, column), text in cells.items():
        wanted.setdefault(row, {})[column] = text
    if hidden := [at for one in merged_in(data) for at in cells if one.hides(*at)]:
        raise ValueError(f"its cell {letters_of(hidden[0][1])}{hidden[0][0]} is hidden in merged cells")
    reader = _reader_of(data, set(wanted))
    edits = [edit for row in reader.rows for edit in _edits(data, row, wanted[row.number], reader.prefix)]
    edits += _new_rows(data, reader, wanted)
    parts, done = [], 0
    for start, end, new in sorted(edits, key=lambda edit: edit[0]):
        parts += [data[done:start], new]
        done = end
    return b"".join((*parts, data[done:]))


def _reader_of(data: bytes, wanted: set[int]) -> _Reader:
    if b"\0" in data:
        raise ValueError("its sheet is written in UTF-16")
    reader = _Reader(data, wanted)
    try:
        reader.read()
    except expat.ExpatError as error:
        raise ValueError(f"its sheet is no XML ({error})") from error
    return reader


class _Reader:
    """Follows a sheet's XML and notes where the wanted rows and their cells stand, and the missing ones belong."""

    def __init__(self, data: bytes, wanted: set[int]) -> None:
        self._data, self._wanted = data, wanted
        self._number = self._column = self._start = 0
        self._ahead = sorted(wanted, reverse=True)  # not met so far, the next one last
        self._row: _Row | None = None
        self.missing: list[tuple[int, int]] = []  # rows that are not there, and the place before which they belong
        self.start = self.inner = self.end = 0  # of the element that holds all rows, as of a cell; `end` is within it
        self.rows: list[_Row] = []
        self.prefix = b""

    def read(self) -> None:
        parser = expat.ParserCreate()
        self._parser = parser
        parser.StartElementHandler = self._begin
        parser.EndElementHandler = self._end
        parser.Parse(self._data, True)

    def _begin(self, name: str, attributes: dict[str, str]) -> None:
        prefix, _, local = name.rpartition(":")
        start = self._parser.CurrentByteIndex
        if local in ("row", "sheetData"):
            self.prefix = f"{prefix}:".encode() if prefix else b""
        if local == "sheetData":
            self.start, self.inner = start, tag_end(self._data, start)
        elif local == "row":
            self._number = int(attributes.get("r") or self._number + 1)
            self._column = 0
            self._meet(self._number, start)
            self._row = _Row(self._number, start, tag_end(self._data, start))
        elif local == "c" and self._row is not None:
            self._column = column_of(attributes.get("r", "")) or self._column + 1
            self._start = start

    def _meet(self, number: int, start: int) -> None:
        while self._ahead and self._ahead[-1] <= number:
            if (ahead := self._ahead.pop()) < number:
                self.missing.append((ahead, start))

    def _end(self, name: str) -> None:
        local = name.rpartition(":")[2]
        if local == "sheetData":
            self.end = self._parser.CurrentByteIndex
            self.missing += [(ahead, self.end) for ahead in reversed(self._ahead)]
        if self._row is None or local not in ("c", "row"):
            return
        at = self._parser.CurrentByteIndex
        if local == "row":
            self._row.close = at
            self.rows += [self._row] if self._number in self._wanted else []
            self._row = None
        elif self._number in self._wanted:
            inner = tag_end(self._data, self._start)
            alone = self._data[inner - 2 : inner] == b"/>"
            self._row.cells.append(_Cell(self._column, self._start, inner, inner if alone else tag_end(self._data, at)))


def tag_end(data: bytes, start: int) -> int:
    """The position behind a tag that begins at a position; a `>` in an attribute's value does not end it."""
    found = _TAG.match(data, start)
    if found is None:
        raise ValueError("its sheet cannot be taken apart")
    return found.end()


def _edits(data: bytes, row: _Row, texts: Mapping[int, str], prefix: bytes) -> Iterator[tuple[int, int, bytes]]:
    """The changes of one row: from where to where, and what is put there."""
    there = {cell.column: cell for cell in row.cells}
    if any(column not in there for column in texts):  # `spans` says how far the row reaches, and need not be there
        yield row.start, row.inner, _SPANS.sub(b"", data[row.start : row.inner])
    for column, text in sorted(texts.items()):
        value = _inline(text, prefix)
        if (cell := there.get(column)) is None:
            at = next((each.start for each in row.cells if each.column > column), row.close)
            head = f'c r="{letters_of(column)}{row.number}"'.encode() + _style_beside(data, row, column)
            yield at, at, b"<" + prefix + head + value
        else:
            old = data[cell.start : cell.end]
            if _FORMULA.search(old):
                raise ValueError(f"its cell {letters_of(column)}{row.number} holds a formula")
            head = _VALUE_TYPE.sub(b"", old[: cell.inner - cell.start])
            yield cell.start, cell.end, head.removesuffix(b">").removesuffix(b"/").rstrip() + value


def _new_rows(data: bytes, reader: _Reader, texts: Mapping[int, Mapping[int, str]]) -> Iterator[tuple[int, int, bytes]]:
    """The rows that are not there: from where to where, and what is put there; a sheet may have none at all."""
    prefix = reader.prefix
    for at in sorted({at for _, at in reader.missing}):
        rows = [_row(number, texts[number], prefix) for number, position in reader.missing if position == at]
        if data[reader.inner - 2 : reader.inner] == b"/>":
            head = data[reader.start : reader.inner - 2]
            yield reader.start, reader.inner, b"".join((head, b">", *rows, b"</", prefix, b"sheetData>"))
        else:
            yield at, at, b"".join(rows)


def _row(number: int, texts: Mapping[int, str], prefix: bytes) -> bytes:
    heads = ((f'c r="{letters_of(column)}{number}"'.encode(), text) for column, text in sorted(texts.items()))
    cells = b"".join(b"<" + prefix + head + _inline(text, prefix) for head, text in heads)
    return prefix.join((b"<", f'row r="{number}">'.encode() + cells + b"</", b"row>"))


def _inline(text: str, prefix: bytes) -> bytes:
    """What follows the place and style of a cell with an inline string (section 18.3.1.53), or without a value."""
    if not text:
        return b"/>"
    words = escape(text, quote=False).encode("ascii", "xmlcharrefreplace")
    parts = [b' t="inlineStr"><', b"is><", b"t>" + words + b"</", b"t></", b"is></", b"c>"]
    return prefix.join(parts)


def _style_beside(data: bytes, row: _Row, column: int) -> bytes:
    """The style of the nearest cell to the left, so that a new cell looks like its neighbour."""
    left = [cell for cell in row.cells if cell.column < column]
    style = _STYLE.search(data, left[-1].start, left[-1].inner) if left else None
    return style.group() if style else b""
