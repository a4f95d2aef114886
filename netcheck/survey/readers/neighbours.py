"""Reads neighbour tables as `ip neigh`, `ip -j neigh`, `arp` and /proc/net/arp print them, on Linux, Windows, macOS
and BSD, in any language: an entry is known by its shape."""

from __future__ import annotations

import re

from netcheck.addr import Address
from netcheck.survey.gathering import Gathering, Source, head_lines
from netcheck.survey.readers.neighbour_forms import Entry, entry_in, is_heading, is_plain_heading, sure_entry_in
from netcheck.survey.readers.values import mac_from, why_no_host
from netcheck.text import safe

_JSON = re.compile(r'\s*\[\s*(?:\{(?:[^{}]{0,4000}[{,\s])?"dst"|\]\s*$)')
# No part of unbounded length that could begin anywhere: a line of a mebibyte would take its square.
_NUMBERS = re.compile(
    r"(?<!\d)\d{1,3}(?:\.\d{1,3}){3}|(?<![0-9A-Fa-f])[0-9A-Fa-f]{1,4}(?::[0-9A-Fa-f]{0,4}){2}", re.ASCII
)
_NO_ANSWER = {"failed", "incomplete", "none", "unreachable"}
_TYPED = "permanent entry, typed by a person or the computer's own: no evidence that it is there"
_PUBLISHED = "published entry, for which the computer itself answers: no evidence that it is there"


def recognises(head: bytes) -> bool:
    """The array that `ip -j` prints, or mostly lines that have the shape of an entry or stand above one."""
    lines = head_lines(head)
    if _JSON.match("\n".join(lines)):
        return True
    plain = any(map(is_plain_heading, lines))
    entries = sum((entry_in(line) if plain else sure_entry_in(line)) is not None for line in lines)
    return entries > 0 and 2 * (entries + sum(map(is_heading, lines))) >= len(lines)


def read(source: Source, into: Gathering) -> None:
    """Read every entry; those that nothing answered for are no hosts."""
    with source.open() as stream:
        is_json = _JSON.match("\n".join(head_lines(stream.read(1 << 13)))) is not None
    if is_json:
        from netcheck.survey.readers.neighbour_json import entries_of

        for number, entry in entries_of(source, into):
            _add(number, entry, into)
        return
    for number, line in source.lines():
        if (found := entry_in(line)) is not None:
            _add(number, found, into)
        elif _NUMBERS.search(line) and not is_heading(line):
            into.skip(number, f"{safe(line.strip(), 80)!r} has not the shape of an entry with an address")
        elif line.strip():
            into.pass_over(number, "it holds no entry")


def _add(number: int, entry: Entry, into: Gathering) -> None:
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
        into.pass_over(number, f"{address}: {mac} is a group's MAC")
        return
    into.add(address, mac, number, entry.name, _note(entry), None)


def _why_nobody(address: Address, entry: Entry) -> str:
    if why := why_no_host(address):
        return why
    if entry.state in _NO_ANSWER and not entry.published:
        return f"nothing answered ({entry.state})"
    return "its MAC is nobody's" if re.fullmatch("[0:-]+|[Ff:-]+", entry.mac) else ""


def _note(entry: Entry) -> str:
    if entry.published:
        return _PUBLISHED
    if entry.typed:
        return _TYPED
    return f"{entry.state} neighbour entry" if entry.state else ""
