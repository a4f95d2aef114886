"""Reads the A, AAAA, PTR and CNAME records of a DNS master file (RFC 1035 section 5).

Each entry is parsed separately, so that a broken entry does not affect the others. `zone.py` recognises such a file.
"""

from __future__ import annotations

import os
import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import dns.exception
import dns.name
import dns.rdataclass
import dns.rdatatype
import dns.ttl
from dns.name import Name
from dns.tokenizer import Token, Tokenizer

from netcheck.addr import Address
from netcheck.errors import NetcheckError
from netcheck.files import MIB, HashedFiles, refused_by_system
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.model import RecordKind
from netcheck.text import safe

MOST_INCLUDES = 200
DEEPEST_INCLUDE = 16
MOST_INCLUDED = 256 * MIB  # bytes of all included files; a file that is included many times must not fill the memory
# A file named after its zone, such as `db.2.0.192.in-addr.arpa`: common practice, no source.
_REVERSE = re.compile(r"(?:[0-9a-f][0-9/-]*\.)+(?:in-addr|ip6)\.arpa(?![A-Za-z0-9-])", re.IGNORECASE)
ENTRY_LINES = 1000  # a parenthesis that is open for more lines was never closed
_LONGEST_TTL = 40  # characters, longer than `1w2d3h4m5s`; dnspython's time grows with the square of the digits
_QUIET = re.compile(r'\\.|"(?:[^"\\]|\\.)*"|;.*')  # text in which a parenthesis does not count
_OCTET = re.compile(r"\d{1,3}", re.ASCII)
_NIBBLE = re.compile(r"[0-9a-f]", re.ASCII)


class EntryError(ValueError):
    """An entry that cannot be read; the text gives the reason."""


def entries_of(lines: Iterator[tuple[int, str]]) -> Iterator[tuple[int, str]]:
    """Yield each entry with the number of its first line; lines inside parentheses are joined into one entry."""
    waiting: deque[tuple[int, str]] = deque()
    while found := waiting.popleft() if waiting else next(lines, None):
        block, depth = [found], _depth(found[1])
        while depth > 0 and len(block) < ENTRY_LINES:
            more = waiting.popleft() if waiting else next(lines, None)
            if more is None:
                break
            block.append(more)
            depth += _depth(more[1])
        if depth > 0:  # never closed: read the lines after it as entries
            waiting.extendleft(reversed(block[1:]))
            del block[1:]
        yield found[0], "\n".join(text for _, text in block)


def _depth(line: str) -> int:
    if "(" not in line and ")" not in line:
        return 0
    plain = _QUIET.sub("", line)
    return plain.count("(") - plain.count(")")


def tokens_of(text: str) -> list[Token]:
    """Return an entry's tokens; leading blanks are one token, and an empty entry has no tokens."""
    tokenizer = Tokenizer(text)
    found: list[Token] = []
    try:
        while not (token := tokenizer.get(want_leading=not found)).is_eol_or_eof():
            found.append(token)
    except dns.exception.DNSException as error:
        why = safe(str(error), 80) or "a quote or a parenthesis is not closed"
        raise EntryError(f"the entry cannot be parsed: {why}") from error
    return found if any(not token.is_whitespace() for token in found) else []


def name_in(token: Token, origin: Name | None) -> Name:
    """Return the name in a token; a relative name is completed with the origin. EntryError if it is not a name."""
    try:
        return dns.name.from_text(token.value, origin)
    except (dns.exception.DNSException, ValueError) as error:
        raise EntryError(f"{safe(token.value, 80)!r} is not a name") from error


_AGE = re.compile(r"\[AGE:\d{1,12}\]", re.ASCII)  # the age of a record in one server's zone files, from memory


def kind_and_data(tokens: list[Token]) -> tuple[str, list[Token]]:
    """Return the type and the data of an entry's record; EntryError if it has no type.

    TTL and class are skipped in either order, and so is an age before them. The type is empty if the class is not the
    Internet's.
    """
    for at, token in enumerate(tokens[:4]):
        word = token.value.upper()
        if word not in {"IN", "CLASS1"} and not _AGE.fullmatch(word) and not (word[:1].isdigit() and _is_ttl(word)):
            return _kind(word), tokens[at + 1 :]
    raise EntryError("it has no record type")


def _is_ttl(word: str) -> bool:
    if len(word) > _LONGEST_TTL:
        return False
    try:
        dns.ttl.from_text(word)
    except (dns.exception.DNSException, ValueError):
        return False
    return True


def _kind(word: str) -> str:
    try:
        return dns.rdatatype.to_text(dns.rdatatype.from_text(word))
    except (dns.exception.DNSException, ValueError) as error:
        try:
            dns.rdataclass.from_text(word)
        except (dns.exception.DNSException, ValueError):
            raise EntryError(f"{safe(word, 40)!r} is not a record type") from error
        return ""


def address_in(kind: str, data: list[Token]) -> Address:
    """Return the address in the data of an A or AAAA record, in the usual form or in that of RFC 3597 section 5."""
    family = 4 if kind == "A" else 6
    if data and data[0].value == "\\#":
        return _unknown_form(family, [token.value for token in data[1:]])
    if len(data) != 1:
        raise EntryError(f"one address is expected after {kind}")
    try:
        address = Address.from_text(data[0].value)
    except ValueError as error:
        raise EntryError(str(error)) from error
    if address.family != family:
        raise EntryError(f"{address} does not fit {kind}")
    return address


def _unknown_form(family: int, words: list[str]) -> Address:
    length, digits = (4 if family == 4 else 16), "".join(words[1:])
    if words[:1] != [str(length)] or not re.fullmatch(rf"[0-9A-Fa-f]{{{2 * length}}}", digits, re.ASCII):
        raise EntryError(f"the length {length} and {length} octets in hexadecimal are expected after \\#")
    return Address(family, int(digits, 16))


def address_named(owner: Name) -> Address | None:
    """Return the address of a name in in-addr.arpa (RFC 1035 section 3.5) or ip6.arpa (RFC 3596 section 2.5).

    Labels of an RFC 2317 delegation are ignored. None for any other name.
    """
    labels = [label.decode("ascii", "replace").lower() for label in owner.labels]
    match labels[-3:]:
        case ["in-addr", "arpa", ""]:
            octets = [label for label in labels[-4::-1] if not re.search("[/-]", label)]
            if len(octets) == 4 and all(_OCTET.fullmatch(one) and int(one) < 256 for one in octets):
                return Address(4, int.from_bytes(bytes(map(int, octets)), "big"))
        case ["ip6", "arpa", ""]:
            nibbles = labels[-4::-1]
            if len(nibbles) == 32 and all(map(_NIBBLE.fullmatch, nibbles)):
                return Address(6, int("".join(nibbles), 16))
    return None


@dataclass(frozen=True, slots=True)
class _Context:
    """The context of an entry: its file, the origin of relative names, the owner of the entry above it.

    `including` are the paths of this file and of the files that include it.
    """

    file: str
    origin: Name | None
    owner: Name | None = None
    including: tuple[Path, ...] = ()


class _Include(NamedTuple):
    """An `$INCLUDE` that is still to be read: the path, its label in messages, its line and its context."""

    path: Path
    label: str
    line: int
    context: _Context
    file: str
    origin: Name | None


class ZoneReader:
    """Reads a zone and then the files that it includes, in the order of their `$INCLUDE` directives.

    An included file must be in the folder of the file that the plan names, after symbolic links are resolved. It is
    read after the file that includes it, so that each file is read and hashed as a whole.
    """

    def __init__(self, source: Source, into: Gathering) -> None:
        self._source, self._into = source, into
        self._folder = source.path.resolve().parent
        self._waiting: deque[_Include] = deque()
        self._hashes: dict[Path, str] = {}  # of the included files that were read
        self._included = self._bytes = 0

    def read(self) -> None:
        """Read all records of the zone and of its included files; entries that cannot be read become remarks."""
        found = _REVERSE.search(self._source.path.name)
        origin = dns.name.from_text(found[0]) if found else None
        self._read_file(self._source, _Context(self._source.entry.file, origin))
        self._source.file.finish()
        while self._waiting:
            include = self._waiting.popleft()
            try:
                self._read_included(include)
            except EntryError as error:
                self._into.begin_file(include.context.file)
                self._into.skip_row(include.line, str(error))

    def _read_file(self, source: Source, context: _Context) -> None:
        self._into.begin_file(context.file)
        context = replace(context, including=(*context.including, source.path.resolve()))
        for line, text in entries_of(source.lines()):
            try:
                context = self._read_entry(line, text, context)
            except EntryError as error:
                self._into.skip_row(line, str(error))

    def _read_entry(self, line: int, text: str, context: _Context) -> _Context:
        """Read one entry and return the context of the next entry."""
        tokens = tokens_of(text)
        if not tokens:
            return context
        first = tokens[0]
        if first.is_whitespace():
            if context.owner is None:
                raise EntryError("it has no owner name, and no entry above it has one")
            return self._read_record(line, context.owner, tokens[1:], context)
        if first.value.startswith("$"):
            return self._read_directive(line, tokens, context)
        owner = name_in(first, context.origin)
        context = replace(context, owner=owner)
        try:
            return self._read_record(line, owner, tokens[1:], context)
        except EntryError as error:  # entries without an owner that follow still get this owner
            self._into.skip_row(line, str(error))
            return context

    def _read_directive(self, line: int, tokens: list[Token], context: _Context) -> _Context:
        directive, values = tokens[0].value.upper(), tokens[1:]
        match directive:
            case "$ORIGIN" if values:
                return replace(context, origin=name_in(values[0], context.origin))
            case "$TTL" if values:
                return context
            case "$INCLUDE" if values:
                self._include(line, values, context)
                return context
            case _:
                what = f"{safe(directive, 40)} is not supported" if values else f"{safe(directive, 40)} has no value"
                raise EntryError(f"{what}; write out its records")

    def _include(self, line: int, values: list[Token], context: _Context) -> None:
        wanted = values[0].unescape().value
        label = f"$INCLUDE {safe(wanted, 100)!r}"
        origin = name_in(values[1], context.origin) if len(values) > 1 else context.origin
        path = self._path_in_folder(wanted, label)
        self._included += 1
        if path in context.including or len(context.including) > DEEPEST_INCLUDE or self._included > MOST_INCLUDES:
            raise EntryError(f"{label} is not followed: it includes itself, or there are too many includes")
        file = os.path.join(os.path.dirname(self._source.entry.file), wanted)
        self._waiting.append(_Include(path, label, line, context, file, origin))

    def _read_included(self, include: _Include) -> None:
        """Read an included file; it enters the hash once, and every later reading must find the same bytes."""
        path, label = include.path, include.label
        files = HashedFiles() if path in self._hashes else self._source.files
        try:
            self._bytes += path.stat().st_size
            if self._bytes > MOST_INCLUDED:
                raise EntryError(f"{label}: more than {MOST_INCLUDED:,} bytes (256 MiB) would be included")
            with files.reading(path, own=True) as file:
                including = replace(include.context, file=include.file, origin=include.origin)
                self._read_file(Source(self._source.entry, path, file, files), including)
        except OSError as error:
            raise EntryError(f"{label}: {refused_by_system(error, path).problems[0].what}") from error
        except NetcheckError as error:
            raise EntryError(f"{label}: {error.problems[0].what}") from error
        if self._hashes.setdefault(path, file.sha256) != file.sha256:
            raise EntryError(f"{label}: the file changed while it was read; run netcheck again")

    def _path_in_folder(self, wanted: str, label: str) -> Path:
        try:
            path = (self._folder / wanted).resolve()
        except (OSError, ValueError, RuntimeError) as error:
            raise EntryError(f"{label} is not the name of a file") from error
        if not path.is_relative_to(self._folder):
            raise EntryError(f"{label} leads out of the zone's folder and is not followed")
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
            case "CNAME":
                if len(data) != 1:
                    raise EntryError("one name is expected after CNAME")
                target = name_in(data[0], context.origin).to_text(omit_final_dot=True)
                self._into.add_alias(owner.to_text(omit_final_dot=True), target, owner.is_absolute(), line)
            case "SOA" if context.origin is None and owner.is_absolute():
                return replace(context, origin=owner)  # the SOA record stands at the top of its zone (RFC 1035, 5.2)
        return context

    def _read_pointer(self, line: int, owner: Name, data: list[Token], context: _Context) -> None:
        address = address_named(owner)
        if address is None:
            if not owner.is_absolute() and all(label.isdigit() for label in owner.labels):
                raise EntryError("the zone of this PTR record is unknown; put $ORIGIN at the top of the file")
            return  # the owner of this PTR record is not an address
        if len(data) != 1:
            raise EntryError("one name is expected after PTR")
        name = name_in(data[0], context.origin)
        self._into.add_record(RecordKind.PTR, name.to_text(omit_final_dot=True), address, name.is_absolute(), line)
