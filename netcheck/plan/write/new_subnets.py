"""Adds subnets to a plan: to its `plan.toml`, its table of subnets or its workbook; the existing content is kept."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

from netcheck.addr import Address, Prefix
from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, read_bounded
from netcheck.plan.forms.csv_table import TABLE_LIMIT, delimiter_of, title_of
from netcheck.plan.forms.toml_plan import PLAN_LIMIT, parsed
from netcheck.plan.read import plan_file, read_plan
from netcheck.plan.shape_problems import keys_of
from netcheck.plan.shapes import SubnetShape
from netcheck.plan.write.addresses import Edit, encoding_with_mark
from netcheck.plan.write.workbook_changes import EntryTable, workbook_with_entries
from netcheck.tables.delimited import guarded, lines_in, records_of
from netcheck.tables.workbook_read import UNPACKED_LIMIT
from netcheck.text import safe

_SHEET = EntryTable("subnet", "subnets", SubnetShape, ("name",), ("prefix", "gateway"))
NewSubnet = tuple[str, Prefix, Address]  # name, prefix, gateway
DO = "Add the subnets by hand"


def with_subnets(path: str | Path, subnets: Sequence[NewSubnet]) -> Edit:
    """Return the changed file of a plan with these subnets added.

    A workbook gets rows at the end of its sheet, and so does the table that `subnets` names; otherwise `plan.toml` gets
    `[[subnet]]` tables at its end. PlanError if a name exists already, or if the file cannot take entries at its end.
    """
    file = plan_file(Path(path))
    where = safe(file.name)
    known = read_plan(path).subnet_named
    for name, _, _ in subnets:
        if name in known:
            raise PlanError(
                Problem(f"subnet {safe(name, 60)!r} exists already", where, "Give the new one another name")
            )
    if file.suffix.casefold() == ".xlsx":
        return _changed(file, UNPACKED_LIMIT, subnets, workbook_with_subnets)
    data = _read(file, PLAN_LIMIT)
    table = parsed(data, where).get("subnets")
    if isinstance(table, str):
        return _changed(file.parent / table.strip(), TABLE_LIMIT, subnets, table_with_subnets)
    text = data.decode("utf-8-sig")
    end = "\r\n" if "\r\n" in text else "\n"
    added = "".join(f"\n{_table(*one)}" for one in subnets)
    new = data + ("" if text.endswith("\n") or not text else "\n").encode() + added.replace("\n", end).encode("utf-8")
    _demand_same(parsed(data, where), new, subnets, where)
    return Edit(file, new)


def _read(file: Path, limit: int) -> bytes:
    try:
        return read_bounded(file, limit, file.suffix.casefold() != ".xlsx")
    except FileError as error:
        raise PlanError(error.at(safe(file.name))) from error


def _changed(
    file: Path, limit: int, subnets: Sequence[NewSubnet], change: Callable[[bytes, Sequence[NewSubnet]], bytes]
) -> Edit:
    try:
        return Edit(file, change(_read(file, limit), subnets))
    except ValueError as error:
        raise PlanError(Problem(f"it cannot take further subnets: {error}", safe(file.name), DO)) from error


def _rows(subnets: Sequence[NewSubnet]) -> list[dict[str, str]]:
    return [{"name": name, "prefix": str(prefix), "gateway": str(gateway)} for name, prefix, gateway in subnets]


def workbook_with_subnets(data: bytes, subnets: Sequence[NewSubnet]) -> bytes:
    """Return the workbook with a row for each new subnet; ValueError if another value would change."""
    return workbook_with_entries(data, _SHEET, _rows(subnets))


def table_with_subnets(data: bytes, subnets: Sequence[NewSubnet]) -> bytes:
    """Return a CSV table with a row for each new subnet; delimiter, encoding and line ends are kept.

    ValueError if a column is missing or another value would change.
    """
    mark, encoding = encoding_with_mark(data)
    text = data[len(mark) :].decode(encoding)
    lines = list(lines_in(text))
    delimiter = delimiter_of(lines, keys_of(SubnetShape))
    records = list(records_of(lines, delimiter))
    titles = list(map(title_of, next((record.cells for record in records if not record.empty), ())))
    if missing := [key for key in ("name", "prefix", "gateway") if key not in titles]:
        raise ValueError(f"it has no column {missing[0]}")
    added = [[guarded(row.get(title, "")) for title in titles] for row in _rows(subnets)]
    out = io.StringIO()
    end = "\r\n" if "\r\n" in text else "\n"
    csv.writer(out, delimiter=delimiter, lineterminator=end).writerows(added)
    new = text + ("" if text.endswith("\n") else end) + out.getvalue()
    read = [record.cells for record in records_of(lines_in(new), delimiter)]
    if list(map(list, read)) != [*(list(record.cells) for record in records), *added]:
        raise ValueError("another value would change with it")
    return mark + new.encode(encoding)


def _table(name: str, prefix: Prefix, gateway: Address) -> str:
    return f'[[subnet]]\nname = {_quoted(name)}\nprefix = "{prefix}"\ngateway = "{gateway}"\n'


def _quoted(text: str) -> str:
    """Return a TOML basic string (TOML 1.0, String)."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(one if one.isprintable() else f"\\U{ord(one):08x}" for one in plain) + '"'


def _demand_same(before: dict[str, object], new: bytes, subnets: Sequence[NewSubnet], where: str) -> None:
    """Read the new text back; PlanError unless it has the old values, followed by the new tables."""
    tables = _rows(subnets)
    there = before.get("subnet", [])
    wanted = {**before, "subnet": [*(there if isinstance(there, list) else []), *tables]}
    try:
        same = tomllib.loads(new.decode("utf-8-sig")) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise PlanError(Problem("its tables cannot be extended at the end of the file", where, DO))
