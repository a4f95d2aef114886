"""Reads `plan.toml` and the CSV tables that it names."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from netcheck.errors import PlanError, Problem
from netcheck.files import MIB, ZIP, FileError, HashedFiles
from netcheck.plan.entries import Entry, Rows, Tables, TomlLines
from netcheck.plan.forms.csv_table import read_table
from netcheck.plan.model import Position
from netcheck.plan.shape_problems import found
from netcheck.plan.shapes import (
    FORMAT,
    ConversationShape,
    InterfaceRow,
    PlanShape,
    Shape,
    SubnetShape,
    TranslationShape,
)
from netcheck.text import Pattern, safe

PLAN_LIMIT = 16 * MIB
_CONTROL = Pattern(r"[\x00-\x08\x0b-\x1f\x7f]")
_STRINGS = Pattern(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#.*')
_KEY_PARTS = 32  # keys of a plan have at most two parts; the parser's time grows with the square of their number
_AT_LINE = Pattern(r"at line (\d+)")
ENTRY_TABLES = (
    "subnet",
    "device",
    "router",
    "translation",
    "conversation",
    "station",
    "survey",
    "accepted",
    "remark",
    "granted",
    "island",
    "scheme",
)
# The key that names an entry of each table; the entries of other tables are numbered.
_NAMES = {
    "survey": "file",
    "translation": "outside",
    "scheme": "range",
    **dict.fromkeys(("accepted", "remark", "granted"), ""),
}
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_ROWS: dict[str, type[Shape]] = {
    "subnets": SubnetShape,
    "interfaces": InterfaceRow,
    "conversations": ConversationShape,
    "translations": TranslationShape,
}


def read_toml(path: Path, files: HashedFiles, problems: list[Problem]) -> Tables | None:
    """Return the tables of `plan.toml`, or None if nothing can be read; faults are added to `problems`."""
    file = safe(path.name)
    try:
        data = files.read(path, PLAN_LIMIT)
        document = parsed(data, file)
    except FileError as error:
        problems.append(error.at(file))
        return None
    except PlanError as error:
        problems += error.problems
        return None
    top = Entry(data=document, position=Position(file), lines=TomlLines(_text(data, file)))
    return _tables(top, path, files, problems)


def parsed(data: bytes, file: str) -> dict[str, object]:
    """Return parsed TOML; PlanError with the line if it is not valid."""
    text = _text(data, file)
    for number, line in enumerate(text.splitlines(), 1):
        if line.count(".") > _KEY_PARTS and _STRINGS.sub("", line).count(".") > _KEY_PARTS:
            what = f"line {number} has a key of more than {_KEY_PARTS} parts"
            raise PlanError(Problem(what, file, "No key of a plan has more than two; put texts in quotes"))
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlanError(_not_toml(error, text, file)) from error
    except RecursionError as error:
        raise PlanError(Problem("its lists or tables are nested too deeply", file)) from error
    except ValueError as error:
        if "integer string" in str(error):
            raise PlanError(
                Problem("a value cannot be read: a number with thousands of digits", file, "Correct the number")
            ) from error
        raise PlanError(Problem(f"a value cannot be read: {safe(str(error))}", file)) from error


def _not_toml(error: tomllib.TOMLDecodeError, text: str, file: str) -> Problem:
    """Return the reason why TOML cannot be parsed; a repeated key or table is named with both lines."""
    found = _AT_LINE.search(str(error))
    number = int(found[1]) if found else 0
    if control := _control_character(text, number):
        return Problem(control[0], f"{file} line {number}", control[1])
    if "Cannot" in str(error):
        lines = TomlLines(text)
        for line, first, path in lines.repeated:
            if line <= number:
                what = f'the key "{safe(str(path[-1]), 60)}" is there twice in the same table, first in line {first}'
                return Problem(what, f"{file} line {line}", "Remove one of them")
        if clash := _clash(lines, number):
            line, header, first, before = clash
            want = f"[[{header.strip('[]# ')}]]"
            if before.startswith("[[") != header.startswith("[["):
                what = f"{header} does not fit {before} in line {first}"
                return Problem(what, f"{file} line {line}", f"Write {want} above each entry")
            do = (
                f"Write {want} if it is another entry" if header.strip("[] ") in ENTRY_TABLES else "Join the two tables"
            )
            return Problem(f"the table {header} is there twice, first in line {first}", f"{file} line {line}", do)
    if corrected := _corrected_line(text, number):
        why, right = corrected
        return Problem(f"this is not TOML: {why}", f"{file} line {number}", f"Write {right}")
    where = f"{file} line {number}" if number else file
    do = "Check this line and the line before it; texts, addresses and names are written in quotes"
    return Problem(f"this is not TOML: {safe(str(error))}", where, do)


def _control_character(text: str, number: int) -> tuple[str, str] | None:
    """Return what a line has of the characters that TOML forbids (1.0.0, "Newline" and "Comment"), and what to do."""
    lines = text.split("\n")
    line = lines[number - 1].removesuffix("\r") if 0 < number <= len(lines) else ""
    if "\r" in line:
        return "its lines end in CR alone, and TOML needs LF or CR LF", "Save it with the line ends of Windows or Unix"
    if found := _CONTROL.search(line):
        what = f"it has the control character U+{ord(found[0]):04X} at position {found.start() + 1}"
        return f"this is not TOML: {what}", "Delete this character"
    return None


_LONGEST_CORRECTED = 500  # characters of a line that a message corrects
# A key and a value without straight quotes, brackets or a comment.
_BARE = Pattern(r"\s*([A-Za-z0-9_-]{1,60})\s*=\s*([^\s\"'\[\]{}#=][^\"'\[\]{}#=]{0,200}?)\s*(?:#.*)?", re.ASCII)
_COLON = Pattern(r"\s*([A-Za-z0-9_-]{1,60})\s*:\s*(\S.{0,200})", re.ASCII)
_HEADER = Pattern(r"\s*\[{1,2}\s*([A-Za-z.]{1,60})\s*\]{0,2}\s*(?:#.*)?", re.ASCII)
_CURLY = "\u2018\u2019\u201a\u201b\u201c\u201d\u201e\u201f\u00ab\u00bb"  # quotation marks of text programs


def _corrected_line(text: str, number: int) -> tuple[str, str] | None:
    """Return the fault in a line's quotes, colon or brackets, and the corrected line; None without such a fault."""
    lines = text.splitlines()
    line = lines[number - 1][:_LONGEST_CORRECTED] if 0 < number <= len(lines) else ""
    if found := _BARE.fullmatch(line):
        value = found[2].strip(_CURLY)
        if value.casefold() in ("true", "false"):
            return "true and false are written in small letters", f"{found[1]} = {value.casefold()}"
        return "a text needs straight double quotes", f'{found[1]} = "{safe(value, 200)}"'
    if found := _COLON.fullmatch(line):
        return "a key and its value are separated by =", f"{found[1]} = {safe(found[2].strip(), 200)}"
    if (found := _HEADER.fullmatch(line)) and line.count("[") != line.count("]"):
        right = "[site]" if found[1] == "site" else f"[[{found[1]}]]"
        return "a bracket is missing", right
    return None


def _clash(lines: TomlLines, number: int) -> tuple[int, str, int, str] | None:
    """Return the last header down to a line that clashes with an earlier header of the same name; None without one.

    The result is the line and the text of that header, then the line and the text of the earlier one.
    """
    first: dict[tuple[str | int, ...], tuple[int, str]] = {}
    for line, header, path in lines.headers:
        bare = safe(header.partition("#")[0].strip(), 60)
        before = first.setdefault(path, (line, bare))
        if line <= number and before[0] < line and not (before[1].startswith("[[") and bare.startswith("[[")):
            return line, bare, *before
    return None


def _text(data: bytes, file: str) -> str:
    if data.startswith(_UTF16):
        raise PlanError(Problem("it is written in UTF-16", file, "Save it as UTF-8"))
    if data.startswith(ZIP):
        raise PlanError(Problem("it is a workbook with another extension", file, "Give it a name that ends in .xlsx"))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise PlanError(Problem(f"line {line} contains a byte that is not UTF-8", file, "Save it as UTF-8")) from error


def _tables(top: Entry, path: Path, files: HashedFiles, problems: list[Problem]) -> Tables | None:
    number = top.data.get("format")
    if type(number) is int and number != FORMAT:
        what = f"it is written in format {found(number)}, and this netcheck reads format {FORMAT}"
        problems.append(Problem(what, top.position.file, "Use the netcheck that wrote it, or a newer one"))
        return None
    top.fitted(PlanShape, problems)
    csv, unread = dict[str, Rows](), set[str]()
    for key in top.data:
        if key in _ROWS:
            before = len(problems)
            csv[key] = _csv_table(top, key, path.parent, files, problems)
            if len(problems) > before and not csv[key]:
                unread.add(key)
    return Tables(
        site=_site(top),
        subnets=(*_entries(top, "subnet"), *csv.get("subnets", ())),
        devices=_entries(top, "device"),
        interfaces=csv.get("interfaces", ()),
        routers=_entries(top, "router"),
        conversations=(*_entries(top, "conversation"), *csv.get("conversations", ())),
        stations=_entries(top, "station"),
        surveys=_entries(top, "survey"),
        accepted=_entries(top, "accepted"),
        remarks=_entries(top, "remark"),
        granted=_entries(top, "granted"),
        translations=(*_entries(top, "translation"), *csv.get("translations", ())),
        islands=_entries(top, "island"),
        schemes=_entries(top, "scheme"),
        unread=frozenset(unread),
    )


def _csv_table(top: Entry, key: str, folder: Path, files: HashedFiles, problems: list[Problem]) -> Rows:
    file = top.text(key)
    return read_table(folder / file, safe(file), _ROWS[key], files, problems) if file else ()


def _site(top: Entry) -> Entry:
    data = top.data.get("site")
    return top.inner(data if isinstance(data, dict) else {"name": "?"}, ("site",), "site")


def _entries(top: Entry, kind: str) -> tuple[Entry, ...]:
    listing = top.data.get(kind)
    tables = listing if isinstance(listing, list) else []
    return tuple(
        top.inner(table, (kind, number - 1), f"{kind} {label_of(kind, table, number)}")
        for number, table in enumerate(tables, 1)
        if isinstance(table, dict)
    )


def label_of(kind: str, table: Mapping[str, object], number: int) -> str:
    """Return the label of an entry in messages: its name, its two ends, its file, or its number."""
    if kind == "conversation":
        ends = (table.get("from"), table.get("to"))
        return " to ".join(safe(end, 80) for end in ends if isinstance(end, str) and end.strip()) or str(number)
    name = table.get(_NAMES.get(kind, "name"))
    return safe(name.strip(), 80) if isinstance(name, str) and name.strip() else str(number)
