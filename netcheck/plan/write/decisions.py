"""Writes the site's decisions into a plan: accepted findings, remarks and granted requests.

Comments, layout and all other values are kept. A new entry follows the last entry of its kind, or the end of
`plan.toml` or of its sheet. An existing entry with the same identity is changed in its place; a withdrawn entry is
removed. This module inserts text itself, because tomlkit would append an entry below the comments of the next table.
"""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, MutableMapping, Sequence
from dataclasses import dataclass
from itertools import count, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, read_bounded
from netcheck.plan.forms.toml_plan import PLAN_LIMIT
from netcheck.plan.model import SITE, Accepted, GrantedRequest, SiteRemark
from netcheck.plan.read import plan_file
from netcheck.plan.shapes import AcceptedShape, GrantedShape, RemarkShape
from netcheck.plan.write.addresses import Edit
from netcheck.plan.write.toml_sections import with_change
from netcheck.plan.write.workbook_changes import EntryTable, workbook_with_entries
from netcheck.tables.workbook_read import UNPACKED_LIMIT
from netcheck.text import listed, safe

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

# The headers of tables, and blank and comment lines at the end of a table.
_TABLE = re.compile(r"^[ \t]*\[", re.MULTILINE)
_COMMENTS = re.compile(r"(?:^[ \t]*(?:#[^\n]*)?\r?\n)+\Z", re.MULTILINE)

Row: TypeAlias = Mapping[str, Any]


_FINDING = ("rule", "subject", "address", "with")
ACCEPTED = EntryTable("accepted", "accepted", AcceptedShape, _FINDING, ("by", "because", "until", "decided"))
REMARKS = EntryTable(
    "remark", "remarks", RemarkShape, (*_FINDING, "decision", "change-to", "remark"), ("by", "decided")
)
GRANTED = EntryTable(
    "granted", "granted", GrantedShape, ("kind", "subject", "island", "address", "what"), ("by", "ticket", "decided")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDecisions:
    """The entries to write into a plan, and the accepted entries to remove from it."""

    accepted: Sequence[Accepted] = ()
    withdrawn: Sequence[Accepted] = ()
    remarks: Sequence[SiteRemark] = ()
    granted: Sequence[GrantedRequest] = ()

    @property
    def rows(self) -> Iterator[tuple[EntryTable, list[dict[str, Any]], list[dict[str, Any]]]]:
        """Yield each table that changes, with the rows to write and the rows to remove."""
        for table, entries, gone in (
            (ACCEPTED, [*map(row_of, self.accepted)], [*map(row_of, self.withdrawn)]),
            (REMARKS, [*map(row_of, self.remarks)], []),
            (GRANTED, [*map(row_of, self.granted)], []),
        ):
            if entries or gone:
                yield table, entries, gone


def with_decisions(path: str | Path, decisions: PlanDecisions) -> Edit | None:
    """Return the plan's changed file, or None if nothing changes.

    PlanError if the file cannot be changed without changing other values.
    """
    file = plan_file(Path(path))
    book = file.suffix.casefold() == ".xlsx"
    try:
        data = new = read_bounded(file, UNPACKED_LIMIT if book else PLAN_LIMIT, text=not book)
        for table, rows, gone in decisions.rows:
            new = workbook_with_entries(new, table, rows, gone) if book else plan_with_entries(new, table, rows, gone)
    except FileError as error:
        raise PlanError(error.at(safe(file.name))) from error
    except ValueError as error:
        words = [_words(row) for _, rows, gone in decisions.rows for row in rows + gone]
        do = f"Change by hand: {listed(words, 20)}"
        raise PlanError(
            Problem(f"it cannot be changed without changing other values: {error}", safe(file.name), do)
        ) from error
    return None if new == data else Edit(file, new)


def _words(row: Row) -> str:
    return f"{safe(str(row.get('rule') or row.get('kind')), 40)} of {safe(str(row['subject']), 80)}"


def row_of(entry: Accepted | SiteRemark | GrantedRequest) -> dict[str, Any]:
    """Return an entry's values by key in the order of writing; empty values are left out."""
    match entry:
        case Accepted():
            values = {**_finding(entry), "by": entry.by, "because": entry.because, "until": entry.until}
        case SiteRemark():
            said = {"decision": entry.decision, "change-to": entry.change_to, "remark": entry.remark, "by": entry.by}
            values = {**_finding(entry), **said}
        case GrantedRequest():
            island = "" if entry.island == SITE else entry.island
            asked = {"kind": entry.kind, "subject": entry.subject, "island": island, "address": entry.address}
            values = {**asked, "what": entry.what, "by": entry.by, "ticket": entry.ticket}
    values["decided"] = entry.decided
    if isinstance(entry, SiteRemark):
        values["reply"] = entry.reply
    return {key: value for key, value in values.items() if value}


def _finding(entry: Accepted | SiteRemark) -> dict[str, Any]:
    return {"rule": entry.rule, "subject": entry.subject, "address": entry.address, "with": entry.other}


def plan_with_entries(data: bytes, table: EntryTable, rows: Sequence[Row], gone: Sequence[Row] = ()) -> bytes:
    """Return the bytes of `plan.toml` with these entries, without those `gone`; ValueError if another value changes."""
    mark = codecs.BOM_UTF8 if data.startswith(codecs.BOM_UTF8) else b""
    text = toml_without(data[len(mark) :].decode("utf-8"), table, gone)
    new = mark + toml_with_entries(text, table, rows).encode("utf-8")
    if len(new) > PLAN_LIMIT:
        raise ValueError(f"it would have {len(new):,} bytes; at most {PLAN_LIMIT:,} are read")
    return new


def toml_without(text: str, table: EntryTable, gone: Sequence[Row]) -> str:
    """Return a plan's TOML without these entries and without the blank line above each of them.

    ValueError if another value would change.
    """
    expected, wanted = tomllib.loads(text), {_identity(table, row) for row in gone}
    listing = _listing(expected, table)
    places = [at for at, entry in enumerate(listing) if _identity(table, entry) in wanted]
    if not places:
        return text
    expected[table.key] = [entry for at, entry in enumerate(listing) if at not in places]
    for one in (_without_tables(text, table, places), _without_items(text, table, places)):
        parsed = _parsed(one)
        if parsed is not None and {table.key: [], **parsed} == expected:
            return one
    raise ValueError("another value would change with it")


def _without_tables(text: str, table: EntryTable, places: Iterable[int]) -> str:
    blocks = list(_blocks(text, table))
    for at in sorted((at for at in places if at < len(blocks)), reverse=True):
        start, end = blocks[at]
        before, after = text[:start], text[end:]
        newline = "\r\n" if before.endswith("\r\n") else "\n"
        if before.endswith(2 * newline) and (not after or after.startswith(newline)):
            before = before.removesuffix(newline)
        text = before + after
    return text


def _without_items(text: str, table: EntryTable, places: Iterable[int]) -> str:
    entries = count()
    gone = set(places)

    def change(document: TOMLDocument) -> bool:
        listing: Any = document.get(table.key, [])
        mine = [at for at, number in zip(range(len(listing)), entries, strict=False) if number in gone]
        for at in reversed(mine):
            del listing[at]
        return bool(mine)

    return with_change(text, change)


def _listing(document: dict[str, Any], table: EntryTable) -> list[dict[str, Any]]:
    listing = document.setdefault(table.key, [])
    if not isinstance(listing, list) or not all(isinstance(entry, dict) for entry in listing):
        raise ValueError(f"its {table.key} entries are not tables")
    return listing


def toml_with_entries(text: str, table: EntryTable, rows: Sequence[Row]) -> str:
    """Return a plan's TOML with these entries; ValueError if another value would change."""
    expected = tomllib.loads(text)
    if not rows:
        return text
    listing = _listing(expected, table)
    there = {_identity(table, entry): at for at, entry in reversed(list(enumerate(listing)))}
    changed, added = {}, []
    for row in {_identity(table, row): row for row in rows}.values():
        at = there.setdefault(_identity(table, row), len(listing))
        if at == len(listing):
            added.append(row)
            listing.append(dict(row))
        elif not _same(table, listing[at], row):
            changed[at] = row
            _put(table, listing[at], row)
    new = _with_changes(text, table, changed) if changed else text
    several = _with_added(new, table, added) if added else iter((new,))
    for one in several:
        if _parsed(one) == expected:
            return one
    raise ValueError("another value would change with it")


def _identity(table: EntryTable, entry: Row) -> tuple[str, ...]:
    return tuple(str(entry.get(key, "")).strip() for key in table.identity)


def _same(table: EntryTable, entry: Row, row: Row) -> bool:
    return all(entry.get(key) == row.get(key) for key in table.values)


def _put(table: EntryTable, entry: MutableMapping[str, Any], row: Row) -> None:
    for key in table.values:
        if key in row:
            if entry.get(key) != row[key]:
                entry[key] = row[key]
        elif key in entry:
            del entry[key]


def _parsed(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _with_changes(text: str, table: EntryTable, changed: Mapping[int, Row]) -> str:
    entries = count()

    def change(document: TOMLDocument) -> bool:
        listing: Any = document.get(table.key, [])
        mine = [(entry, changed[number]) for entry, number in zip(listing, entries, strict=False) if number in changed]
        for entry, row in mine:
            _put(table, entry, row)
        return bool(mine)

    return with_change(text, change)


def _with_added(text: str, table: EntryTable, added: Sequence[Row]) -> Iterator[str]:
    """Yield the text with further entries, written in each of three forms, the preferred one first.

    The forms are: tables after the last table of their kind, tables at the end of the file, and items of a list such as
    `accepted = [...]`. The caller uses the first one that parses to the expected values.
    """
    import tomlkit

    newline = "\r\n" if "\r\n" in text else "\n"
    tables = [
        newline.join(
            ("", f"[[{table.key}]]", *(f"{key} = {tomlkit.item(value).as_string()}" for key, value in row.items()), "")
        )
        for row in added
    ]
    for at in dict.fromkeys((_end_of_last_entry(text, table), len(text))):
        before = text[:at] if text[:at].endswith("\n") or not at else text[:at] + newline
        yield before + "".join(tables) + text[at:]
    yield _with_items(text, table, added)


def _end_of_last_entry(text: str, table: EntryTable) -> int:
    """Return the offset in the text where the last entry of a table ends."""
    blocks = list(_blocks(text, table))
    return blocks[-1][1] if blocks else len(text)


def _blocks(text: str, table: EntryTable) -> Iterator[tuple[int, int]]:
    """Yield the start and the end offset of each entry of a table; comments below it belong to the next table."""
    own = re.compile(rf"[ \t]*\[\[[ \t]*{table.key}[ \t]*\]\]")
    heads = [found.start() for found in _TABLE.finditer(text)]
    for start, after in pairwise([*heads, len(text)]):
        if own.match(text, start):
            block = text[start:after]
            yield start, after if after == len(text) else start + len(_COMMENTS.sub("", block))


def _with_items(text: str, table: EntryTable, added: Sequence[Row]) -> str:
    import tomlkit
    from tomlkit.items import Array

    def change(document: TOMLDocument) -> bool:
        listing: Any = document.get(table.key)
        if not isinstance(listing, Array):
            return False
        for row in added:
            item = tomlkit.inline_table()
            item.update(row)
            listing.append(item)
        return True

    return with_change(text, change)
