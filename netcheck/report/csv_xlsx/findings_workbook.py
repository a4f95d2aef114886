"""Findings as a workbook, one a row, to be answered in a spreadsheet program: a list to choose the decision from, the
titles always in view, and text that stays text.

The same report gives the same bytes: times inside the file are the report's day, or the first that an archive knows.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable
from datetime import datetime, time
from typing import TYPE_CHECKING, Any

from netcheck.answers.decisions import Decision
from netcheck.answers.table import COLUMNS, TO_ANSWER, cells_of
from netcheck.report.model import Report
from netcheck.rules.finding import Finding
from netcheck.tables.formula_guard import guarded
from netcheck.text import safe

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

FINDINGS = "findings"
_GUIDE = "how to answer"
_WIDTHS = (19, 10, 26, 16, 50, 22, 16, 26, 20, 11, 40, 16, 12)  # of COLUMNS, in characters
_LINE = 15.0  # points; what a row has by default
_TALLEST = 400.0  # points; a spreadsheet takes at most 409
_FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # the first that a zip archive can tell
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")
WORDS = (
    "One row is one finding. Fill the columns decision, remark and by; leave the others as they are.",
    "agreed: the site agrees to live with it. A conflict is accepted only with a remark that says why.",
    "change: the plan has to change; say in the remark how. question: ask it in the remark.",
    "by: who decided. until: the last day on which the agreement holds, such as 2026-12-31; empty means no end.",
    "Rows may be sorted, whole rows at a time, and columns moved; the column key must stay, for answers are found by "
    "it.",
    "Save it as .xlsx or as CSV and send it back; it is read by: netcheck answers PLAN FILE",
)


def to_xlsx(report: Report) -> bytes:
    """All open findings in the report's order."""
    import openpyxl  # only where there is a workbook

    workbook = openpyxl.Workbook(write_only=True)
    workbook.properties.creator = "netcheck"
    workbook.properties.created = datetime.combine(report.today, time())
    _findings(workbook, report.checked.findings)
    _guide(workbook, report)
    out = io.BytesIO()
    workbook.save(out)
    return _timeless(out.getvalue(), workbook.properties.created)


def _findings(workbook: Workbook, findings: tuple[Finding, ...]) -> None:
    from openpyxl.utils import get_column_letter

    sheet: Any = workbook.create_sheet(FINDINGS)
    sheet.freeze_panes = "A2"
    last = get_column_letter(len(COLUMNS))
    sheet.auto_filter.ref = f"A1:{last}{len(findings) + 1}"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_setup.fitToHeight = 0
    for column, width in enumerate(_WIDTHS, 1):
        sheet.column_dimensions[get_column_letter(column)].width = width
    for title, rule in _choices().items():
        rule.add(f"{(letter := get_column_letter(COLUMNS.index(title) + 1))}2:{letter}{max(2, len(findings) + 1)}")
        sheet.data_validations.append(rule)
    sheet.append([_title(sheet, title) for title in COLUMNS])
    for row, finding in enumerate(findings, 2):
        cells = cells_of(finding)
        sheet.row_dimensions[row].height = _height(cells)
        sheet.append([_text(sheet, cell) for cell in cells])


def _height(cells: Iterable[str]) -> float:
    """Room for the cell with the most lines; a word that does not fit into the rest of a line begins a new one."""
    lines = max(1 + int(len(text) * 1.2 / width) for text, width in zip(cells, _WIDTHS, strict=True))
    return min(_LINE * lines, _TALLEST)


def _choices() -> dict[str, Any]:
    """The list of decisions, and that a day is a day."""
    from openpyxl.worksheet.datavalidation import DataValidation

    shown: dict[str, Any] = {"allow_blank": True, "showErrorMessage": True, "errorStyle": "stop"}
    words = ",".join(Decision)
    day = "Write a day, such as 2026-12-31, or leave it empty."
    return {
        "decision": DataValidation(
            type="list", formula1=f'"{words}"', errorTitle="decision", error=f"Choose one of: {words}.", **shown
        ),
        "until": DataValidation(
            type="date", operator="greaterThan", formula1="36526", errorTitle="until", error=day, **shown
        ),
    }


def _title(sheet: Any, text: str) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font, PatternFill

    cell = WriteOnlyCell(sheet, text)
    cell.font = Font(bold=True)
    cell.fill = PatternFill("solid", fgColor="F3E3B3" if text in TO_ANSWER else "DDDDDD")
    return cell


def _text(sheet: Any, text: str) -> Any:
    """A cell that is text whatever it looks like."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment

    cell = WriteOnlyCell(sheet, text or None)
    if text:
        cell.data_type = "s"  # `#N/A` would become an error otherwise
        cell.quotePrefix = text.startswith("'")
    cell.alignment = Alignment(vertical="top", wrap_text=True)
    return cell


def _guide(workbook: Workbook, report: Report) -> None:
    sheet: Any = workbook.create_sheet(_GUIDE)
    sheet.column_dimensions["A"].width = 110
    name = safe(f"{report.plan.name}, revision {report.plan.revision or 'not named'}", 400)
    lines: Iterable[str] = (name, f"SHA-256 of the plan's files: {report.plan.sha256}", *WORDS)
    for line in lines:
        sheet.append([_text(sheet, guarded(line))])


def _timeless(data: bytes, created: datetime) -> bytes:
    """The same workbook with the times of its making taken out."""
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
