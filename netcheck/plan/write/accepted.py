"""Writes accepted findings into a plan; comments, layout and all other values are kept.

New entries go to the end of `plan.toml` or of the sheet `accepted`. An entry for the same finding is changed where it
stands. Text is inserted here rather than by tomlkit, because tomlkit appends an entry below the comments of the next
table.
"""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Iterator, Mapping, MutableMapping, Sequence
from pathlib import Path
from typing import Any

from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, read_bounded
from netcheck.plan.forms.toml_plan import PLAN_LIMIT
from netcheck.plan.model import Accepted
from netcheck.plan.read import plan_file
from netcheck.plan.write.addresses import Edit
from netcheck.plan.write.workbook_changes import IDENTITY, VALUES, workbook_with_accepted
from netcheck.tables.workbook_read import UNPACKED_LIMIT
from netcheck.text import listed, safe

# The headers of tables, those of accepted entries, and blank and comment lines at the end of a table.
_TABLE = re.compile(r"^[ \t]*\[", re.MULTILINE)
_OWN = re.compile(r"[ \t]*\[\[[ \t]*accepted[ \t]*\]\]")
_COMMENTS = re.compile(r"(?:^[ \t]*(?:#[^\n]*)?\r?\n)+\Z", re.MULTILINE)


def with_accepted(path: str | Path, entries: Sequence[Accepted]) -> Edit | None:
    """Return the plan's changed file, or None where it has these entries already; PlanError where it cannot be changed
    safely.
    """
    file = plan_file(Path(path))
    book = file.suffix.casefold() == ".xlsx"
    rows = [row_of(entry) for entry in entries]
    try:
        data = read_bounded(file, UNPACKED_LIMIT if book else PLAN_LIMIT, text=not book)
        new = workbook_with_accepted(data, rows) if book else plan_with_accepted(data, rows)
    except FileError as error:
        raise PlanError(error.at(safe(file.name))) from error
    except ValueError as error:
        by_hand = listed([f"{safe(entry.rule, 40)} of {safe(entry.subject, 80)}" for entry in entries], 20)
        do = f"Add the accepted entries by hand: {by_hand}"
        raise PlanError(
            Problem(f"it cannot be changed without changing other values: {error}", safe(file.name), do)
        ) from error
    return None if new == data else Edit(file, new)


def row_of(entry: Accepted) -> dict[str, Any]:
    """Return an entry's values by key in the order of writing; empty ones are left out."""
    values = {
        "rule": entry.rule,
        "subject": entry.subject,
        "address": entry.address,
        "with": entry.other,
        "by": entry.by,
        "because": entry.because,
        "until": entry.until,
        "decided": entry.decided,
    }
    return {key: value for key, value in values.items() if value}


def plan_with_accepted(data: bytes, rows: Sequence[Mapping[str, Any]]) -> bytes:
    """Return the bytes of `plan.toml` with these entries; ValueError where another value would change."""
    mark = codecs.BOM_UTF8 if data.startswith(codecs.BOM_UTF8) else b""
    new = mark + toml_with_accepted(data[len(mark) :].decode("utf-8"), rows).encode("utf-8")
    if len(new) > PLAN_LIMIT:
        raise ValueError(f"it would have {len(new):,} bytes; at most {PLAN_LIMIT:,} are read")
    return new


def toml_with_accepted(text: str, rows: Sequence[Mapping[str, Any]]) -> str:
    """Return a plan's TOML with these entries; ValueError where another value would change."""
    expected = tomllib.loads(text)
    listing = expected.setdefault("accepted", [])
    if not isinstance(listing, list) or not all(isinstance(entry, dict) for entry in listing):
        raise ValueError("its accepted entries are not tables")
    there = {_identity(entry): at for at, entry in reversed(list(enumerate(listing)))}
    changed, added = {}, []
    for row in {_identity(row): row for row in rows}.values():
        at = there.setdefault(_identity(row), len(listing))
        if at == len(listing):
            added.append(row)
            listing.append(dict(row))
        elif not _same(listing[at], row):
            changed[at] = row
            _put(listing[at], row)
    new = _with_changes(text, changed) if changed else text
    several = _with_added(new, added) if added else iter((new,))
    for one in several:
        if _parsed(one) == expected:
            return one
    raise ValueError("another value would change with it")


def _identity(entry: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(str(entry.get(key, "")).strip() for key in IDENTITY)


def _same(entry: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    return all(entry.get(key) == row.get(key) for key in VALUES)


def _put(entry: MutableMapping[str, Any], row: Mapping[str, Any]) -> None:
    for key in VALUES:
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


def _with_changes(text: str, changed: Mapping[int, Mapping[str, Any]]) -> str:
    import tomlkit  # only when a plan is written
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text)
        listing: Any = document["accepted"]
        for at, row in changed.items():
            _put(listing[at], row)
        return tomlkit.dumps(document)
    except (TOMLKitError, RecursionError) as error:
        raise ValueError(safe(str(error)) or "it is nested too deeply") from error


def _with_added(text: str, added: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Yield the text with further entries in each of three ways, the preferred one first.

    As tables after the last `[[accepted]]`, as tables at the end, and as items of a list `accepted = [...]`. The caller
    takes the first that parses to the expected values.
    """
    import tomlkit

    newline = "\r\n" if "\r\n" in text else "\n"
    tables = [
        newline.join(
            ("", "[[accepted]]", *(f"{key} = {tomlkit.item(value).as_string()}" for key, value in row.items()), "")
        )
        for row in added
    ]
    for at in dict.fromkeys((_behind_the_last(text), len(text))):
        before = text[:at] if text[:at].endswith("\n") or not at else text[:at] + newline
        yield before + "".join(tables) + text[at:]
    yield _with_items(text, added)


def _behind_the_last(text: str) -> int:
    """Return where the last `[[accepted]]` ends; comments below it belong to the next table."""
    heads = [found.start() for found in _TABLE.finditer(text)]
    own = [place for place, at in enumerate(heads) if _OWN.match(text, at)]
    if not own or own[-1] + 1 == len(heads):
        return len(text)
    block = text[heads[own[-1]] : heads[own[-1] + 1]]
    return heads[own[-1]] + len(_COMMENTS.sub("", block))


def _with_items(text: str, added: Sequence[Mapping[str, Any]]) -> str:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError
    from tomlkit.items import Array

    try:
        document = tomlkit.parse(text)
        listing: Any = document.get("accepted")
        if isinstance(listing, Array):
            for row in added:
                table = tomlkit.inline_table()
                table.update(row)
                listing.append(table)
        return tomlkit.dumps(document)
    except (TOMLKitError, RecursionError) as error:
        raise ValueError(safe(str(error)) or "it is nested too deeply") from error
