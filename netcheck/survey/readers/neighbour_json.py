"""Reads what `ip -j neigh` prints: an array of objects, or several one after the other."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator

from netcheck.errors import Problem, SurveyError
from netcheck.files import MIB
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.readers.neighbour_forms import Entry
from netcheck.tables.delimited import encoding_of

LIMIT = 16 * MIB  # a kernel's table holds thousands of entries, of some hundred bytes each


def entries_of(source: Source, into: Gathering) -> Iterator[tuple[int, Entry]]:
    """Yield the entries with their lines; an object that is no entry is skipped."""
    try:
        data = source.file.whole(LIMIT)
        encoding = encoding_of(io.BytesIO(data))
        text = data.decode("utf-8-sig" if encoding == "cp1252" else encoding)
    except UnicodeDecodeError as error:
        raise _broken(0, "it is not UTF-8, as JSON is (RFC 8259 section 8.1)") from error
    line, at = 1, 0
    for start, end, value in _values(text):
        line, at = line + text.count("\n", at, start), start
        entry = _entry(value)
        if entry is None:
            into.skip(line, f"the object of {end - start} characters has no text `dst`, so it is no entry")
        else:
            yield line, entry


def _values(text: str) -> Iterator[tuple[int, int, object]]:
    """Yield what stands in the arrays, with where each value begins and ends."""
    decoder, at, depth = json.JSONDecoder(), 0, 0
    while (at := _past(text, at, ", \t\r\n")) < len(text):
        match text[at]:
            case "[" if depth == 0:
                depth, at = 1, at + 1
            case "]" if depth == 1:
                depth, at = 0, at + 1
            case "{" if depth == 1:
                start = at
                try:
                    value, at = decoder.raw_decode(text, start)
                except (ValueError, RecursionError) as error:
                    raise _broken(text.count("\n", 0, start) + 1, "an object in it is broken") from error
                yield start, at, value
            case _:
                raise _broken(text.count("\n", 0, at) + 1, "an array of objects is expected")
    if depth:
        raise _broken(text.count("\n") + 1, "it ends inside its array")


def _past(text: str, at: int, blanks: str) -> int:
    while at < len(text) and text[at] in blanks:
        at += 1
    return at


def _broken(line: int, why: str) -> SurveyError:
    where = f"line {line}: " if line else ""
    return SurveyError(Problem(f"{where}{why}", do="Take the table again with `ip -j neigh`"))


def _entry(value: object) -> Entry | None:
    if not isinstance(value, dict) or not isinstance(value.get("dst"), str):
        return None
    mac, states = value.get("lladdr"), value.get("state")
    words = [one.lower() for one in states if isinstance(one, str)] if isinstance(states, list) else []
    state = words[0] if words else ""
    return Entry(
        value["dst"],
        mac if isinstance(mac, str) else "",
        "",
        state,
        state in {"permanent", "noarp"},
        "proxy" in value,
    )
