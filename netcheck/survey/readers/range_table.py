"""Reads the ranges of a DHCP server from an exported table with the first and the last address in each row."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import islice

from netcheck.addr import Address, Range, ranges_without
from netcheck.errors import Problem, SurveyError
from netcheck.survey.gathering import Gathering
from netcheck.survey.readers.header import plain_title
from netcheck.tables.delimited import DELIMITERS, Record, records_of
from netcheck.text import Pattern

# Known titles, reduced to letters and digits; common practice, no source.
_STARTS = ("startrange", "startipaddress", "startip", "rangestart", "startaddress", "startipadresse", "startadresse")
_ENDS = ("endrange", "endipaddress", "endip", "rangeend", "endaddress", "endipadresse", "endadresse")
_OF_SCOPES = ("mask", "lease", "maske", "state", "dauer")  # parts of titles; a list of exclusions has none of them
_EXCLUDED = Pattern(r"exclu|ausgeschl|exclus", re.IGNORECASE)
_FOR_USE = Pattern(r"distribution|verteil|\brange\b|\bbereich\b", re.IGNORECASE)
_HEADER_ROWS = 30


@dataclass(frozen=True, slots=True)
class RangeColumns:
    """The delimiter, the row of the titles and the columns of the first and the last address, counted from 0."""

    delimiter: str
    header: int
    start: int
    end: int
    of_scopes: bool  # the titles show that every row without the word `excluded` is an assigned range


def range_columns(lines: Sequence[str]) -> RangeColumns | None:
    """Return the columns of a table of ranges, judged by its first lines; None for any other table."""
    found = (range_columns_in(list(islice(records_of(lines, one), _HEADER_ROWS)), one) for one in DELIMITERS)
    return next((columns for columns in found if columns is not None), None)


def range_columns_in(rows: Sequence[Record], delimiter: str = "") -> RangeColumns | None:
    """Return the columns of a table of ranges, judged by its first rows; None for any other table."""
    for record in rows[:_HEADER_ROWS]:
        titles = [plain_title(cell) for cell in record.cells]
        start = next((titles.index(word) for word in _STARTS if word in titles), None)
        end = next((titles.index(word) for word in _ENDS if word in titles), None)
        if start is not None and end is not None:
            of_scopes = any(word in title for word in _OF_SCOPES for title in titles)
            return RangeColumns(delimiter, record.row, start, end, of_scopes)
    return None


def gather(records: Iterable[Record], columns: RangeColumns, file: str, into: Gathering) -> None:
    """Add the ranges of all rows below the titles, without the excluded ranges.

    Raises SurveyError if a row could be either an assigned or an excluded range.
    """
    into.begin_line(file, "row", "dhcp")
    ranges: list[tuple[int, Range]] = []
    excluded: list[Range] = []
    for record in records:
        if record.row <= columns.header or record.empty:
            continue
        try:
            span = _span(record, columns)
        except ValueError as error:
            into.skip(record.row, f"a range of a DHCP server: {error}")
            continue
        words = " ".join(record.cells)
        if _EXCLUDED.search(words):
            excluded.append(span)
        elif columns.of_scopes or _FOR_USE.search(words):
            ranges.append((record.row, span))
        else:
            do = "Add a column that says `range` or `excluded` in each row, or put the ranges into `pools` of the plan"
            what = f"row {record.row}: {span} could be a range that the DHCP server assigns, or one that it excludes"
            raise SurveyError(Problem(what, do=do))
    for row, span in ranges:
        into.pass_over(row, f"the range {span} of a DHCP server belongs in `pools` of its subnet in the plan")
    for row, part in ranges_without(ranges, excluded):
        into.add_range(part, row)


def _span(record: Record, columns: RangeColumns) -> Range:
    ends = [record.cells[at].strip() if at < len(record.cells) else "" for at in (columns.start, columns.end)]
    first, last = (Address.from_text(text) for text in ends)
    return Range.from_text(f"{first}-{last}")
