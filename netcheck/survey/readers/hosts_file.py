"""Reads hosts files: an address, a name and further names, separated by blanks; `#` starts a comment (hosts(5))."""

from __future__ import annotations

import re

from netcheck.addr import Address
from netcheck.survey.gathering import Gathering, Source, head_lines
from netcheck.survey.readers.values import why_no_host

_ADDRESS = r"(?:(?=\d+\.)\d[\d.]*|[0-9A-Fa-f]*:[0-9A-Fa-f:.]*(?:%\S+)?)"
_LINE = re.compile(rf"\s*{_ADDRESS}(?:[ \t]+[A-Za-z0-9_][A-Za-z0-9_.-]*)+\s*", re.ASCII)
_NUMBER = re.compile(r"[\d.]+|[0-9A-Fa-f]{2}([:-])[0-9A-Fa-f]{2}(?:\1[0-9A-Fa-f]{2}){4}", re.ASCII)


def recognises(head: bytes) -> bool:
    """Return whether the first line and at least nine in ten of all lines are an address followed by names."""
    lines = [line for line in (line.partition("#")[0] for line in head_lines(head)) if line.strip()]
    fitting = [_fits(line) for line in lines]
    return bool(fitting) and fitting[0] and 10 * sum(fitting) >= 9 * len(fitting)


def _fits(line: str) -> bool:
    return _LINE.fullmatch(line) is not None and not _NUMBER.fullmatch(line.split()[1])


def read(source: Source, into: Gathering) -> None:
    """Read every line; the first name becomes the host's name, further names and the comment become its note."""
    for number, line in source.lines():
        text, _, comment = line.partition("#")
        words = text.split()
        if words:
            _read_line(number, words, comment.strip(), into)


def _read_line(number: int, words: list[str], comment: str, into: Gathering) -> None:
    try:
        address = Address.from_text(words[0].partition("%")[0])
    except ValueError as error:
        into.skip_row(number, str(error))
        return
    if why := why_no_host(address) or ("it names this computer itself" if words[1:2] == ["localhost"] else ""):
        into.remark_no_host(number, f"{address} is no host of the site: {why}")
        return
    aliases = f"alias {' '.join(words[2:])}" if len(words) > 2 else ""
    note = "; ".join(filter(None, (aliases, comment)))
    into.add(address, None, number, words[1] if len(words) > 1 else "", note, None)
