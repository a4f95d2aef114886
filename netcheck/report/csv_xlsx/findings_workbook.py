"""Writes findings as a workbook to be answered in a spreadsheet program, one finding a row.

The decision is chosen from a list, subjects and titles stay in view, the cells to fill in stand next to the finding,
and text stays text. The same report gives the same bytes: times inside the file are the report's date, or the first
that an archive can hold.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, time
from itertools import groupby
from typing import TYPE_CHECKING, Any

from netcheck.answers.table import COLUMNS, TO_ANSWER, Decision, cells_of, choices_of
from netcheck.report import words
from netcheck.report.csv_xlsx.csv_tables import wrong_settings
from netcheck.report.model import Report
from netcheck.rules.finding import Finding
from netcheck.tables.delimited import guarded, unguarded
from netcheck.text import safe

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

FINDINGS = "findings"
_GUIDE = "how to answer"
# The columns in the order of the sheet, with their widths in characters.
_WIDTHS = {
    "subjects": 26,
    "address": 16,
    "message": 50,
    "fix": 16,
    "choices": 20,
    "decision": 20,
    "change-to": 16,
    "remark": 40,
    "by": 16,
    "until": 12,
    "rule": 19,
    "severity": 10,
    "source": 22,
    "where": 26,
    "key": 20,
}
_ORDER = tuple(COLUMNS.index(title) for title in _WIDTHS)
_LINE = 15.0  # points; the default height of a row
_TALLEST = 400.0  # points; a spreadsheet takes at most 409
_FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # the first date of a zip archive
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")
WORDS = (
    "One row is one finding. Fill the yellow columns; leave the others as they are.",
    "decision: choose one of the decisions that the column choices names for this row.",
    "use the proposal: the address in the column fix goes into the plan.",
    "live with it as it is: the finding is accepted. A conflict needs a remark that gives the reason.",
    "change it to: write the value in the column change-to, or in the remark what has to change.",
    "question: write it in the remark.",
    "by: who decided. until: the last day on which an acceptance holds, such as 2026-12-31; empty means no end.",
    "Rows may be sorted, whole rows at a time, and columns moved. The column key must stay: it identifies the finding.",
    "Save it as .xlsx or as CSV and send it back. It is read by: netcheck answers PLAN FILE",
)


def to_xlsx(report: Report) -> bytes:
    """Return all open findings in the report's order, then the ports with wrong settings."""
    import openpyxl  # imported only for a workbook

    workbook = openpyxl.Workbook(write_only=True)
    workbook.properties.creator = "netcheck"
    workbook.properties.created = datetime.combine(report.today, time())
    _findings(workbook, (*report.checked.findings, *wrong_settings(report)))
    _guide(workbook, report)
    out = io.BytesIO()
    workbook.save(out)
    return _timeless(out.getvalue(), workbook.properties.created)


def _findings(workbook: Workbook, findings: tuple[Finding, ...]) -> None:
    from openpyxl.utils import get_column_letter

    sheet: Any = workbook.create_sheet(FINDINGS)
    sheet.freeze_panes = "B2"
    last = get_column_letter(len(_WIDTHS))
    sheet.auto_filter.ref = f"A1:{last}{len(findings) + 1}"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_setup.fitToHeight = 0
    for column, width in enumerate(_WIDTHS.values(), 1):
        sheet.column_dimensions[get_column_letter(column)].width = width
    for rule in _validations(findings):
        sheet.data_validations.append(rule)
    sheet.append([_title(sheet, title) for title in _WIDTHS])
    for row, finding in enumerate(findings, 2):
        whole = cells_of(finding)
        cells = [whole[at] for at in _ORDER]
        sheet.row_dimensions[row].height = _height(cells)
        sheet.append([_text(sheet, cell) for cell in cells])


def _height(cells: Iterable[str]) -> float:
    """Return the height of the cell with the most lines; a word that does not fit starts a new line."""
    lines = max(1 + int(len(text) * 1.2 / width) for text, width in zip(cells, _WIDTHS.values(), strict=True))
    return min(_LINE * lines, _TALLEST)


def _validations(findings: Sequence[Finding]) -> Iterator[Any]:
    """Yield the lists of decisions, one for each set of choices, and the check that a day is a day."""
    from openpyxl.worksheet.datavalidation import DataValidation

    shown: dict[str, Any] = {"allow_blank": True, "showErrorMessage": True, "errorStyle": "stop"}
    rows: dict[tuple[Decision, ...], list[int]] = {}
    for row, finding in enumerate(findings, 2):
        rows.setdefault(choices_of(finding), []).append(row)
    for choices, several in (rows or {tuple(Decision): [2]}).items():
        words = ",".join(choices)
        rule = DataValidation(
            type="list", formula1=f'"{words}"', errorTitle="decision", error=f"Choose one of: {words}.", **shown
        )
        _add(rule, "decision", several)
        yield rule
    day = DataValidation(
        type="date",
        operator="greaterThan",
        formula1="36526",
        errorTitle="until",
        error="Write a day, such as 2026-12-31, or leave it empty.",
        **shown,
    )
    _add(day, "until", range(2, max(3, len(findings) + 2)))
    yield day


def _add(rule: Any, title: str, rows: Iterable[int]) -> None:
    """Add the cells of a column to a validation, runs of rows as ranges."""
    from openpyxl.utils import get_column_letter

    letter = get_column_letter(list(_WIDTHS).index(title) + 1)
    for _, run in groupby(enumerate(rows), lambda pair: pair[1] - pair[0]):
        several = [row for _, row in run]
        rule.add(f"{letter}{several[0]}:{letter}{several[-1]}")


def _title(sheet: Any, text: str) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font, PatternFill

    cell = WriteOnlyCell(sheet, text)
    cell.font = Font(bold=True)
    cell.fill = PatternFill("solid", fgColor="F3E3B3" if text in TO_ANSWER else "DDDDDD")
    return cell


def _text(sheet: Any, text: str) -> Any:
    """Return a cell that holds text unchanged, whatever it looks like.

    The cell's type makes it text, and its quote prefix keeps it text when it is edited; neither shows.
    """
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment

    text = unguarded(text)
    cell = WriteOnlyCell(sheet, text or None)
    if text:
        cell.data_type = "s"  # otherwise `#N/A` would become an error
        cell.quotePrefix = guarded(text) != text
    cell.alignment = Alignment(vertical="top", wrap_text=True)
    return cell


def _guide(workbook: Workbook, report: Report) -> None:
    sheet: Any = workbook.create_sheet(_GUIDE)
    sheet.column_dimensions["A"].width = 110
    name = safe(f"{report.plan.name}, revision {report.plan.revision or 'not named'}", 400)
    kind = (words.headline(report),)
    lines: Iterable[str] = (name, *kind, f"SHA-256 of the plan's files: {report.plan.sha256}", *WORDS)
    for line in lines:
        sheet.append([_text(sheet, guarded(line))])


def _timeless(data: bytes, created: datetime) -> bytes:
    """Return the workbook without the time of its making."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            content = old.read(part)
            if part.filename == "docProps/core.xml":
                content = _MODIFIED.sub(rb"\g<1>" + f"{created.isoformat()}Z".encode(), content)
            entry = zipfile.ZipInfo(part.filename, _FIRST_DAY)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, content)
    return out.getvalue()
