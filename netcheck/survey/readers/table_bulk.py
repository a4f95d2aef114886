"""Reads the rows of a large table many at a time, column by column: the way of nearly every row of nearly every list.

A block is taken whole or not at all. Not at all means that something has to be said of one of its rows, or that a row
is of a kind that only the reader of single rows knows; that one then reads them all.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence

from netcheck.survey.host_columns import NO_MAC, Block
from netcheck.survey.readers.header import FIELDS, Layout
from netcheck.survey.readers.values import NOBODY, date_from, mac_from
from netcheck.tables.columns import columns_of, ipv4_of, macs_of
from netcheck.tables.formula_guard import unguarded


class Bulk:
    """Reads blocks of lines of one layout."""

    def __init__(self, layout: Layout) -> None:
        fields = dict(layout.fields)
        self._delimiter = layout.delimiter
        self._columns = (*layout.addresses, *(fields.get(name, -1) for name in FIELDS[1:]))
        used = {*layout.addresses, *fields.values()}
        self._used = used if layout.header == 0 and "note" not in fields else None
        self._fit = len(layout.addresses) == 1

    def block(self, text: str) -> Block | None:
        """The hosts of whole lines below the header; None where they have to be read one by one."""
        cells = columns_of(text, self._delimiter) if self._fit else None
        if cells is None or len(cells) <= max(self._columns):
            return None
        if self._used is not None and len(self._used) < len(cells):
            return None
        address, mac, name, note, seen = (cells[column] if column >= 0 else [] for column in self._columns)
        addresses, guarded = ipv4_of(address), "'" in text
        if addresses is None:
            return None
        try:
            return Block(addresses, _macs(mac), _freed(name, guarded), _freed(note, guarded), _days(seen))
        except ValueError:
            return None


def _freed(texts: list[str], guarded: bool) -> list[str]:
    """Texts without the guard against formulas."""
    return list(map(unguarded, texts)) if guarded else texts


def _macs(texts: Sequence[str]) -> array[int]:
    """MACs, `NO_MAC` for a cell that says nothing; ValueError where one cannot be read."""
    uniform = macs_of(texts)
    if uniform is not None and NOBODY.isdisjoint(uniform):
        return uniform
    macs = (mac_from(text) if text else None for text in texts)
    return array("Q", [NO_MAC if mac is None else mac.value for mac in macs])


def _days(texts: Sequence[str]) -> array[int]:
    """Days as ordinals, 0 for a cell that says nothing; ValueError where one cannot be read."""
    days = {text: date_from(text) if text else None for text in set(texts)}
    ordinals = {text: day.toordinal() if day else 0 for text, day in days.items()}
    return array("I", map(ordinals.__getitem__, texts))
