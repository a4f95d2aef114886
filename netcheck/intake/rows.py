"""Reads the tables of a device list, and makes an interface of each address in a row; all other cells are kept."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from netcheck.errors import Problem
from netcheck.files import MIB, ZIP, FileError, read_bounded
from netcheck.intake.columns import AddressColumns, ListLayout
from netcheck.plan.cells import DHCP, address_from, is_dhcp, is_unknown, several_addresses
from netcheck.survey.readers.values import holds_address
from netcheck.tables.delimited import DELIMITERS, Record, lines_in, records_of, text_of
from netcheck.text import safe

LIMIT = 64 * MIB
MOST_ROWS = 100_000  # rows of all tables together
_FILLED = ("place", "subnet", "vlan", "unit")  # many lists write these fields only in the first row of a group
_LENGTH = re.compile(r"(\S+?)\s*/\s*(\d{1,2}|\d+\.\d+\.\d+\.\d+)", re.ASCII)
_TAG = re.compile(r"\S*\d\S*|[=+-]\S+")  # a device tag: one word with a digit, or with a sign of IEC 81346
_TOTAL = re.compile(r"(?:grand )?total\b|sum\b|summe\b|gesamt|anzahl\b|count\b|number of\b", re.IGNORECASE)
# Signs that an address is not known yet, in addition to those of a plan; common practice, no source.
_OPEN = frozenset({
    *("frei", "offen", "noch offen", "folgt", "unbekannt", "k.a.", "n.v.", "kein", "keine", "ohne", "zu vergeben"),
    *("free", "open", "unknown", "later", "no", "pending", "not assigned", "unassigned", "xxx", "x.x.x.x", "?.?.?.?"),
})  # fmt: skip
_LONGEST_ADDRESS = 100  # characters of an address with its mask and blanks
_MASKED = re.compile(r"(\S+?)[\s/;,]+(255(?:\.\d{1,3}){3})", re.ASCII)  # `10.0.0.9 255.255.255.0`
_REMARKED = re.compile(r"([0-9A-Fa-f.:]+)(?:\s*([?!*]+)|\s*(\(.{1,200}\)))", re.ASCII)  # `10.0.0.9 (reserved)`
_DHCP = re.compile(r"(?<![a-z])dhcp", re.IGNORECASE)
_NO_DHCP = re.compile(r"(?:no|not|non|kein|keine|ohne|nicht)(?![a-z])", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedInterface:
    """An interface of the list, all values as text; `where` is its position in the list."""

    device: str
    interface: str
    where: str
    address: str = ""
    mask: str = ""
    gateway: str = ""
    mac: str = ""
    values: Mapping[str, str] = field(default_factory=dict)  # the other fields
    extra: tuple[tuple[str, str], ...] = ()  # (title, text) of the other columns
    unit: str = ""  # the line or machine, if the list has a column for it
    group: str = ""  # the heading above the row, or the sheet


@dataclass(slots=True)
class IntakeRemarks:
    """Remarks for the user: values that were guessed, and rows and cells that were not used."""

    guessed: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)


def tables_in(path: Path, file: str, remarks: IntakeRemarks) -> Iterator[tuple[str, list[Record]]]:
    """Yield the sheet name and the records of each table of a file; the name is empty for a text file.

    A hidden sheet becomes a remark, in which `file` precedes the name of the sheet. FileError if the file cannot be
    read.
    """
    data = read_bounded(path, LIMIT, text=False)
    if data.startswith(ZIP):
        from netcheck.tables.workbook_read import opened_from  # only for a workbook

        with opened_from(io.BytesIO(data), path.name) as book:
            for sheet in book.sheets:
                if book.hidden(sheet):
                    name = f'{file}sheet "{safe(sheet, 40)}"'
                    remarks.unread.append(f"{name}: it is hidden and left out; unhide it in the workbook to read it")
                elif records := _bounded(book.records(sheet)):
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


def interfaces_in(
    records: Sequence[Record], layout: ListLayout, sheet: str, remarks: IntakeRemarks, serial: Iterator[int]
) -> Iterator[ListedInterface]:
    """Yield the interfaces of the rows below the titles; a row without an interface becomes a remark.

    `sheet` precedes the row number in remarks. `serial` numbers the devices without a name.
    """
    reader = _Reader(layout, sheet, remarks, serial)
    for record in records:
        if record.row > layout.row and not record.empty:
            yield from reader.read(record)
    if reader.by_host_name:
        title = layout.title(layout.fields["host-name"])
        remarks.guessed.append(
            f'{sheet}no column names the devices; "{safe(title, 40)}" is used for devices and host names'
        )
    for name, rows in reader.filled.items():
        shown = f"{rows[0]} and {len(rows) - 1} more rows" if len(rows) > 1 else rows[0]
        title = layout.title(layout.fields[name])
        remarks.guessed.append(f'{sheet}{shown}: "{safe(title, 40)}" is empty; the value of the row above is used')


class _Reader:
    """Reads the rows in their order, because an empty cell may get the value of the row above."""

    def __init__(self, layout: ListLayout, sheet: str, remarks: IntakeRemarks, serial: Iterator[int]) -> None:
        self._layout, self._sheet, self._remarks, self._serial = layout, sheet, remarks, serial
        self._used = {*layout.fields.values(), *layout.ignored, layout.switch_port_number}
        for one in layout.addresses:
            self._used |= {one.address, one.mask, one.gateway, one.mac}
        self._device = self._group = ""
        self._above: dict[str, str] = {}
        self.by_host_name = 0  # rows whose host name became the device, because no column names devices
        self.filled: dict[str, list[str]] = {}  # by field: the rows that got the value of the row above

    def read(self, record: Record) -> Iterator[ListedInterface]:
        """Yield the interfaces of one row."""
        cells = [" ".join(cell.split()) for cell in record.cells]
        where = f"{self._sheet}row {record.row}"
        if self._layout.is_repeated_in(cells):
            return
        if _TOTAL.match(next(filter(None, cells), "")) and sum(map(bool, cells)) == 1:
            self._remarks.unread.append(f"{where}: it is taken for a total: {safe(next(filter(None, cells)), 60)}")
            return
        if heading := self._heading(cells):
            self._group, self._device, self._above = heading, "", {}
            self._remarks.guessed.append(f'{where}: "{safe(heading, 60)}" is a heading; its rows are in that group')
            return
        values = {name: self._cell(cells, column) for name, column in self._layout.fields.items()}
        if tail := self._cell(cells, self._layout.switch_port_number):
            values["switch-port"] = f"{values['switch-port']}/{tail}" if values.get("switch-port") else tail
        values = {name: text for name, text in values.items() if text}
        slots = [slot for columns in self._layout.addresses for slot in self._addresses(cells, columns)]
        named = [slot for slot in slots if any(slot[1:])]
        if not named and _TOTAL.match(values.get("device", "")) and not {"host-name", "mac"} & values.keys():
            self._remarks.unread.append(
                f"{where}: it is taken for a total: {', '.join(safe(one, 30) for one in cells if one)}"
            )
            return
        if self._is_free_address(values, named):
            shown = " ".join(filter(None, (named[0][1], values.get("remark", ""))))
            self._remarks.unread.append(f"{where}: it has an address but no device; it is left out: {safe(shown, 60)}")
            return
        device = values.pop("device", "") or self._device_of(values, where, named)
        if not device:
            shown = ", ".join(safe(cell, 30) for cell in cells if cell)
            self._remarks.unread.append(f"{where}: it has neither a device nor an address: {shown}")
            return
        self._device = device
        self._fill(values, f"row {record.row}")
        yield from self._interfaces(device, values, named or slots[:1] or [("", "", "", "", "")], cells, where)

    def _cell(self, cells: Sequence[str], column: int) -> str:
        return cells[column] if 0 <= column < len(cells) else ""

    def _heading(self, cells: Sequence[str]) -> str:
        """Return the text of a row that is a heading, otherwise an empty text.

        A heading is the only cell of its row. It is no address, no tag of a device, and not in a column of devices,
        unless that is the first column.
        """
        filled = [(column, cell) for column, cell in enumerate(cells) if cell]
        if len(filled) != 1 or holds_address(filled[0][1]):
            return ""
        column, text = filled[0]
        is_of_devices = column == self._layout.fields.get("device", -1)
        return "" if is_of_devices and (column > 0 or _TAG.fullmatch(text)) else text

    def _addresses(self, cells: Sequence[str], columns: AddressColumns) -> Iterator[tuple[str, str, str, str, str]]:
        """Yield (interface, address, mask, gateway, MAC) for each address of a cell; once if it has no address."""
        text = self._cell(cells, columns.address)
        mask, gateway, mac = (self._cell(cells, one) for one in (columns.mask, columns.gateway, columns.mac))
        if len(text) <= _LONGEST_ADDRESS and (found := _MASKED.fullmatch(text)):
            text = f"{found[1]}/{found[2]}"
        parts = several_addresses(text) or [text]
        shared = not text and len(self._layout.addresses) > 1  # mask and MAC belong to the address of another column
        for number, part in enumerate(parts):
            yield (
                columns.interface,
                part,
                "" if shared else mask,
                "" if shared else gateway,
                "" if shared or number else mac,
            )

    def _is_free_address(self, values: Mapping[str, str], named: Sequence[tuple[str, str, str, str, str]]) -> bool:
        """Return whether a row has only an address, in a list whose column of devices follows the addresses."""
        first = min((one.address for one in self._layout.addresses), default=-1)
        device = self._layout.fields.get("device", -1)
        bare = len(named) == 1 and bool(named[0][1]) and not named[0][4]
        return bare and 0 <= first < device and values.keys() <= {"subnet", "vlan", "unit", "remark"}

    def _device_of(self, values: Mapping[str, str], where: str, named: Sequence[object]) -> str:
        """Return the device of a row that names none: the device of the row above, or a name made from the row.

        Empty if the row has neither an address nor a host name.
        """
        filled = "device" in self._layout.fields and self._device
        if filled and (named or "interface" in values or "slot" in values):
            return self._device
        if not named and not values.get("host-name"):
            return ""
        device = values.get("host-name", "") or f"device-{next(self._serial)}"
        if "host-name" in values and "device" not in self._layout.fields:
            self.by_host_name += 1
            return device
        self._remarks.guessed.append(f'{where}: it names no device; "{safe(device, 60)}" is used')
        return device

    def _fill(self, values: dict[str, str], row: str) -> None:
        for name in _FILLED:
            if name in values:
                self._above[name] = values[name]
            elif above := self._above.get(name, ""):
                values[name] = above
                self.filled.setdefault(name, []).append(row)

    def _interfaces(
        self,
        device: str,
        values: dict[str, str],
        slots: Sequence[tuple[str, str, str, str, str]],
        cells: Sequence[str],
        where: str,
    ) -> Iterator[ListedInterface]:
        extra = [
            (self._layout.title(column), cell) for column, cell in enumerate(cells) if cell and column not in self._used
        ]
        if self._group:
            extra.append(("group", self._group))
        unit = values.get("unit", "")
        if unit:
            extra.append((self._layout.title(self._layout.fields["unit"]), unit))
        values = {name: text for name, text in values.items() if name != "unit"}
        for number, (interface, address, mask, gateway, mac) in enumerate(slots):
            address, mask = _with_mask(address, mask)
            address, remark = self._bare(address, where)
            if address.casefold() in _OPEN:
                self._remarks.guessed.append(f'{where}: "{safe(address, 20)}" is taken for an address not known yet')
                address = ""
            own = dict(values) if not number else {name: values[name] for name in (*_FILLED, "kind") if name in values}
            name = own.pop("interface", "") if not number else ""
            if remark:
                own["remark"] = f"{own['remark']}; {remark}" if own.get("remark") else remark
            yield ListedInterface(
                device=device,
                interface=interface or name,
                where=where,
                address=_address(address),
                mask="" if is_unknown(mask) else mask,
                gateway="" if is_unknown(gateway) else gateway,
                mac="" if is_unknown(mac) else mac,
                values=own,
                extra=tuple(extra),
                unit=unit,
                group=self._group or self._sheet.removesuffix(", "),
            )

    def _bare(self, text: str, where: str) -> tuple[str, str]:
        """Return the address of a cell, or `dhcp`, without other words; and a remark that keeps the whole cell."""
        if (found := _REMARKED.fullmatch(text)) and holds_address(found[1]):
            self._remarks.guessed.append(f'{where}: "{safe(text, 60)}" is read as {found[1]} and kept as a remark')
            return found[1], f"list: {text}"
        if _DHCP.search(text) and not _NO_DHCP.match(text) and not is_dhcp(text):
            self._remarks.guessed.append(f'{where}: "{safe(text, 60)}" is read as {DHCP} and kept as a remark')
            return DHCP, f"list: {text}"
        return text, ""


def _with_mask(address: str, mask: str) -> tuple[str, str]:
    """Return address and mask; a prefix length or mask after the address becomes the mask if there is no other."""
    found = _LENGTH.fullmatch(address)
    if found is None or not holds_address(found[1]):
        return address, mask
    return found[1], mask or (f"/{found[2]}" if found[2].isdecimal() else found[2])


def _address(text: str) -> str:
    if is_unknown(text):
        return ""
    if is_dhcp(text):
        return DHCP
    try:
        return str(address_from(text))
    except ValueError:
        return text
