"""Reads neighbour tables as `ip neigh`, `ip -j neigh`, `arp` and /proc/net/arp print them, in any language: an entry is
recognised by its shape.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator

from netcheck.addr import Address
from netcheck.errors import Problem, SurveyError
from netcheck.files import MIB
from netcheck.survey.gathering import Gathering, Source, head_lines
from netcheck.survey.readers.neighbour_forms import (
    NeighbourEntry,
    entry_in,
    is_heading,
    is_plain_heading,
    sure_entry_in,
)
from netcheck.survey.readers.values import mac_from, why_no_host
from netcheck.tables.delimited import encoding_of
from netcheck.text import safe

_JSON = re.compile(r'\s*\[\s*(?:\{(?:[^{}]{0,4000}[{,\s])?"dst"|\]\s*$)')
# All parts are bounded, because the time for a line of 1 MiB would otherwise grow with the square of its length.
_NUMBERS = re.compile(
    r"(?<!\d)\d{1,3}(?:\.\d{1,3}){3}|(?<![0-9A-Fa-f])[0-9A-Fa-f]{1,4}(?::[0-9A-Fa-f]{0,4}){2}", re.ASCII
)
JSON_LIMIT = 16 * MIB  # a kernel's table holds thousands of entries of some hundred bytes each
_SEPARATED = re.compile(r"[,;|\t]")
_NO_ANSWER = {"failed", "incomplete", "none", "unreachable"}
_TYPED = "permanent entry, typed by a person or the computer's own: no evidence of a host"
_PUBLISHED = "published entry, for which the computer itself answers: no evidence of a host"


def recognises(head: bytes) -> bool:
    """Return whether it is the array that `ip -j` prints, or mostly lines with the shape of an entry or a heading."""
    lines = head_lines(head)
    if _JSON.match("\n".join(lines)):
        return True
    plain = any(map(is_plain_heading, lines))
    entries = sum((entry_in(line) if plain else sure_entry_in(line)) is not None for line in lines)
    if entries > 0 and 2 * (entries + sum(map(is_heading, lines))) >= len(lines):
        return True
    # without a heading: every line has one address and one MAC, separated by spaces only
    return bool(lines) and not any(map(_SEPARATED.search, lines)) and all(map(entry_in, lines))


def read(source: Source, into: Gathering) -> None:
    """Read every entry; an entry that was not answered is not a host."""
    with source.open() as stream:
        is_json = _JSON.match("\n".join(head_lines(stream.read(1 << 13)))) is not None
    if is_json:
        for number, entry in _entries_of(source, into):
            _add(number, entry, into)
        return
    for number, line in source.lines():
        if (found := entry_in(line)) is not None:
            _add(number, found, into)
        elif _NUMBERS.search(line) and not is_heading(line):
            into.skip(number, f"{safe(line.strip(), 80)!r} does not have the shape of an entry")
        elif line.strip():
            into.pass_over(number, "it is not an entry")


def _add(number: int, entry: NeighbourEntry, into: Gathering) -> None:
    try:
        address = Address.from_text(entry.address.partition("%")[0])
    except ValueError as error:
        into.skip(number, str(error))
        return
    if why := _why_nobody(address, entry):
        into.pass_over(number, f"{address}: {why}")
        return
    mac = into.attempt(number, mac_from, entry.mac)
    if mac is not None and mac.group:
        into.pass_over(number, f"{address}: {mac} is a multicast MAC")
        return
    into.add(address, mac, number, entry.name, _note(entry), None)


def _why_nobody(address: Address, entry: NeighbourEntry) -> str:
    if why := why_no_host(address):
        return why
    if entry.state in _NO_ANSWER and not entry.published:
        return f"nothing answered ({entry.state})"
    return "its MAC is not that of a host" if re.fullmatch("[0:-]+|[Ff:-]+", entry.mac) else ""


def _note(entry: NeighbourEntry) -> str:
    if entry.published:
        return _PUBLISHED
    if entry.typed:
        return _TYPED
    return f"{entry.state} neighbour entry" if entry.state else ""


def _entries_of(source: Source, into: Gathering) -> Iterator[tuple[int, NeighbourEntry]]:
    """Yield the entries with their lines; an object that is not an entry becomes a remark."""
    try:
        data = source.file.whole(JSON_LIMIT)
        encoding = encoding_of(io.BytesIO(data))
        text = data.decode("utf-8-sig" if encoding == "cp1252" else encoding)
    except UnicodeDecodeError as error:
        raise _broken(0, "it is not UTF-8, as JSON is (RFC 8259 section 8.1)") from error
    line, at = 1, 0
    for start, end, value in _json_values(text):
        line, at = line + text.count("\n", at, start), start
        entry = _json_entry(value)
        if entry is None:
            into.skip(line, f"the object of {end - start} characters has no text `dst`, so it is no entry")
        else:
            yield line, entry


def _json_values(text: str) -> Iterator[tuple[int, int, object]]:
    """Yield the values of the arrays, with the start and end of each."""
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


def _json_entry(value: object) -> NeighbourEntry | None:
    if not isinstance(value, dict) or not isinstance(value.get("dst"), str):
        return None
    mac, states = value.get("lladdr"), value.get("state")
    words = [one.lower() for one in states if isinstance(one, str)] if isinstance(states, list) else []
    state = words[0] if words else ""
    return NeighbourEntry(
        value["dst"],
        mac if isinstance(mac, str) else "",
        "",
        state,
        state in {"permanent", "noarp"},
        "proxy" in value,
    )
