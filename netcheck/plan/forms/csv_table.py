"""Reads the plan's CSV tables: each row is an entry, and the keys are the titles in the first row.

A table of interfaces without faults is read column by column, which makes large plans fast. A table has no fault if no
row needs a message: all rows are as long as the titles, and no required cell is empty. Any other table is read row by
row (`entries_of`), and each fault gets its message.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from functools import lru_cache, partial
from itertools import islice, repeat
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from netcheck.addr import Address, Mac, Mask
from netcheck.errors import Problem
from netcheck.files import LONGEST_LINE, ZIP, FileError, HashedFiles
from netcheck.plan.cells import (
    DHCP,
    address6_from,
    address_from,
    any_unknown,
    gateway6_from,
    gateway_from,
    is_dhcp,
    label_fault,
    mac_from,
    mask_from,
    maybe_from,
)
from netcheck.plan.entries import Entry, Grid, Rows
from netcheck.plan.model import Cell, Interface, Position
from netcheck.plan.shape_problems import keys_of
from netcheck.plan.shapes import InterfaceRow, Shape
from netcheck.tables.delimited import (
    DELIMITERS,
    Number,
    Record,
    blocks_of,
    columns_of,
    ipv4_of,
    lines_in,
    macs_of,
    made,
    parts_of,
    records_of,
    text_of,
    unguarded,
)
from netcheck.text import Pattern, safe

TABLE_LIMIT = 16 << 20
LISTS = frozenset({"ports", "pools", "reserved", "covers", "interfaces", "services"})
_MOST_ABOVE = 20  # the titles of a sheet are among this many first rows
LABELS = ("slot", "ports", "switch-port")  # short texts that a spreadsheet may take for dates and numbers
_DASH = Pattern("\\s*[-\u2010-\u2015\u2212]\\s*")
# Other titles of the plan's values, which must not become further columns; common practice, no source.
_OTHER_TITLES = {
    **dict.fromkeys(("ip", "ipv4", "ip-adresse", "adresse"), "address"),
    **dict.fromkeys(("netmask", "subnet-mask", "maske", "subnetzmaske", "subnetmask"), "mask"),
    **dict.fromkeys(("gw", "default-gateway", "standardgateway"), "gateway"),
    **dict.fromkeys(("mac-address", "mac-adresse"), "mac"),
}
_ALIKE = 0.8  # difflib's ratio from which an unknown title is taken for a misspelt key that is missing


def read_table(path: Path, file: str, shape: type[Shape], files: HashedFiles, problems: list[Problem]) -> Rows:
    """Return the entries of a CSV table, or a grid if it is a table of interfaces without faults.

    Faults are added to `problems`. `file` is the name of the file in messages.
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
    delimiter = delimiter_of(list(islice(lines_in(text[:LONGEST_LINE]), 20)), known)
    if shape is InterfaceRow and (grid := _grid(text, delimiter, file)):
        return grid
    records = [record for record in records_of(lines_in(text), delimiter) if not record.empty]
    if not records:
        problems.append(Problem("it is empty", file, f"Write the titles into its first row: {', '.join(known)}"))
        return ()
    faults = [
        Problem(one.fault, f"{file}: row {one.row}", "Close the quotes in this row") for one in records if one.fault
    ]
    problems += faults
    return () if faults else entries_of(records, shape, file, problems)


def _grid(text: str, delimiter: str, file: str) -> Grid | None:
    """Return the table as a grid of columns, or None if a title or a row needs a message."""
    columns = columns_of(text, delimiter) or []
    if "'" in text:
        columns = [list(map(unguarded, column)) for column in columns]
    titles = [title_of(cells[0]) for cells in columns]
    if not titles or not all(titles) or any(_title_problems(titles, InterfaceRow, "")):
        return None
    known = set(keys_of(InterfaceRow))
    cells = {title: column[1:] for title, column in zip(titles, columns, strict=True) if title in known}
    if columns[0][0] in columns[0][1:] or any(label_fault(text) for key in LABELS for text in set(cells.get(key, ()))):
        return None
    extra = {column[0]: column[1:] for title, column in zip(titles, columns, strict=True) if title not in known}
    return grid_of(cells, required_of(InterfaceRow), file, extra)


def title_of(cell: str) -> str:
    """Return the key of a column's title: `Host name` gives `host-name`."""
    return re.sub(r"[\s_]+", "-", cell.strip().casefold())


def delimiter_of(lines: Sequence[str], known: Sequence[str]) -> str:
    """Return the delimiter that splits the first row into the most known titles."""
    return max(DELIMITERS, key=lambda one: _titles_known(lines, one, known))


def _titles_known(lines: Sequence[str], delimiter: str, known: Sequence[str]) -> int:
    first = next((record for record in records_of(lines[:20], delimiter) if not record.empty), None)
    return sum(title_of(cell) in known for cell in first.cells) if first else 0


def titled_records(records: Sequence[Record], shape: type[Shape]) -> Sequence[Record]:
    """Return a sheet's rows from the titles on; rows above the titles, such as a heading, are left out."""
    required = set(required_of(shape))
    known = set(keys_of(shape))
    for number, record in enumerate(records[:_MOST_ABOVE]):
        titles = set(map(title_of, record.cells))
        if required <= titles:
            return records[number:]
        if len(titles & known) > 1:  # these are the titles, although a required one is missing
            break
    return records


def entries_of(
    records: Sequence[Record], shape: type[Shape], file: str, problems: list[Problem], sheet: str = ""
) -> tuple[Entry, ...]:
    """Return the entries of rows whose first row has the titles; faults are added to `problems`.

    `sheet` precedes the row number in positions.
    """
    head = [unguarded(cell.strip()) for cell in records[0].cells]
    titles = [title_of(cell) for cell in head]
    wrong = list(_title_problems(titles, shape, f"{file}: {sheet}row {records[0].row}"))
    wrong += _untitled(titles, records, f"{file}: {sheet}", sheet)
    problems += wrong
    known = set(keys_of(shape))
    entries = []
    for record in records[1:]:
        position = Position(file, f"{sheet}row {record.row}")
        surplus = record.cells[len(titles) :]
        if any(map(str.strip, surplus)):
            problems.append(_surplus(record, len(titles), position, sheet))
        elif list(map(title_of, record.cells)) != titles:  # a repeated row of titles is not an entry
            entries.append(_entry(record, head, titles, known, position))
    return () if wrong else tuple(entries)


def _entry(
    record: Record, head: Sequence[str], titles: Sequence[str], known: Container[str], position: Position
) -> Entry:
    """Return the entry of a row; an empty cell is a missing value."""
    data: dict[str, object] = {}
    extra: list[tuple[str, str]] = []
    damaged: list[tuple[str, str, str]] = []
    for title, written, cell in zip(titles, head, record.cells, strict=False):
        text = unguarded(cell.strip())
        if not title or not text:
            continue
        if title not in known:
            extra.append((written.strip(), text))
        elif title in LABELS and (why := label_fault(text) or number_fault(cell)):
            damaged.append((title, text, why))
        else:
            data[title] = cell_value(title, text)
    return Entry(data=data, position=position, typed=False, extra=tuple(extra), damaged=tuple(damaged))


def number_fault(cell: str) -> str:
    """Return why a number in a workbook is probably not the label that was typed, or the empty text."""
    if not isinstance(cell, Number):
        return ""
    do = "format the column as text and type the value again"
    return f"'{cell}' is a number; spreadsheets turn values such as 1,2 into numbers: {do}"


def _surplus(record: Record, titles: int, position: Position, sheet: str) -> Problem:
    if sheet:
        column = next(at for at, cell in enumerate(record.cells, 1) if at > titles and cell.strip())
        what = f"column {_column_name(column - 1, sheet)} contains a value and has no title"
        return Problem(what, str(position), "Give the column a title, or clear the cell")
    what = f"it has {len(record.cells)} cells, and the titles {titles}"
    return Problem(what, str(position), "Put a cell that contains a separator in double quotes")


def _title_problems(titles: list[str], shape: type[Shape], where: str) -> Iterator[Problem]:
    known = keys_of(shape)
    missing = [key for key in known if key not in titles]
    for column, title in enumerate(titles):
        near = get_close_matches(title[:100], missing, 1, _ALIKE) if title and title not in known else []
        near = near or [key for key in (_OTHER_TITLES.get(title),) if key in missing]
        if near:
            do = f'Correct the title, or, if it is a further column, choose a title less similar to "{near[0]}"'
            yield Problem(f'column "{safe(title, 60)}" is not known; did you mean "{near[0]}"?', where, do)
        elif title in known and title in titles[:column]:
            yield Problem(f'column "{title}" is there twice', where, "Remove one of them")
    for key in required_of(shape):
        if key not in titles:
            yield Problem(f'column "{key}" is missing', where, f"Titles of this table: {', '.join(known)}")


def _untitled(titles: list[str], records: Sequence[Record], where: str, sheet: str) -> Iterator[Problem]:
    for column, title in enumerate(titles):
        used = next((one for one in records[1:] if column < len(one.cells) and one.cells[column].strip()), None)
        if not title and used is not None:
            what = f"column {_column_name(column, sheet)} contains a value and has no title"
            yield Problem(what, f"{where}row {used.row}", "Give the column a title, or clear the cell")


def _column_name(column: int, sheet: str) -> str:
    """Return the name of the column with an index: its letters in a sheet, its number in a CSV table."""
    if not sheet:
        return str(column + 1)
    from netcheck.tables.workbook_read import letters_of  # imported only for a workbook

    return letters_of(column + 1)


def required_of(shape: type[Shape]) -> list[str]:
    """Return the keys that every entry of a shape must have."""
    fields = zip(keys_of(shape), shape.model_fields.values(), strict=True)
    return [key for key, field in fields if field.is_required()]


def cell_value(title: str, text: str) -> object:
    """Return the value of a cell: its text, or a list or a table if its column has such values."""
    if title == "routes":  # 0.0.0.0/0 via 10.62.30.254; 10.0.0.0/8 via 10.62.30.253
        return [_route(part) for part in text.split(";") if part.strip()]
    if title == "columns":  # address = IP Addr.; mac = MAC
        pairs = (part.partition("=") for part in text.split(";") if part.strip())
        return {name.strip(): column.strip() for name, _, column in pairs}
    if title not in LISTS:
        return text
    if title == "services":  # a space may separate a protocol and its port
        return [" ".join(part.split()) for part in re.split("[,;\n]", text) if part.strip()]
    if title in ("pools", "reserved"):
        text = _DASH.sub("-", text)
    return parts_of(text)


def _route(text: str) -> dict[str, str]:
    to, _, via = text.partition(" via ")
    return {key: value.strip() for key, value in (("to", to), ("via", via)) if value.strip()}


T = TypeVar("T")
Cells = Iterable[Cell[T] | None]
ONE_PORT = ("1",)
_remembered = lru_cache(4096)  # a plan has few different masks and gateways


def grid_of(
    columns: dict[str, list[str]],
    required: Iterable[str],
    file: str,
    extra: Mapping[str, list[str]] = MappingProxyType({}),
) -> Grid | None:
    """Return the rows below the titles as a grid; None if there are no rows or one has a fault. Rows count from 2."""
    ports = list(map(_remembered(_ports), columns.pop("ports"))) if "ports" in columns else None
    if not all(all(columns[key]) for key in required) or not all(ports or (ONE_PORT,)):
        return None
    rows = map("row {}".format, range(2, len(next(iter(columns.values()))) + 2))
    positions = list(made(Position, file=repeat(file), at=rows))
    pairs = ([(title, text) for text in texts] for title, texts in extra.items())
    rows_extra = [tuple(pair for pair in row if pair[1]) for row in zip(*pairs, strict=True)] if extra else None
    return Grid(columns, ports, positions, rows_extra) if positions else None


def _ports(text: str) -> tuple[str, ...]:
    return tuple(parts_of(text)) if text else ONE_PORT


def interfaces_of(grid: Grid, families: Mapping[str, int]) -> Iterator[Interface]:
    """Yield the interfaces of a table without faults; `families` is the address family of each subnet by name."""
    addresses = _cells(grid, "address", address_from, _addresses)
    texts = partial(_texts, grid)
    return made(
        Interface,
        device=texts("device"),
        name=texts("interface"),
        subnet=texts("subnet"),
        position=grid.positions,
        kind=texts("kind"),
        location=texts("place"),
        slot=texts("slot"),
        address=addresses,
        mask=_masks(grid, addresses, families),
        gateway=_cells(grid, "gateway", _remembered(gateway_from)),
        mac=_cells(grid, "mac", mac_from, _macs),
        host_name=_cells(grid, "host-name", str),
        switch_port=_cells(grid, "switch-port", str),
        ports=grid.ports or repeat(ONE_PORT),
        behind=texts("behind"),
        granted=texts("granted"),
        address6=_cells(grid, "address6", address6_from),
        mask6=_cells(grid, "mask6", partial(mask_from, family=6)),
        gateway6=_cells(grid, "gateway6", _remembered(gateway6_from)),
        subnet6=texts("subnet6"),
        dhcp=_dhcp(grid.columns.get("address", ())),
        description=texts("description"),
        remark=texts("remark"),
        extra=grid.extra or repeat(()),
    )


def _texts(grid: Grid, title: str) -> Iterable[str]:
    """Return the texts of a column, or endless empty texts if the table has no such column."""
    return grid.columns.get(title) or repeat("")


def _cells(
    grid: Grid, title: str, read: Callable[[str], T], many: Callable[[Sequence[str]], Iterable[T] | None] | None = None
) -> Cells[T]:
    """Return the cells of a column, None for each empty text.

    `read` reads one text. `many` reads a whole column faster, or returns None if it cannot.
    """
    texts = grid.columns.get(title)
    if texts is None:
        return repeat(None)
    values = _values(texts, read, many) if not any_unknown(texts) else None
    if values is not None:
        return list(made(Cell, text=texts, value=values, position=grid.positions))
    pairs = zip(texts, grid.positions, strict=True)
    return [None if is_dhcp(text) else maybe_from(text, read, position) for text, position in pairs]


def _values(
    texts: Sequence[str], read: Callable[[str], T], many: Callable[[Sequence[str]], Iterable[T] | None] | None
) -> Iterable[T] | None:
    """Return the values of a column without empty texts, or None if one of them cannot be read."""
    values = many(texts) if many else None
    if values is not None:
        return values
    try:
        return list(map(read, texts))
    except ValueError:
        return None


def _dhcp(texts: Sequence[str]) -> Iterable[bool]:
    return map(is_dhcp, texts) if DHCP in map(str.casefold, texts) else repeat(False)


def _addresses(texts: Sequence[str]) -> Iterable[Address] | None:
    values = ipv4_of(texts)
    return None if values is None else made(Address, family=repeat(4), value=values)


def _macs(texts: Sequence[str]) -> Iterable[Mac] | None:
    values = macs_of(texts)
    return None if values is None else made(Mac, value=values)


def _masks(grid: Grid, addresses: Cells[Address], families: Mapping[str, int]) -> Cells[Mask]:
    """Return the masks in the family of the row's address, or of its subnet if the address cannot be read."""
    readers = {family: _remembered(partial(mask_from, family=family)) for family in (4, 6)}
    rows = zip(addresses, _texts(grid, "subnet"), strict=False) if "mask" in grid.columns else ()
    found = [one.value.family if one and one.value else families.get(subnet, 4) for one, subnet in rows]
    if len(set(found)) < 2:
        return _cells(grid, "mask", readers[found[0]] if found else mask_from)
    cells = zip(grid.columns["mask"], found, grid.positions, strict=True)
    return [maybe_from(text, readers[family], position) for text, family, position in cells]
