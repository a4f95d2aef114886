"""Finds the row of titles of a device list, and the field of each column by its title and its cells."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, zip_longest

from netcheck.addr import Mask
from netcheck.intake.titles import FIELD_TITLES, LEAVE_OUT, field_of
from netcheck.plan.cells import mask_from
from netcheck.survey.readers.header import plain_title
from netcheck.survey.readers.values import holds_address, mac_from
from netcheck.tables.delimited import Record
from netcheck.text import listed

HEADER_ROWS = 40  # the titles are among this many first rows of a table

# Titles of the port of a switch that an earlier column names; common practice, no source.
_PORTS = frozenset({"port", "portnr", "portno", "portnumber", "anschluss", "buchse"})
# Title words of earlier values and of planned values; common practice, no source.
_EARLIER = frozenset({"alt", "alte", "alter", "bisher", "bisherige", "old", "previous", "former", "ist"})
_NOW = frozenset({"neu", "neue", "neuer", "new", "soll", "planned", "geplant", "future"})
_SEVERAL = {"address": "addresses", "mac": "MACs", "mask": "masks", "device": "devices"}
_UNTITLED_SHARE = 0.5  # a table without titles is a list if this share of its rows have an address
_INTERFACE_IN_TITLE = re.compile(r"(?i)\b(?:ipv4|ip|addresse?s?|adressen?|addr|adr)\b|[^\w.-]+")


@dataclass(frozen=True, slots=True)
class AddressColumns:
    """A column of addresses and its columns of mask, gateway and MAC; -1 for a missing column."""

    address: int
    mask: int
    gateway: int
    mac: int
    interface: str  # the name of the interface, from the title of the column, or empty


@dataclass(frozen=True, slots=True)
class ListLayout:
    """A table's layout: the row of titles, the titles, the column of each other field, the columns of addresses."""

    row: int
    titles: tuple[str, ...]
    fields: Mapping[str, int]
    addresses: tuple[AddressColumns, ...]
    ignored: frozenset[int]
    guessed: tuple[str, ...] = ()
    switch_port_number: int = (
        -1
    )  # the column of the switch port's number, if the column `switch-port` names only the switch

    def title(self, column: int) -> str:
        """Return the title of a column, or its number if it has no title."""
        titled = column < len(self.titles) and self.titles[column]
        return self.titles[column] if titled else f"column {column + 1}"

    def is_repeated_in(self, cells: Sequence[str]) -> bool:
        """Return whether a row repeats the titles."""
        return bool(self.titles) and _titles(cells)[: len(self.titles)] == list(self.titles)


def layout_of(records: Sequence[Record], mapped: Mapping[str, str]) -> ListLayout | None:
    """Return the layout of a table, or None if none of its first rows has titles of a device list.

    `mapped` is the field of each title that `--map` names; titles are compared by their letters and digits.
    """
    head, above, score = None, None, 1
    for before, record in pairwise((None, *records[:HEADER_ROWS])):
        if record is None or any(map(holds_address, record.cells)):
            continue
        own = _fields_in(record.cells, mapped)
        upper = before if before is not None and _may_be_above(before, record, own) else None
        found = _fields_in(_completed(record.cells, upper.cells), mapped) if upper else own
        if len(found) > score and {"device", "address", "host-name", "mac"} & found:
            head, above, score = record, upper, len(found)
    if head is None:
        head = _single_title(records, mapped)
        above = next((one for one in records if head and one.row == head.row - 1), None)
    if head is None:
        return None
    titles = _titles(_completed(head.cells, above.cells if above else ()))
    body = [record for record in records if record.row > head.row]
    return _layout(head.row, titles, body, mapped)


def untitled_layout_of(records: Sequence[Record], mapped: Mapping[str, str]) -> ListLayout | None:
    """Return the layout of a table without titles from its cells; None if less than half of its rows have an address.

    `mapped` is the field of a column by its number, counted from 1.
    """
    filled = sum(any(map(_is_host, record.cells)) for record in records)
    if not filled or filled < _UNTITLED_SHARE * len(records):
        return None
    width = max(len(record.cells) for record in records)
    numbered = {int(title) - 1: field for title, field in mapped.items() if title.isdecimal() and len(title) < 6}
    columns: dict[str, list[int]] = {}
    for column, field in numbered.items():
        if 0 <= column < width and field != LEAVE_OUT:
            columns.setdefault(field, []).append(column)
    tests = (("mask", _is_dotted_mask), ("mac", _is_mac), ("address", _is_host), ("gateway", _is_host))
    for field, test in (*tests, ("device", _is_word)):
        if field not in columns and (likely := _by_cells(records, columns, test, set(numbered), least=1)) is not None:
            columns[field] = [likely]
    if "address" not in columns:
        return None
    named = sorted((several[0], field) for field, several in columns.items())
    shown = listed([f"column {column + 1} is taken for {field}" for column, field in named], 20)
    guessed = f'no row of titles; {shown}; --map "{named[0][0] + 1}={named[0][1]}" overrules it'
    single = ("address", "mask", "gateway", "mac")
    fields = {field: several[0] for field, several in columns.items() if field not in single}
    ignored = frozenset(column for column, field in numbered.items() if field == LEAVE_OUT)
    return ListLayout(0, (), fields, tuple(_address_columns(columns, [""] * width)), ignored, (guessed,))


def _fields_in(cells: Sequence[str], mapped: Mapping[str, str]) -> set[str]:
    return {field for cell in cells if (field := field_of(cell, mapped))}


def _may_be_above(before: Record, record: Record, own: set[str]) -> bool:
    """Return whether two rows may be titles in two lines.

    The lower row has two known titles. The upper row is directly above it and has no address.
    """
    return len(own) > 1 and before.row == record.row - 1 and not any(map(holds_address, before.cells))


def _single_title(records: Sequence[Record], mapped: Mapping[str, str]) -> Record | None:
    """Return the first row that has only one known title, if the next row has an address or a MAC; None otherwise."""
    for record, after in pairwise(records[:HEADER_ROWS]):
        fields = {field_of(cell, mapped) for cell in record.cells}
        if any(map(holds_address, record.cells)) or not {"device", "address", "host-name"} & fields:
            continue
        if any(holds_address(cell) or _is_mac(cell) for cell in after.cells):
            return record
    return None


def _titles(cells: Sequence[str]) -> list[str]:
    return [" ".join(cell.split()) for cell in cells]


def _completed(cells: Sequence[str], above: Sequence[str]) -> list[str]:
    """Return the titles of a row; a column without a title gets the title from the row above."""
    return [cell if cell.strip() else title for cell, title in zip_longest(cells, above, fillvalue="")]


def _layout(row: int, titles: Sequence[str], body: Sequence[Record], mapped: Mapping[str, str]) -> ListLayout:
    columns: dict[str, list[int]] = {}
    ignored = set()
    for column, title in enumerate(titles):
        field = field_of(title, mapped)
        if field == LEAVE_OUT:
            ignored.add(column)
            continue
        if plain_title(title) not in mapped:
            field = _by_title_and_cells(field, title, [_cell_of(record, column) for record in body])
        if field:
            columns.setdefault(field, []).append(column)
    _correct_network_columns(columns, titles, body, mapped)
    guessed = _without_earlier(columns, titles, mapped)
    known = (("address", holds_address), ("mac", _is_mac), ("mask", _is_dotted_mask))
    tests = known if {"device", "host-name"} & columns.keys() else (*known, ("device", _is_word))
    for field, test in tests:
        if field not in columns and (likely := _by_cells(body, columns, test, ignored)) is not None:
            columns[field] = [likely]
            title = titles[likely] if likely < len(titles) and titles[likely] else f"column {likely + 1}"
            guessed.append(f'the column "{title}" has the {_SEVERAL[field]}')
    tail = _switch_port_number(columns, titles, mapped)
    addresses = tuple(_address_columns(columns, titles))
    single = ("address", "mask", "gateway", "mac")
    fields = {field: several[0] for field, several in columns.items() if field not in single}
    return ListLayout(row, tuple(titles), fields, addresses, frozenset(ignored), tuple(guessed), tail)


def _without_earlier(columns: dict[str, list[int]], titles: Sequence[str], mapped: Mapping[str, str]) -> list[str]:
    """Remove columns of earlier values, such as `IP old` if there is `IP new`; return a remark on each.

    Such a column becomes a further column of the plan under its title.
    """
    guessed = []
    for field in ("address", "mask", "gateway"):
        free = [column for column in columns.get(field, ()) if plain_title(titles[column]) not in mapped]
        words = {column: set(re.split(r"[\W_]+", titles[column].casefold())) for column in free}
        now = [column for column in free if words[column] & _NOW]
        earlier = [column for column in free if (words[column] & _EARLIER or now) and column not in now]
        if len(earlier) < len(columns.get(field, ())):
            columns.get(field, [])[:] = [column for column in columns.get(field, ()) if column not in earlier]
            guessed += [f'the column "{titles[column]}" has earlier values, and is kept as it is' for column in earlier]
    return guessed


def _cell_of(record: Record, column: int) -> str:
    return record.cells[column].strip() if column < len(record.cells) else ""


def _by_title_and_cells(field: str, title: str, cells: Sequence[str]) -> str:
    """Return the field of a column whose title begins with a known one, such as `IP 2` or `MAC X1`, if a cell fits."""
    if field:
        return field
    first, *others = re.split(r"[\s_.-]+", title.strip())
    words = (plain_title(title).rstrip("0123456789"), plain_title(first) if others else "")
    for name, test in _TESTS.items():
        if any(word and word in FIELD_TITLES[name] for word in words) and any(map(test, cells)):
            return name
    return ""


def _correct_network_columns(
    columns: dict[str, list[int]], titles: Sequence[str], body: Sequence[Record], mapped: Mapping[str, str]
) -> None:
    """Correct columns such as `Subnet` that have masks or addresses, and remove address columns without addresses."""

    def share(column: int, test: Callable[[str], bool]) -> float:
        cells = [cell for record in body if (cell := _cell_of(record, column))]
        return sum(map(test, cells)) / len(cells) if cells else 0

    for column in list(columns.get("subnet", ())):
        if column < len(titles) and plain_title(titles[column]) in mapped:
            continue
        for field, test in (("mask", _is_dotted_mask), ("address", _is_host)):
            if field not in columns and share(column, test) > 0.5:
                columns["subnet"].remove(column)
                columns[field] = [column]
                break
    holding = [column for column in columns.get("address", ()) if share(column, holds_address) > 0]
    if holding and len(columns["address"]) > 1:
        columns["address"] = [
            column for column in columns["address"] if column in holding or plain_title(titles[column]) in mapped
        ]
    for field in [field for field, several in columns.items() if not several]:
        del columns[field]


def _switch_port_number(columns: dict[str, list[int]], titles: Sequence[str], mapped: Mapping[str, str]) -> int:
    """Return the column with the port of a switch that an earlier column names, or -1.

    The column is removed from `columns`, because it is no interface of the device.
    """
    switch = columns.get("switch-port", [-1])[0]
    if switch < 0 or plain_title(titles[switch]) in mapped or "port" in plain_title(titles[switch]):
        return -1
    for column in range(switch + 1, len(titles)):
        plain = plain_title(titles[column])
        if plain in _PORTS and plain not in mapped:
            for several in columns.values():
                if column in several:
                    several.remove(column)
            for field in [field for field, several in columns.items() if not several]:
                del columns[field]
            return column
    return -1


def _address_columns(columns: Mapping[str, Sequence[int]], titles: Sequence[str]) -> list[AddressColumns]:
    found = columns.get("address", [-1])
    several = len(found) > 1
    result = []
    for at, column in enumerate(found):
        end = found[at + 1] if at + 1 < len(found) else 1 << 30
        mask, gateway, mac = (
            _column_for(columns.get(field, ()), column, end, at, len(found)) for field in ("mask", "gateway", "mac")
        )
        words = _INTERFACE_IN_TITLE.sub(" ", titles[column]).split() if several else []
        result.append(AddressColumns(column, mask, gateway, mac, "-".join(words).casefold().strip("-.")))
    return result


def _column_for(columns: Sequence[int], start: int, end: int, at: int, count: int) -> int:
    """Return the column of a field that belongs to address column number `at` of `count`, or -1.

    It is the only column between this address and the next, or the column with the same number if there are as many of
    both, or the only column of the field.
    """
    inside = [column for column in columns if start < column < end]
    if len(columns) == count > 1 and len(inside) != 1:
        return columns[at]
    return inside[0] if inside else columns[0] if len(columns) == 1 else -1


def _by_cells(
    body: Sequence[Record],
    columns: Mapping[str, list[int]],
    test: Callable[[str], bool],
    ignored: set[int],
    least: int = 2,
) -> int | None:
    """Return the column without a field that has the most different cells that pass the test, or None.

    Different cells count, because a gateway is the same in many rows. At least `least` cells must pass.
    """
    taken = ignored.union(*columns.values())
    found: dict[int, list[str]] = {}
    for record in body:
        for column, cell in enumerate(record.cells):
            if column not in taken and cell.strip() and test(cell.strip()):
                found.setdefault(column, []).append(cell.strip())
    best: int | None = max(found, key=lambda each: (len(set(found[each])), len(found[each]), -each), default=None)
    return best if best is not None and len(found[best]) >= least else None


def _is_mac(text: str) -> bool:
    try:
        return mac_from(text) is not None
    except ValueError:
        return False


def _is_dotted_mask(text: str) -> bool:
    """Return whether a text is a mask of four octets; such a text is no host, as 240.0.0.0/4 is reserved (RFC 1112)."""
    try:
        mask = mask_from(text)
    except ValueError:
        return False
    return "." in text and mask.length is not None and mask.length >= 8


def _is_mask(text: str) -> bool:
    try:
        return Mask.from_text(f"/{text}" if text.isdecimal() else text).length is not None
    except ValueError:
        return False


def _is_host(text: str) -> bool:
    return holds_address(text) and not _is_dotted_mask(text)


def _is_word(text: str) -> bool:
    """Return whether a text may be the name of a device: it has a letter and is no address, mask or MAC."""
    return any(map(str.isalpha, text)) and not holds_address(text) and not _is_mac(text)


_TESTS: dict[str, Callable[[str], bool]] = {"mask": _is_mask, "gateway": _is_host, "mac": _is_mac, "address": _is_host}
