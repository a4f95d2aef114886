"""Reads the rows of a large table many at a time, column by column: the way of nearly every row of nearly every list.

A block is taken whole or not at all. Not at all means that something has to be said of one of its rows, or that a row
is of a kind that only the reader of single rows knows; that one then reads them all.
"""

from __future__ import annotations

import os
import sys
from array import array
from collections.abc import Iterable, Sequence
from itertools import repeat
from operator import itemgetter
from socket import AF_INET, inet_pton

from netcheck.plan.delimited import rows_of
from netcheck.survey.columns import NO_MAC, Block
from netcheck.survey.header import FIELDS, Layout
from netcheck.survey.values import NOBODY, date_from, mac_from

_STRICT = os.name == "posix"  # there inet_pton takes four decimal octets without leading zeros, and nothing else
_MAC_TEXT = 17  # characters of a MAC with separators, which stand at every third place
_SEPARATORS = (2, 5, 8, 11, 14)


class Bulk:
    """Reads blocks of lines of one layout."""

    def __init__(self, layout: Layout) -> None:
        fields = dict(layout.fields)
        self._delimiter = layout.delimiter
        self._columns = (*layout.addresses, *(fields.get(name, -1) for name in FIELDS[1:]))
        used = {*layout.addresses, *fields.values()}
        self._used = used if layout.header == 0 and "note" not in fields else None
        self._fit = _STRICT and len(layout.addresses) == 1

    def block(self, lines: Sequence[str]) -> Block | None:
        """The hosts of lines below the header; None where they have to be read one by one."""
        rows = rows_of(lines, self._delimiter) if self._fit else None
        if not rows or {len(rows[0])} != set(map(len, rows)) or len(rows[0]) <= max(self._columns):
            return None
        if self._used is not None and len(self._used) < len(rows[0]):
            return None
        address, mac, name, note, seen = (_column(rows, column) for column in self._columns)
        try:
            return Block(addresses_of(address), macs_of(mac), name, note, days_of(seen))
        except (OSError, ValueError):
            return None


def _column(rows: Sequence[Sequence[str]], column: int) -> list[str]:
    """The cells of a column without outer space, empty where there is no such column."""
    return [] if column < 0 else list(map(str.strip, map(itemgetter(column), rows)))


def addresses_of(texts: Iterable[str]) -> array[int]:
    """IPv4 addresses; OSError or ValueError where one is anything else."""
    values = array("I", b"".join(map(inet_pton, repeat(AF_INET), texts)))
    if sys.byteorder == "little":
        values.byteswap()
    return values


def macs_of(texts: Sequence[str]) -> array[int]:
    """MACs, `NO_MAC` for a cell that says nothing; ValueError where one cannot be read."""
    uniform = _uniform(texts)
    if uniform is not None and NOBODY.isdisjoint(uniform):
        return uniform
    macs = (mac_from(text) if text else None for text in texts)
    return array("Q", [NO_MAC if mac is None else mac.value for mac in macs])


def _uniform(texts: Sequence[str]) -> array[int] | None:
    """MACs that are all written with one separator; None where they are not."""
    if not texts or set(map(len, texts)) != {_MAC_TEXT}:
        return None
    whole, count = "".join(texts), len(texts)
    separator = whole[2]
    if separator not in "-:" or any(whole[at::_MAC_TEXT] != separator * count for at in _SEPARATORS):
        return None
    try:
        octets = bytes.fromhex(whole.replace(separator, ""))
    except ValueError:
        return None
    if len(octets) != 6 * count:  # it passes over spaces
        return None
    words = bytearray(8 * count)
    for place in range(6):
        words[(5 - place if sys.byteorder == "little" else 2 + place) :: 8] = octets[place::6]
    return array("Q", bytes(words))


def days_of(texts: Sequence[str]) -> array[int]:
    """Days as ordinals, 0 for a cell that says nothing; ValueError where one cannot be read."""
    days = {text: date_from(text) if text else None for text in set(texts)}
    ordinals = {text: day.toordinal() if day else 0 for text, day in days.items()}
    return array("I", map(ordinals.__getitem__, texts))
