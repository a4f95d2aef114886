"""Reads the plan's CSV tables: one row an entry, the keys as titles in the first row."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path

from netcheck.errors import Problem
from netcheck.files import ZIP, FileError, HashedFiles
from netcheck.plan.entries import Entry, Grid, Rows
from netcheck.plan.forms.interface_grid import grid_of
from netcheck.plan.model import Position
from netcheck.plan.shape_problems import keys_of, suggestion
from netcheck.plan.shapes import InterfaceRow, Shape
from netcheck.tables.columns import columns_of
from netcheck.tables.delimited import DELIMITERS, Record, blocks_of, lines_in, parts_of, records_of, text_of
from netcheck.text import safe

TABLE_LIMIT = 16 << 20
LISTS = frozenset({"ports", "pools", "reserved", "covers", "interfaces"})
_MOST_ABOVE = 20  # the titles of a sheet are among its first rows
_DASH = re.compile(r"\s*-\s*")


def read_table(path: Path, file: str, shape: type[Shape], files: HashedFiles, problems: list[Problem]) -> Rows:
    """Read a CSV table into entries, or a faultless table of interfaces into a grid; add faults to `problems`.

    `file` is the name in messages.
    """
    try:
        data = files.read(path, TABLE_LIMIT)
        if data.startswith(ZIP):
            raise FileError(Problem("it is a workbook", do="Save its table as CSV, or name the workbook as the plan"))
        text = "".join(blocks_of(text_of(io.BytesIO(data))))
    except FileError as error:
        problems.append(error.at(file))
        return ()
    known = keys_of(shape)
    delimiter = delimiter_of(list(islice(lines_in(text), 20)), known)
    if shape is InterfaceRow and (grid := _grid(text, delimiter, file)):
        return grid
    records = [record for record in records_of(lines_in(text), delimiter) if not record.empty]
    if not records:
        problems.append(Problem("it is empty", file, f"Its first row holds the titles: {', '.join(known)}"))
        return ()
    faults = [Problem(one.fault, f"{file}: row {one.row}", "Close them in this row") for one in records if one.fault]
    problems += faults
    return () if faults else entries_of(records, shape, file, problems)


def _grid(text: str, delimiter: str, file: str) -> Grid | None:
    """Return the table by columns, or None where a title or a row needs a message."""
    columns = columns_of(text, delimiter) or []
    titles = [title_of(cells[0]) for cells in columns]
    if not titles or not all(titles) or any(_title_problems(titles, InterfaceRow, "")):
        return None
    return grid_of(dict(zip(titles, (cells[1:] for cells in columns), strict=True)), required_of(InterfaceRow), file)


def title_of(cell: str) -> str:
    """Return a column's title as a key: `Host name` gives `host-name`."""
    return re.sub(r"[\s_]+", "-", cell.strip().casefold())


def delimiter_of(lines: Sequence[str], known: Sequence[str]) -> str:
    """Return the delimiter that splits the first row into the most known titles."""
    return max(DELIMITERS, key=lambda one: _titles_known(lines, one, known))


def _titles_known(lines: Sequence[str], delimiter: str, known: Sequence[str]) -> int:
    first = next((record for record in records_of(lines[:20], delimiter) if not record.empty), None)
    return sum(title_of(cell) in known for cell in first.cells) if first else 0


def titled_records(records: Sequence[Record], shape: type[Shape]) -> Sequence[Record]:
    """Return a sheet's rows from the titles on; rows above them that hold no title, such as a heading, are dropped."""
    required = set(required_of(shape))
    known = set(keys_of(shape))
    for number, record in enumerate(records[:_MOST_ABOVE]):
        titles = set(map(title_of, record.cells))
        if required <= titles:
            return records[number:]
        if len(titles & known) > 1:  # these are the titles, with one missing
            break
    return records


def entries_of(
    records: Sequence[Record], shape: type[Shape], file: str, problems: list[Problem], sheet: str = ""
) -> tuple[Entry, ...]:
    """Turn rows into entries, the first row being the titles; `sheet` comes before the row number in positions."""
    titles = [title_of(cell) for cell in records[0].cells]
    wrong = list(_title_problems(titles, shape, f"{file}: {sheet}row {records[0].row}"))
    wrong += _untitled(titles, records, f"{file}: {sheet}")
    problems += wrong
    entries = []
    for record in records[1:]:
        position = Position(file, f"{sheet}row {record.row}")
        surplus = record.cells[len(titles) :]
        if any(map(str.strip, surplus)):
            what = f"it has {len(record.cells)} cells, and the titles {len(titles)}"
            problems.append(Problem(what, str(position), "Put a cell that holds a separator in double quotes"))
        else:
            entries.append(Entry(_row(titles, record.cells), position, typed=False))
    return () if wrong else tuple(entries)


def _title_problems(titles: list[str], shape: type[Shape], where: str) -> Iterator[Problem]:
    known = keys_of(shape)
    for column, title in enumerate(titles):
        if title and title not in known:
            near = suggestion(title, known)
            do = "" if near else f"Known here: {', '.join(known)}"
            yield Problem(f'column "{safe(title, 60)}" is not known{near}', where, do)
        elif title and title in titles[:column]:
            yield Problem(f'column "{title}" is there twice', where)
    for key in required_of(shape):
        if key not in titles:
            yield Problem(f'column "{key}" is missing', where)


def _untitled(titles: list[str], records: Sequence[Record], where: str) -> Iterator[Problem]:
    for column, title in enumerate(titles):
        used = next((one for one in records[1:] if column < len(one.cells) and one.cells[column].strip()), None)
        if not title and used is not None:
            yield Problem(f"column {column + 1} holds a value and has no title", f"{where}row {used.row}")


def required_of(shape: type[Shape]) -> list[str]:
    """Return the keys that every entry of a shape must have."""
    return [field.alias or "" for field in shape.model_fields.values() if field.is_required()]


def _row(titles: Sequence[str], cells: Sequence[str]) -> dict[str, object]:
    """Return the filled cells by title; an empty cell is a missing value."""
    pairs = zip(titles, map(str.strip, cells), strict=False)
    return {title: cell_value(title, text) for title, text in pairs if title and text}


def cell_value(title: str, text: str) -> object:
    """Return a cell's text, or the list or table that a cell of its column holds."""
    if title == "routes":  # 0.0.0.0/0 via 10.62.30.254; 10.0.0.0/8 via 10.62.30.253
        return [_route(part) for part in text.split(";") if part.strip()]
    if title == "columns":  # address = IP Addr.; mac = MAC
        pairs = (part.partition("=") for part in text.split(";") if part.strip())
        return {name.strip(): column.strip() for name, _, column in pairs}
    if title not in LISTS:
        return text
    if title in ("pools", "reserved"):
        text = _DASH.sub("-", text)
    return parts_of(text)


def _route(text: str) -> dict[str, str]:
    to, _, via = text.partition(" via ")
    return {key: value.strip() for key, value in (("to", to), ("via", via)) if value.strip()}
