"""Reads a plan from a workbook: each sheet is a table, with the keys of `plan.toml` as column titles."""

from __future__ import annotations

import io
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path

from netcheck.errors import Problem
from netcheck.files import FileError, HashedFiles
from netcheck.plan.entries import Entry, Tables
from netcheck.plan.forms.csv_table import entries_of, title_of, titled_records
from netcheck.plan.model import Position
from netcheck.plan.shapes import (
    FORMAT,
    AcceptedShape,
    ConversationShape,
    GrantedShape,
    InterfaceRow,
    IslandShape,
    RemarkShape,
    RouterShape,
    SchemeShape,
    Shape,
    StationShape,
    SubnetShape,
    SurveyShape,
    TranslationShape,
)
from netcheck.tables.delimited import Record
from netcheck.tables.workbook_read import UNPACKED_LIMIT, Book, opened_from
from netcheck.text import listed, safe

SITE_HOSTS = "site hosts"
_ALIKE = 0.9  # difflib's ratio from which the name of a sheet is taken for a misspelt name that is missing
GUIDE = "guide"  # the sheet of instructions in a new workbook
SHEETS: dict[str, type[Shape]] = {
    "subnets": SubnetShape,
    "interfaces": InterfaceRow,
    "routers": RouterShape,
    "conversations": ConversationShape,
    "stations": StationShape,
    "surveys": SurveyShape,
    "accepted": AcceptedShape,
    "remarks": RemarkShape,
    "granted": GrantedShape,
    "translations": TranslationShape,
    "islands": IslandShape,
    "schemes": SchemeShape,
}
_KNOWN = ("site", SITE_HOSTS, *SHEETS)


def read_workbook(path: Path, files: HashedFiles, problems: list[Problem]) -> Tables | None:
    """Return the tables of a workbook, or None if nothing can be read; faults are added to `problems`."""
    file = safe(path.name)
    try:
        data = files.read(path, UNPACKED_LIMIT, text=False)
        with opened_from(io.BytesIO(data), path.name) as book:
            return _tables(book, path, problems)
    except FileError as error:
        problems.append(error.at(file))
        return None


def sheet_called(book: Book, name: str) -> str | None:
    """Return the name of a sheet in the workbook's spelling, or None; case and outer blanks do not matter."""
    return next((sheet for sheet in book.sheets if _plain(sheet) == name), None)


def _plain(sheet: str) -> str:
    return " ".join(sheet.casefold().split())


def _tables(book: Book, path: Path, problems: list[Problem]) -> Tables | None:
    file = safe(path.name)
    there = set(map(_plain, book.sheets))
    others = [sheet for sheet in book.sheets if _plain(sheet) not in _KNOWN]
    missing = [name for name in _KNOWN if name not in there]
    for sheet in others:
        if near := get_close_matches(_plain(sheet)[:100], missing, 1, _ALIKE):
            what = f'sheet "{safe(sheet, 40)}" is not known; did you mean "{near[0]}"?'
            problems.append(Problem(what, file, "Rename the sheet"))
    if not problems and not any(_plain(sheet) in _KNOWN for sheet in book.sheets):
        do = f"Call its sheets {listed(list(_KNOWN), 20)}; one of them is enough"
        problems.append(Problem("none of its sheets is a table of a plan", file, do))
        return None
    site = _site(book, path)
    if (written := site.text("format")) not in ("", str(FORMAT)):
        what = f"it is written in format {safe(written, 40)}, and this netcheck reads format {FORMAT}"
        problems.append(Problem(what, file, "Use the netcheck that wrote it, or a newer one"))
        return None
    data = {key: value for key, value in site.data.items() if key != "format"}
    read, unread = dict[str, tuple[Entry, ...]](), set[str]()
    for name, shape in SHEETS.items():
        before = len(problems)
        read[name] = _entries(book, name, shape, file, problems)
        if len(problems) > before and not read[name]:
            unread.add(name)
    return Tables(
        site=Entry(data=data, position=site.position, typed=False),
        subnets=read["subnets"],
        interfaces=read["interfaces"],
        routers=read["routers"],
        conversations=read["conversations"],
        stations=read["stations"],
        surveys=_surveys(read["surveys"], book, path),
        accepted=read["accepted"],
        remarks=read["remarks"],
        granted=read["granted"],
        translations=read["translations"],
        other_sheets=tuple(safe(sheet, 40) for sheet in others if _plain(sheet) != GUIDE),
        islands=read["islands"],
        schemes=read["schemes"],
        unread=frozenset(unread),
    )


def _site(book: Book, path: Path) -> Entry:
    """Read the sheet of keys and values; without that sheet, the site has the file's name."""
    sheet = sheet_called(book, "site")
    position = Position(safe(path.name), "sheet site")
    if sheet is None:
        return Entry(data={"name": path.stem}, position=position, typed=False)
    rows = [(*record.cells, "", "")[:2] for record in book.records(sheet)]
    pairs = {title_of(key): value.strip() for key, value in rows if key.strip() and value.strip()}
    if pairs.get("key", "").casefold() == "value":
        del pairs["key"]
    return Entry(data=pairs, position=position, typed=False)


def _entries(book: Book, name: str, shape: type[Shape], file: str, problems: list[Problem]) -> tuple[Entry, ...]:
    sheet = sheet_called(book, name)
    records: Sequence[Record] = titled_records(list(book.records(sheet)), shape) if sheet is not None else []
    return entries_of(records, shape, file, problems, f"sheet {name}, ") if records else ()


def _surveys(entries: tuple[Entry, ...], book: Book, path: Path) -> tuple[Entry, ...]:
    """Return the surveys of the sheet `surveys`, and the workbook's own sheet of site hosts as a further survey."""
    if sheet_called(book, SITE_HOSTS) is None:
        return entries
    own = {"file": path.name, "kind": "xlsx"}
    if not any(_plain(entry.text("file")) == SITE_HOSTS for entry in entries):
        return (*entries, Entry(data=own, position=Position(safe(path.name), f"sheet {SITE_HOSTS}"), typed=False))
    return tuple(
        Entry(data={**entry.data, **own}, position=entry.position, typed=False)
        if _plain(entry.text("file")) == SITE_HOSTS
        else entry
        for entry in entries
    )
