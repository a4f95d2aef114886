"""Reads a device list, a workbook or delimited text, into tables, and makes an intake of them."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path

from netcheck.errors import Problem, UsageError
from netcheck.files import MIB, ZIP, FileError, read_bounded
from netcheck.intake.columns import FIELDS, LEAVE_OUT, ListLayout, layout_of
from netcheck.intake.rows import IntakeRemarks, ListedInterface, interfaces_in
from netcheck.intake.subnets import placed_in_subnets, with_interface_names
from netcheck.intake.write import Intake
from netcheck.survey.readers.header import plain_title
from netcheck.tables.delimited import DELIMITERS, Record, lines_in, records_of, text_of
from netcheck.text import listed, safe

LIMIT = 64 * MIB
MOST_ROWS = 100_000  # of all tables together


def mapping_from(texts: Sequence[str]) -> dict[str, str]:
    """Read `--map` values such as `Tag=device`: the field of a title, by its letters and digits."""
    mapped = {}
    for text in texts:
        title, equals, name = text.rpartition("=")
        name = name.strip().casefold()
        if not equals or not plain_title(title) or name not in (*FIELDS, LEAVE_OUT):
            do = f'Write it as "title=field"; fields are {listed([*sorted(FIELDS), LEAVE_OUT], 30)} (left out)'
            raise UsageError(Problem(f"--map {safe(text, 60)!r} names no title and field", do=do))
        mapped[plain_title(title)] = name
    return mapped


def intake_from(path: Path, mapped: Mapping[str, str]) -> Intake:
    """Read a device list; UsageError where it is not a table, or no table in it has the titles of a device list."""
    remarks = IntakeRemarks()
    tables: list[str] = []
    interfaces: list[ListedInterface] = []
    try:
        for sheet, records in _tables(path):
            layout = layout_of(records, mapped)
            name = f'sheet "{safe(sheet, 40)}"' if sheet else safe(path.name)
            if layout is None:
                remarks.unread.append(f"{name}: no row of it has the titles of a device list; it is left out")
                continue
            remarks.guessed += [f"{name}: {guess}" for guess in layout.guessed]
            found = list(interfaces_in(records, layout, f"{name}, " if sheet else "", remarks))
            tables.append(f"{name}: titles in row {layout.row}; {_columns(layout)}")
            interfaces += found
    except FileError as error:
        raise UsageError(error.at(safe(str(path)))) from error
    if not interfaces:
        do = 'Name its columns, for example --map "Tag=device" --map "IP=address"'
        raise UsageError(Problem("no table of devices is recognised in it", safe(str(path)), do))
    subnets, placed = placed_in_subnets(with_interface_names(interfaces, remarks), remarks)
    return Intake(path.stem, tuple(tables), tuple(subnets), tuple(placed), remarks)


def _columns(layout: ListLayout) -> str:
    """How the columns were understood."""
    named = {column: name for name, column in layout.fields.items()}
    for one in layout.addresses:
        named |= {one.address: "address", one.mask: "mask", one.gateway: "gateway", one.mac: "mac"}
    named.pop(-1, None)
    pairs = [f'"{safe(layout.title(column), 30)}" is {named[column]}' for column in sorted(named)]
    others = [f'"{safe(title, 30)}"' for at, title in enumerate(layout.titles) if title and at not in named]
    kept = f"; kept as it is: {listed(others, 20)}" if others else ""
    return ", ".join(pairs) + kept


def _tables(path: Path) -> Iterator[tuple[str, list[Record]]]:
    """Yield the tables of a file with their sheets' names, an empty name for text."""
    data = read_bounded(path, LIMIT, text=False)
    if data.startswith(ZIP):
        from netcheck.tables.workbook_read import opened_from  # only where there is a workbook

        with opened_from(io.BytesIO(data), path.name) as book:
            for sheet in book.sheets:
                if records := _bounded(book.records(sheet)):
                    yield sheet, records
        return
    with text_of(io.BytesIO(data)) as stream:
        lines = list(lines_in(stream.read()))
    if any(len(line) > MIB for line in lines):
        raise FileError(Problem("it has a line of more than 1 MiB", do="Break it into several lines"))
    delimiter = max(DELIMITERS, key=lambda one: _cells(lines, one))
    yield "", _bounded(record for record in records_of(lines, delimiter) if not record.empty)


def _cells(lines: Sequence[str], delimiter: str) -> int:
    return sum(len(record.cells) for record in islice(records_of(lines[:200], delimiter), 200))


def _bounded(records: Iterator[Record]) -> list[Record]:
    found = list(islice(records, MOST_ROWS + 1))
    if len(found) > MOST_ROWS:
        raise FileError(Problem(f"it has more than {MOST_ROWS:,} rows", do="Split it"))
    return found
