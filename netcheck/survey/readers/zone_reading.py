"""Reads the hosts that a DNS master file names: its A, AAAA and PTR records.

`$INCLUDE` is followed only inside the folder of the file that was named, symbolic links resolved.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, replace
from pathlib import Path

import dns.name
from dns.name import Name
from dns.tokenizer import Token

from netcheck.errors import NetcheckError
from netcheck.files import MIB, refused_by_system
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.name_records import RecordKind
from netcheck.survey.readers.lines import numbered_lines
from netcheck.survey.readers.zone_entries import (
    EntryError,
    address_in,
    address_named,
    entries_of,
    kind_and_data,
    name_in,
    tokens_of,
)
from netcheck.text import safe

MOST_INCLUDES = 200
DEEPEST_INCLUDE = 16
MOST_INCLUDED = 256 * MIB  # bytes of all included files, so that one that is included often does not fill the memory
# A file called after its zone, such as `db.2.0.192.in-addr.arpa`: common practice, no source.
_REVERSE = re.compile(r"(?:[0-9a-f][0-9/-]*\.)+(?:in-addr|ip6)\.arpa(?![A-Za-z0-9-])", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Context:
    """Where an entry stands: its file, the origin of relative names, the owner before, and the files around it."""

    file: str
    origin: Name | None
    owner: Name | None
    around: tuple[Path, ...]


class ZoneReader:
    """Reads one zone with all that it includes."""

    def __init__(self, source: Source, into: Gathering) -> None:
        self._source, self._into = source, into
        self._folder = source.path.resolve().parent
        self._included = self._bytes = 0

    def read(self) -> None:
        """Read all records."""
        found = _REVERSE.search(self._source.path.name)
        origin = dns.name.from_text(found[0]) if found else None
        self._read_file(self._source, _Context(self._source.entry.file, origin, None, ()))

    def _read_file(self, source: Source, context: _Context) -> None:
        self._into.begin_file(context.file)
        context = replace(context, around=(*context.around, source.path.resolve()))
        for line, text in entries_of(numbered_lines(source)):
            try:
                context = self._read_entry(line, text, context)
            except EntryError as error:
                self._into.skip(line, str(error))

    def _read_entry(self, line: int, text: str, context: _Context) -> _Context:
        """Read one entry; what the next one rests on."""
        tokens = tokens_of(text)
        if not tokens:
            return context
        first = tokens[0]
        if first.is_whitespace():
            if context.owner is None:
                raise EntryError("it has no owner name, and none stands above it")
            return self._read_record(line, context.owner, tokens[1:], context)
        if first.value.startswith("$"):
            return self._direct(tokens, context)
        owner = name_in(first, context.origin)
        return self._read_record(line, owner, tokens[1:], replace(context, owner=owner))

    def _direct(self, tokens: list[Token], context: _Context) -> _Context:
        directive, values = tokens[0].value.upper(), tokens[1:]
        match directive:
            case "$ORIGIN" if values:
                return replace(context, origin=name_in(values[0], context.origin))
            case "$TTL" if values:
                return context
            case "$INCLUDE" if values:
                self._include(values, context)
                return context
            case _:
                what = f"{safe(directive, 40)} is not followed" if values else f"{safe(directive, 40)} stands alone"
                raise EntryError(f"{what}; write out what it stands for")

    def _include(self, values: list[Token], context: _Context) -> None:
        wanted = values[0].unescape().value
        said = f"$INCLUDE {safe(wanted, 100)!r}"
        origin = name_in(values[1], context.origin) if len(values) > 1 else context.origin
        path = self._confined(wanted, said)
        self._included += 1
        if path in context.around or len(context.around) > DEEPEST_INCLUDE or self._included > MOST_INCLUDES:
            raise EntryError(f"{said} goes in a circle, or there are too many of them; it is not followed")
        file = os.path.join(os.path.dirname(self._source.entry.file), wanted)
        try:
            self._bytes += path.stat().st_size
            if self._bytes > MOST_INCLUDED:
                raise EntryError(f"{said}: more than {MOST_INCLUDED:,} bytes (256 MiB) would be included")
            self._read_file(Source(self._source.entry, path), replace(context, file=file, origin=origin))
        except OSError as error:
            raise EntryError(f"{said}: {refused_by_system(error, path).problems[0].what}") from error
        except NetcheckError as error:
            raise EntryError(f"{said}: {error.problems[0].what}") from error
        finally:
            self._into.begin_file(context.file)

    def _confined(self, wanted: str, said: str) -> Path:
        try:
            path = (self._folder / wanted).resolve()
        except (OSError, ValueError, RuntimeError) as error:
            raise EntryError(f"{said} names no file") from error
        if not path.is_relative_to(self._folder):
            raise EntryError(f"{said} leads out of the zone's folder and is not followed")
        return path

    def _read_record(self, line: int, owner: Name, tokens: list[Token], context: _Context) -> _Context:
        kind, data = kind_and_data(tokens)
        match kind:
            case "A" | "AAAA":
                name = owner.to_text(omit_final_dot=True)
                address = address_in(kind, data)
                self._into.add_record(RecordKind(kind), name, address, owner.is_absolute(), line)
            case "PTR":
                self._read_pointer(line, owner, data, context)
            case "SOA" if context.origin is None and owner.is_absolute():
                return replace(context, origin=owner)  # it stands at the top of its zone (RFC 1035 section 5.2)
        return context

    def _read_pointer(self, line: int, owner: Name, data: list[Token], context: _Context) -> None:
        address = address_named(owner)
        if address is None:
            if not owner.is_absolute() and all(label.isdigit() for label in owner.labels):
                raise EntryError("the zone of this PTR is not known; put its $ORIGIN at the top of the file")
            return  # it points from something else than an address
        if len(data) != 1:
            raise EntryError("one name is expected behind PTR")
        name = name_in(data[0], context.origin)
        self._into.add_record(RecordKind.PTR, name.to_text(omit_final_dot=True), address, name.is_absolute(), line)
