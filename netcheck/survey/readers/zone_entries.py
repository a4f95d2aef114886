"""The entries of a DNS master file (RFC 1035 section 5.1), each taken apart by itself, so that a broken one costs no
other."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator

import dns.exception
import dns.name
import dns.rdataclass
import dns.rdatatype
import dns.ttl
from dns.name import Name
from dns.tokenizer import Token, Tokenizer

from netcheck.addr import Address
from netcheck.text import safe

ENTRY_LINES = 1000  # parentheses that stay open for longer were never closed
_LONGEST_TTL = 40  # letters, `1w2d3h4m5s` at its longest; dnspython adds up digits in time by the square of their count
_QUIET = re.compile(r'\\.|"(?:[^"\\]|\\.)*"|;.*')  # where a parenthesis is none
_OCTET = re.compile(r"\d{1,3}", re.ASCII)
_NIBBLE = re.compile(r"[0-9a-f]", re.ASCII)


class EntryError(ValueError):
    """An entry that cannot be read, and why."""


def entries_of(lines: Iterator[tuple[int, str]]) -> Iterator[tuple[int, str]]:
    """Yield entries with the number of their first line, lines inside parentheses joined."""
    waiting: deque[tuple[int, str]] = deque()
    while found := waiting.popleft() if waiting else next(lines, None):
        block, depth = [found], _depth(found[1])
        while depth > 0 and len(block) < ENTRY_LINES:
            more = waiting.popleft() if waiting else next(lines, None)
            if more is None:
                break
            block.append(more)
            depth += _depth(more[1])
        if depth > 0:  # never closed: what follows it is not lost
            waiting.extendleft(reversed(block[1:]))
            del block[1:]
        yield found[0], "\n".join(text for _, text in block)


def _depth(line: str) -> int:
    if "(" not in line and ")" not in line:
        return 0
    plain = _QUIET.sub("", line)
    return plain.count("(") - plain.count(")")


def tokens_of(text: str) -> list[Token]:
    """An entry's tokens, a leading blank as one of whitespace; none where it holds nothing."""
    tokenizer = Tokenizer(text)
    found: list[Token] = []
    try:
        while not (token := tokenizer.get(want_leading=not found)).is_eol_or_eof():
            found.append(token)
    except dns.exception.DNSException as error:
        why = safe(str(error), 80) or "a quote or parenthesis does not fit"
        raise EntryError(f"the entry cannot be taken apart: {why}") from error
    return found if any(not token.is_whitespace() for token in found) else []


def name_in(token: Token, origin: Name | None) -> Name:
    """The name that a token holds, completed by the origin."""
    try:
        return dns.name.from_text(token.value, origin)
    except (dns.exception.DNSException, ValueError) as error:
        raise EntryError(f"{safe(token.value, 80)!r} is no name") from error


def kind_and_data(tokens: list[Token]) -> tuple[str, list[Token]]:
    """The type of an entry's record and its data, TTL and class passed over in either order; the type is empty where
    the class is not the Internet's."""
    for at, token in enumerate(tokens[:3]):
        word = token.value.upper()
        if word not in {"IN", "CLASS1"} and not (word[:1].isdigit() and _is_ttl(word)):
            return _kind(word), tokens[at + 1 :]
    raise EntryError("no type of record stands in it")


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
            raise EntryError(f"{safe(word, 40)!r} is no type of record") from error
        return ""


def address_in(kind: str, data: list[Token]) -> Address:
    """The address in the data of an A or AAAA record, in its own form or that of RFC 3597 section 5."""
    family = 4 if kind == "A" else 6
    if data and data[0].value == "\\#":
        return _unknown_form(family, [token.value for token in data[1:]])
    if len(data) != 1:
        raise EntryError(f"one address is expected behind {kind}")
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
        raise EntryError(f"behind \\# the length {length} and as many octets in hexadecimal are expected")
    return Address(family, int(digits, 16))


def address_named(owner: Name) -> Address | None:
    """The address that a name in in-addr.arpa (RFC 1035 section 3.5) or ip6.arpa (RFC 3596 section 2.5) stands for,
    labels of a delegation by RFC 2317 left out; None for other names."""
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
