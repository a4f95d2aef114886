"""Writes addresses into a CSV table of interfaces; every other byte is kept."""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice

from netcheck.plan.forms.csv_table import delimiter_of, title_of
from netcheck.plan.shape_problems import keys_of
from netcheck.plan.shapes import InterfaceRow
from netcheck.tables.delimited import Record, encoding_of, lines_of, records_of
from netcheck.tables.formula_guard import unguarded

_MARKS = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be", codecs.BOM_UTF8: "utf-8"}


def table_with_addresses(data: bytes, wanted: Mapping[str, str], key: str = "address") -> tuple[bytes, set[str]]:
    """Return the table's bytes with these addresses, and the subjects that it holds; ValueError where another value
    would change.
    """
    mark = next((one for one in _MARKS if data.startswith(one)), b"")
    encoding = _MARKS.get(mark) or encoding_of(io.BytesIO(data))
    text = data[len(mark) :].decode(encoding)
    new, held = text_with_addresses(text, wanted, key)
    return mark + new.encode(encoding), held


def text_with_addresses(text: str, wanted: Mapping[str, str], key: str = "address") -> tuple[str, set[str]]:
    """Return the table's text with these addresses, and the subjects that it holds."""
    lines = _lines(text)
    delimiter = delimiter_of(lines, keys_of(InterfaceRow))
    records = list(records_of(lines, delimiter))
    subjects, column, titled = _subjects(records, key)
    values = {row: wanted[subject] for row, subject in subjects.items() if subject in wanted}
    held = set(subjects.values()) & set(wanted)
    if values and not titled:
        values[next(record.row for record in records if not record.empty)] = key
    source = iter(lines)
    raw = {record.row: "".join(islice(source, record.lines)) for record in records}
    new = "".join(_with_cell(raw[row], delimiter, column, values[row]) if row in values else raw[row] for row in raw)
    expected = [_put(one.cells, column, values[one.row]) if one.row in values else one.cells for one in records]
    if list(map(_stripped, expected)) != [_stripped(one.cells) for one in records_of(_lines(new), delimiter)]:
        raise ValueError("another value would change with it")
    return new, held


def _lines(text: str) -> list[str]:
    return list(lines_of(io.StringIO(text, newline="")))


def _stripped(cells: Sequence[str]) -> list[str]:
    return [cell.strip() for cell in cells]


def _subjects(records: Sequence[Record], key: str) -> tuple[dict[int, str], int, bool]:
    """Return each row's subject, the column of the key, and whether that column exists."""
    filled = [record for record in records if not record.empty]
    titles = [title_of(cell) for cell in filled[0].cells] if filled else []
    titled = key in titles
    column = titles.index(key) if titled else len(titles)
    return {record.row: _subject(titles, record.cells) for record in filled[1:]}, column, titled


def _put(cells: Sequence[str], column: int, value: str) -> list[str]:
    row = [*cells, *[""] * (column + 1 - len(cells))]
    row[column] = value
    return row


def _subject(titles: Sequence[str], cells: Sequence[str]) -> str:
    row = dict(zip(titles, (unguarded(cell.strip()) for cell in cells), strict=False))
    return f"{row.get('device', '')}/{row.get('interface', '')}"


def _with_cell(raw: str, delimiter: str, column: int, value: str) -> str:
    """Return a row's text with one cell replaced and the spaces around it kept; a short row is filled up."""
    body = raw.rstrip("\r\n")
    cells = list(_raw_cells(body, delimiter))
    old = cells[column] if column < len(cells) else ""
    new = f'"{value}"' if old.startswith('"') else value
    cells = _put(cells, column, old.replace(old.strip(), new) if old.strip() else new)
    return delimiter.join(cells) + raw[len(body) :]


def _raw_cells(row: str, delimiter: str) -> Iterator[str]:
    """Yield the cells of a row with their quotes; a quote counts only at the start of a cell."""
    start, at = 0, 0
    while at <= len(row):
        if at == start and row.startswith('"', at):
            at = _past_quotes(row, at)
        end = row.find(delimiter, at)
        end = len(row) if end < 0 else end
        yield row[start:end]
        start = at = end + 1


def _past_quotes(row: str, at: int) -> int:
    """Return the position after the quote that closes the one at a position."""
    at += 1
    while (end := row.find('"', at)) >= 0:
        if not row.startswith('"', end + 1):
            return end + 1
        at = end + 2
    return len(row)
