"""Reads tables by columns, many times faster than cell by cell; a table that cannot be read so is refused whole."""

from __future__ import annotations

import os
import sys
from array import array
from collections.abc import Iterable, Iterator, Sequence
from itertools import repeat
from socket import AF_INET, inet_pton
from typing import NamedTuple, TypeVar

from netcheck.tables.delimited import lines_in, rows_of

SPACES = " \t\v\f\x1c\x1d\x1e\x1f"  # the ASCII characters within a line that str.strip removes
N = TypeVar("N", bound=NamedTuple)
_STRICT = os.name == "posix"  # inet_pton then accepts only four decimal octets without leading zeros
_MAC_TEXT = 17  # characters of a MAC with a separator at every third place
_MAC_BARE = 12  # characters of a MAC without separators
_SEPARATORS = (2, 5, 8, 11, 14)


def columns_of(text: str, delimiter: str) -> list[list[str]] | None:
    """Return the stripped cells of a text by column; None where rows differ in length or span several lines."""
    end = "\r\n" if "\r" in text else "\n"
    ended = text if text.endswith("\n") else text + end
    count = ended.count(end)
    if '"' in ended or count != ended.count("\n") or (end == "\r\n" and count != ended.count("\r")):
        rows = rows_of(lines_in(text), delimiter)
        same = rows and len(set(map(len, rows))) == 1
        return [list(map(str.strip, cells)) for cells in zip(*rows, strict=True)] if rows and same else None
    width = ended.count(delimiter, 0, ended.index(end)) + 1
    # with the line ends as cells, one split gives all cells of all rows
    flat = ended.replace(end, f"{delimiter}\n{delimiter}").split(delimiter)
    if len(flat) != count * (width + 1) + 1 or flat[width :: width + 1].count("\n") != count:
        return None
    columns = [flat[column : -1 : width + 1] for column in range(width)]
    spaced = not text.isascii() or any(space in text for space in SPACES)
    return [list(map(str.strip, cells)) for cells in columns] if spaced else columns


def ipv4_of(texts: Iterable[str]) -> array[int] | None:
    """Return the values of IPv4 addresses; None where a text is anything else."""
    if not _STRICT:
        return None
    try:
        values = array("I", b"".join(map(inet_pton, repeat(AF_INET), texts)))
    except (OSError, ValueError):
        return None
    if sys.byteorder == "little":
        values.byteswap()
    return values


def macs_of(texts: Sequence[str]) -> array[int] | None:
    """Return the values of MACs that are all written with the same separator, or all without; None otherwise."""
    lengths = set(map(len, texts))
    if lengths not in ({_MAC_TEXT}, {_MAC_BARE}):
        return None
    whole, count = "".join(texts), len(texts)
    if lengths == {_MAC_TEXT}:
        separator = whole[2]
        if separator not in "-:" or any(whole[at::_MAC_TEXT] != separator * count for at in _SEPARATORS):
            return None
        whole = whole.replace(separator, "")
    try:
        octets = bytes.fromhex(whole)
    except ValueError:
        return None
    if len(octets) != 6 * count:  # bytes.fromhex skips spaces
        return None
    words = bytearray(8 * count)
    for position in range(6):
        words[(5 - position if sys.byteorder == "little" else 2 + position) :: 8] = octets[position::6]
    return array("Q", bytes(words))


def made(kind: type[N], /, **columns: Iterable[object]) -> Iterator[N]:
    """Yield one named tuple a row from columns named after its fields; a field without a column has its default.

    `tuple.__new__` is mapped over the rows, because calling the class for each row takes three times as long.
    """
    defaults = kind._field_defaults
    ordered = (columns.pop(name) if name in columns else repeat(defaults[name]) for name in kind._fields)
    rows = zip(*ordered, strict=False)
    if columns:
        raise TypeError(f"{kind.__name__} has no field {', '.join(columns)}")
    return map(tuple.__new__, repeat(kind), rows)
