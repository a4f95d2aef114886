"""Writes addresses into a plan's files; comments, layout, quotes, encoding and line ends are kept.

Pure functions change the texts. Each result is read back and compared with the old values before it becomes an `Edit`.
"""

from __future__ import annotations

import codecs
import io
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, MutableMapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from netcheck.addr import Address
from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, read_bounded, write_atomically, write_together
from netcheck.plan.forms.csv_table import TABLE_LIMIT, delimiter_of, title_of
from netcheck.plan.forms.toml_plan import PLAN_LIMIT, parsed
from netcheck.plan.read import plan_file
from netcheck.plan.shape_problems import keys_of
from netcheck.plan.shapes import InterfaceRow
from netcheck.plan.write.toml_sections import with_change
from netcheck.plan.write.workbook_changes import workbook_with_addresses
from netcheck.tables.delimited import Record, encoding_of, lines_of, records_of, unguarded
from netcheck.tables.workbook_read import UNPACKED_LIMIT
from netcheck.text import listed, safe

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

_MARKS = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be", codecs.BOM_UTF8: "utf-8"}


@dataclass(frozen=True, slots=True)
class Edit:
    """A file with its new bytes, not written yet."""

    path: Path
    data: bytes

    def write(self) -> None:
        """Replace the file with the new bytes, completely or not at all."""
        write_atomically(self.path, self.data)


def write_all(edits: Iterable[Edit]) -> None:
    """Replace several files; after an interruption all of them are old or all of them are new."""
    write_together((edit.path, edit.data) for edit in edits)


def with_granted(path: str | Path, granted: Mapping[str, str]) -> tuple[Edit, ...]:
    """Return the changed files of a plan with these texts for the key `granted`, by subject; see `with_addresses`."""
    return _with_values(path, granted, "granted")


def with_addresses(path: str | Path, addresses: Mapping[str, Address]) -> tuple[Edit, ...]:
    """Return the changed files of a plan with these addresses by subject (`device/interface`).

    PlanError if a subject is in no file, or if a file cannot be changed without changing other values.
    """
    return _with_values(path, {subject: str(address) for subject, address in addresses.items()}, "address")


def _with_values(path: str | Path, wanted: Mapping[str, str], key: str) -> tuple[Edit, ...]:
    file = plan_file(Path(path))
    if file.suffix.casefold() == ".xlsx":
        edits = [_edit(file, _read(file, UNPACKED_LIMIT, text=False), wanted, workbook_with_addresses, key)]
    else:
        edits = _text_edits(file, wanted, key)
    missing = [safe(one, 80) for one in wanted if not any(one in held for _, held in edits)]
    if missing:
        raise PlanError(Problem(f"not in the plan: {listed(missing)}", safe(file.name)))
    return tuple(edit for edit, _ in edits if edit is not None)


def _text_edits(file: Path, wanted: Mapping[str, str], key: str) -> list[tuple[Edit | None, set[str]]]:
    data = _read(file, PLAN_LIMIT)
    named = parsed(data, safe(file.name)).get("interfaces")
    edits = [_edit(file, data, wanted, plan_with_addresses, key)]
    if isinstance(named, str):
        table = file.parent / named.strip()
        edits.append(_edit(table, _read(table, TABLE_LIMIT), wanted, table_with_addresses, key))
    return edits


def _read(path: Path, limit: int, text: bool = True) -> bytes:
    try:
        return read_bounded(path, limit, text)
    except FileError as error:
        raise PlanError(error.at(safe(path.name))) from error


Change = Callable[[bytes, Mapping[str, str], str], tuple[bytes, set[str]]]


def _edit(path: Path, data: bytes, wanted: Mapping[str, str], change: Change, key: str) -> tuple[Edit | None, set[str]]:
    try:
        new, held = change(data, wanted, key)
    except ValueError as error:
        by_hand = listed([f"{safe(subject, 80)} {text}" for subject, text in wanted.items()], 20)
        problem = Problem(
            f"it cannot be changed without changing other values: {error}",
            safe(path.name),
            f"Change by hand: {by_hand}",
        )
        raise PlanError(problem) from error
    return (None if new == data else Edit(path, new)), held


def plan_with_addresses(data: bytes, wanted: Mapping[str, str], key: str = "address") -> tuple[bytes, set[str]]:
    """Return the bytes of `plan.toml` with these addresses, and the subjects found in it."""
    mark = codecs.BOM_UTF8 if data.startswith(codecs.BOM_UTF8) else b""
    text, held = toml_with_addresses(data[len(mark) :].decode("utf-8"), wanted, key)
    return mark + text.encode("utf-8"), held


def toml_with_addresses(text: str, wanted: Mapping[str, str], key: str = "address") -> tuple[str, set[str]]:
    """Return a plan's TOML with these addresses, and the subjects found in it.

    ValueError if another value would change.
    """

    def change(document: TOMLDocument) -> bool:
        mine = [(subject, table) for subject, table in _interfaces(document) if subject in wanted]
        for subject, table in mine:
            _set_value(table, key, wanted[subject])
        return bool(mine)

    new = with_change(text, change)
    expected = tomllib.loads(text)
    interfaces = _interfaces(expected)
    for subject, table in interfaces:
        if subject in wanted:
            table[key] = wanted[subject]
    if tomllib.loads(new) != expected:
        raise ValueError("another value would change with it")
    return new, {subject for subject, _ in interfaces} & set(wanted)


def _interfaces(document: Mapping[str, Any]) -> list[tuple[str, MutableMapping[str, Any]]]:
    return [
        (f"{str(device['name']).strip()}/{str(interface['name']).strip()}", interface)
        for device in document.get("device", ())
        for interface in device.get("interface", ())
    ]


def _set_value(table: MutableMapping[str, Any], key: str, text: str) -> None:
    """Replace the value of a key, or add the key below `subnet`."""
    import tomlkit
    from tomlkit.items import InlineTable, Whitespace

    old = table.get(key)
    if old is not None:
        table[key] = tomlkit.string(text, literal=old.as_string().startswith("'"))
    elif isinstance(table, InlineTable):
        value, (_, last) = tomlkit.string(text), table.value.body[-1]
        value.trivia.trail = last.as_string() if isinstance(last, Whitespace) else ""  # before the closing brace
        table[key] = value
    else:
        trivia = table["subnet"].trivia
        newline = "\r\n" if trivia.trail.endswith("\r\n") else "\n"
        trivia.trail = f"{newline}{trivia.indent}{key} = {tomlkit.string(text).as_string()}{trivia.trail}"


def table_with_addresses(data: bytes, wanted: Mapping[str, str], key: str = "address") -> tuple[bytes, set[str]]:
    """Return the bytes of a CSV table with these addresses, and the subjects found in it.

    ValueError if another value would change.
    """
    mark, encoding = encoding_with_mark(data)
    text = data[len(mark) :].decode(encoding)
    new, held = text_with_addresses(text, wanted, key)
    return mark + new.encode(encoding), held


def encoding_with_mark(data: bytes) -> tuple[bytes, str]:
    """Return the byte order mark of a table, empty if it has none, and its encoding."""
    mark = next((one for one in _MARKS if data.startswith(one)), b"")
    return mark, _MARKS.get(mark) or encoding_of(io.BytesIO(data))


def text_with_addresses(text: str, wanted: Mapping[str, str], key: str = "address") -> tuple[str, set[str]]:
    """Return the text of a CSV table with these addresses, and the subjects found in it."""
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
    """Return the subject of each row by its index, the column of a key, and whether that column exists."""
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
    """Return the text of a row with one cell replaced; blanks around it are kept, and a short row is extended."""
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
    """Return the position after the quote that closes the quote at `at`."""
    at += 1
    while (end := row.find('"', at)) >= 0:
        if not row.startswith('"', end + 1):
            return end + 1
        at = end + 2
    return len(row)
