"""Merged cells of a sheet, and column numbers by their letters.

The value of cells that are merged over several rows counts for each of these rows that holds anything.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from netcheck.tables.delimited import Record

MOST_RANGES = 100_000
MOST_FILLED = 20_000_000  # cells that are looked at in all rows together
# The element `mergeCell` of a sheet (ECMA-376 part 1, section 18.3.1.54).
_MERGED = re.compile(rb"<(?:[\w.-]+:)?mergeCell\s[^<>]*?\bref\s*=\s*[\"']([A-Z0-9:]{1,21})[\"']")
_RANGE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6}):([A-Z]{1,3})([1-9][0-9]{0,6})")
_REFERENCE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")


def column_of(reference: str) -> int:
    """Return the column number in a cell's reference (section 18.18.62), or 0 without one: `AA7` gives 27."""
    found = _REFERENCE.fullmatch(reference)
    column = 0
    for letter in found.group(1) if found else "":
        column = column * 26 + ord(letter) - ord("A") + 1
    return column


def letters_of(column: int) -> str:
    """Return the letters of a column number: 27 gives `AA`."""
    letters = ""
    while column:
        column, last = divmod(column - 1, 26)
        letters = chr(ord("A") + last) + letters
    return letters


@dataclass(frozen=True, slots=True)
class Merged:
    """A range of merged cells, rows and columns counted from 1, last ones included."""

    first: int
    column: int
    last: int
    last_column: int

    @classmethod
    def from_text(cls, reference: str) -> Merged | None:
        """Read a reference such as `A3:B6`; None for anything else, such as a single cell."""
        found = _RANGE.fullmatch(reference)
        if found is None:
            return None
        left, first, right, last = found.groups()
        return cls(int(first), column_of(f"{left}1"), int(last), column_of(f"{right}1"))

    def hides(self, row: int, column: int) -> bool:
        """Return whether a cell is inside the range but is not the one that shows its value."""
        inside = self.first <= row <= self.last and self.column <= column <= self.last_column
        return inside and (row, column) != (self.first, self.column)


def merged_in(data: bytes) -> Iterator[Merged]:
    """Yield the ranges of merged cells in a sheet's XML; ValueError where there are too many.

    A regular expression finds them in a fraction of the time that parsing the sheet again would take.
    """
    for number, found in enumerate(_MERGED.finditer(data)):
        if number == MOST_RANGES:
            raise ValueError(f"it has more than {MOST_RANGES:,} ranges of merged cells")
        if one := Merged.from_text(found[1].decode("ascii")):
            yield one


def filled(records: Iterable[Record], merged: Iterable[Merged]) -> Iterator[Record]:
    """Yield the records with empty cells in the first column of a merged range filled with the range's value.

    ValueError where more than MOST_FILLED cells would have to be looked at.
    """
    waiting = sorted((one for one in merged if one.last > one.first), key=lambda one: -one.first)
    shown: dict[int, tuple[int, str]] = {}  # by column: the last row of the range, and its text
    count = 0
    for record in records:
        while waiting and waiting[-1].first <= record.row:
            one = waiting.pop()
            if one.first == record.row and one.column <= len(record.cells):
                shown[one.column] = one.last, record.cells[one.column - 1]
        for column in [column for column, (last, _) in shown.items() if last < record.row]:
            del shown[column]
        count += max(shown, default=0)
        if count > MOST_FILLED:
            raise ValueError(f"its merged cells stand for more than {MOST_FILLED:,} cells")
        yield _filled(record, shown) if shown else record


def _filled(record: Record, shown: dict[int, tuple[int, str]]) -> Record:
    cells = [*record.cells, *[""] * (max(shown) - len(record.cells))]
    for column, (_, text) in shown.items():
        if not cells[column - 1].strip():
            cells[column - 1] = text
    return record._replace(cells=tuple(cells))
