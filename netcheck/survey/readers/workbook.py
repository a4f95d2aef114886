"""Reads site hosts from a workbook: from its sheet `site hosts`, or else from every sheet with a table of a survey.

Such a table lists hosts, DNS records, or leases or ranges of a DHCP server.
"""

from __future__ import annotations

import io
from itertools import chain, islice
from typing import TYPE_CHECKING

from netcheck.errors import Problem, SurveyError
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.readers.header import SAMPLE, layout_in, range_columns_in
from netcheck.survey.readers.special_tables import gather_ranges
from netcheck.survey.readers.table import gather, gather_special
from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.tables.workbook_read import Book


def read(source: Source, into: Gathering) -> None:
    """Read the sheets as streams; a sheet without a column of addresses becomes a remark."""
    from netcheck.plan.forms.workbook_plan import SITE_HOSTS, sheet_called  # only where there is a workbook
    from netcheck.tables.workbook_read import UNPACKED_LIMIT, opened_from

    with opened_from(io.BytesIO(source.file.whole(UNPACKED_LIMIT)), source.path.name) as book:
        named = sheet_called(book, SITE_HOSTS)
        if named is not None:
            _read_sheet(book, named, source, into)
            return
        read_any = [_read_if_table(book, sheet, source, into) for sheet in book.sheets]
    if not any(read_any):
        do = f'Call the sheet "{SITE_HOSTS}", or name the column: columns = {{ address = "its title" }}'
        raise SurveyError(Problem("none of its sheets has a recognisable column of addresses", do=do))


def _read_if_table(book: Book, sheet: str, source: Source, into: Gathering) -> bool:
    try:
        _read_sheet(book, sheet, source, into)
    except SurveyError as error:
        into.begin_line(source.entry.file, "row")
        into.begin_sheet(safe(sheet, 40))
        into.remark_no_host(0, error.problems[0].what)
        return False
    return True


def _read_sheet(book: Book, sheet: str, source: Source, into: Gathering) -> None:
    records = book.records(sheet)
    sample = list(islice(records, SAMPLE))
    if not sample:
        raise SurveyError(Problem("it is empty", do="An empty list would make every address look free"))
    file, named = f"{source.entry.file}, sheet {safe(sheet, 40)}", bool(source.entry.columns)
    into.begin_line(source.entry.file, "row")  # the sheet before may have set another name for its rows
    if not named and (ranges := range_columns_in(sample)):
        gather_ranges(chain(sample, records), ranges, file, into)
        return
    layout = layout_in(sample, source.entry.columns)
    if not gather_special(sample, chain(sample, records), layout, file, into, named=named):
        into.begin_sheet(safe(sheet, 40))
        gather(chain(sample, records), layout, into)
