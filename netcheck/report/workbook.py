"""Writes the report as a workbook: two sheets for answers, and the other tables for reading.

On the sheets `findings` and `requests` the cells for an answer stand next to the finding or request. Subjects and
titles stay in view, and decisions are chosen from a list. The titles are those of the CSV files, because `answers`
reads both. Accepted findings stand below the open ones, so that an acceptance can be withdrawn. Every sheet prints on
A4 and Letter: it is as wide as the page, and each page has the titles, the plan, its hash and the page number. No text
becomes a number, a date or a formula. The same report gives the same bytes: times inside the file are the report's
date, or the earliest date that an archive can hold.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, time
from itertools import groupby
from typing import TYPE_CHECKING, Any

from netcheck.answers import grants
from netcheck.answers.table import REPORT_COLUMNS, TO_ANSWER, Decision, choices_of, report_row
from netcheck.caution import CAUTION
from netcheck.plan.model import SITE
from netcheck.report import words
from netcheck.report.address_list import REPORT_HEADERS, address_parts
from netcheck.report.csv_tables import REQUEST_COLUMNS, row_of, safe_cells, wrong_settings
from netcheck.report.finding_groups import island_of
from netcheck.report.model import Report
from netcheck.report.part_rows import (
    DHCP_HOSTS,
    SWITCH_PORTS,
    TALKS,
    Part,
    asked_parts,
    changes_line,
    changes_parts,
    island_part,
    proof_parts,
    said_part,
    survey_part,
)
from netcheck.report.text.proofs import SIMULATED
from netcheck.requests.build import asked_of
from netcheck.rules.accept import remarks_on
from netcheck.rules.finding import AcceptedFinding, Finding
from netcheck.tables.delimited import guarded, unguarded
from netcheck.text import safe

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

FINDINGS, REQUESTS, GUIDE = "findings", "requests", "how to answer"
MOST_ROWS = 20_000  # rows of one sheet; writing takes about a second for 40,000 cells
# The columns in their order, with their widths in characters. Columns after the last one in `PRINTED` are not printed.
_FINDING_WIDTHS = {
    "number": 8, "subjects": 22, "island": 10, "address": 15, "message": 40, "fix": 15, "earlier-answers": 22,
    "choices": 16, "decision": 18, "change-to": 15, "remark": 28, "by": 12, "until": 11, "rule": 17, "severity": 10,
    "source": 22, "where": 26, "key": 20,
}  # fmt: skip
_REQUEST_WIDTHS = {
    "kind": 12, "subject": 24, "island": 10, "address": 16, "what": 44, "note": 30, "granted": 9, "refused": 9,
    "ticket": 12, "by": 12, "date": 11, "mac": 18, "host-name": 20, "subnet": 14, "vlan": 6, "switch-port": 12,
    "to": 22, "to-address": 16, "protocol": 9, "port": 9, "opened-by": 20,
}  # fmt: skip
_PRINTED = {FINDINGS: "severity", REQUESTS: "switch-port"}
_NARROW, _WIDE = 8, 40  # widths of columns of the other sheets, in characters
_LINE = 15.0  # points; the default height of a row
_TALLEST = 400.0  # points; the largest height of a row is 409
_FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # the first date of a zip archive
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")
WORDS = (
    "Each row is one finding or one request. Fill in the yellow columns; do not change the others.",
    "decision: choose one of the decisions in the column choices of the same row.",
    "use the proposal: the address in the column fix goes into the plan.",
    "live with it as it is: the finding is accepted. A conflict needs a remark that gives the reason.",
    "change it to: write the new value in the column change-to, or describe the change in the remark.",
    "question: write the question in the remark. The next report shows it with the reply.",
    "withdraw: the finding was accepted before, and becomes open again.",
    "by: who decided. until: the last day of an acceptance, such as 2026-12-31; empty means no end.",
    "Sheet requests: mark granted or refused with an x, and write the ticket, by and the date.",
    "You may sort whole rows and move columns. Do not delete the column key: it identifies the finding.",
    "Save the file as .xlsx or as CSV and send it back. This command reads it: netcheck answers PLAN FILE",
)


def to_xlsx(report: Report) -> bytes:
    """Return the whole report as a workbook; open findings come first, in the report's order, then accepted ones."""
    import openpyxl  # imported only for a workbook

    workbook = openpyxl.Workbook(write_only=True)
    workbook.properties.creator = "netcheck"
    workbook.properties.created = datetime.combine(report.today, time())
    _findings(workbook, report)
    _requests(workbook, report)
    for title, part in _parts(report):
        rows = [_as_written(row) for row in part.rows[:MOST_ROWS]]
        left = len(part.rows) - len(rows)
        rows += [[f"and {left:,} more", *[""] * (len(part.columns) - 1)]] if left else []
        _sheet(workbook, report, title, dict(zip(part.headers, _widths(part.headers, rows), strict=True)), rows)
    _guide(workbook, report)
    out = io.BytesIO()
    workbook.save(out)
    return _timeless(out.getvalue(), workbook.properties.created)


def _as_written(row: Sequence[str]) -> list[str]:
    return [safe(cell, 8000) for cell in row]


def _parts(report: Report) -> Iterator[tuple[str, Part]]:
    """Yield the tables for reading with the names of their sheets; empty tables are left out."""
    asked = {part.title: part for part in asked_parts(report)}
    parts = [
        ("questions and changes", said_part(report)),
        ("DHCP hosts", asked[DHCP_HOSTS]),
        ("conversations", asked[TALKS]),
        ("switch ports", asked[SWITCH_PORTS]),
        ("IP list", _addresses(report)),
        ("islands", island_part(report)),
    ]
    parts += [(part.title.lower(), part) for part in proof_parts(report)]
    parts += [("surveys", survey_part(report))]
    if report.changes:
        rows = [
            (part.title, "; ".join(filter(None, row))) for part in changes_parts(report.changes) for row in part.rows
        ]
        about = ("compared with", changes_line(report.changes))
        parts += [("what changed", Part("What changed", ("change", "what"), (about, *rows)))]
    yield from ((title, part) for title, part in parts if part.rows)


def _addresses(report: Report) -> Part:
    """Return the address lists of all subnets as one table, with every column that one of the lists has."""
    parts = list(address_parts(report))
    columns = [name for name in REPORT_HEADERS if any(name in part.columns for part in parts)]
    rows = [(part.title, dict(zip(part.columns, row, strict=True))) for part in parts for row in part.rows]
    cells = tuple((title, *(row.get(name, "") for name in columns)) for title, row in rows)
    return Part("IP list", ("subnet", *columns), cells)


def _widths(headers: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    longest = (max(map(len, column)) for column in zip(headers, *rows[:1000], strict=True))
    return [min(max(length + 2, _NARROW), _WIDE) for length in longest]


def _findings(workbook: Workbook, report: Report) -> None:
    """Add the sheet of findings: open ones, accepted ones, then ports with wrong settings."""
    checked = report.checked
    agreed = [each.finding for each in checked.accepted]
    remarks = remarks_on((*checked.findings, *agreed), report.plan.remarks)
    several = any(subnet.island != SITE for subnet in report.plan.subnets)
    columns = [title for title in _FINDING_WIDTHS if title != "island" or several]
    rows, choices = list[list[str]](), list[tuple[Decision, ...]]()

    def add(number: str, finding: Finding, accepted: AcceptedFinding | None = None) -> None:
        whole = report_row(number, finding, accepted, remarks.get(finding.key, ()))
        cells = dict(zip(REPORT_COLUMNS, safe_cells(whole), strict=True)) | {"island": island_of(checked, finding)}
        rows.append([cells[title] for title in columns])
        choices.append(choices_of(finding, accepted=accepted is not None))

    for number, finding in enumerate(checked.findings, 1):
        add(str(number), finding)
    for number, each in enumerate(checked.accepted, len(rows) + 1):
        add(str(number), each.finding, each)
    for finding in wrong_settings(report):  # found on site; there is nothing to decide
        add("", finding)
        rows[-1][columns.index("choices")], choices[-1] = "", ()
    widths = {title: _FINDING_WIDTHS[title] for title in columns}
    if not any(row[columns.index("earlier-answers")] for row in rows):
        widths["earlier-answers"] = 9  # leaves more of the paper's width to the other columns
    sheet = _sheet(workbook, report, FINDINGS, widths, rows, TO_ANSWER)
    for rule in _validations(columns, choices):
        sheet.data_validations.append(rule)


def _requests(workbook: Workbook, report: Report) -> None:
    """Add the sheet of requests, at most `MOST_ROWS` of them."""
    requests = asked_of(report.checked).requests
    several = any(subnet.island != SITE for subnet in report.plan.subnets)
    columns = [title for title in _REQUEST_WIDTHS if title != "island" or several]
    rows = []
    for request in requests[:MOST_ROWS]:
        cells = dict(zip(REQUEST_COLUMNS, safe_cells(row_of(request)), strict=True))
        rows.append([cells[title] for title in columns])
    left = len(requests) - len(rows)
    note = f"and {left:,} more: report --requests FILE.csv has them all"
    rows += [[note if title == "what" else "" for title in columns]] if left else []
    widths = {title: _REQUEST_WIDTHS[title] for title in columns}
    sheet = _sheet(workbook, report, REQUESTS, widths, rows, grants.TO_ANSWER)
    sheet.data_validations.append(_day("date", columns, len(rows)))


def _sheet(
    workbook: Workbook,
    report: Report,
    name: str,
    widths: Mapping[str, int],
    rows: Sequence[Sequence[str]],
    to_answer: Sequence[str] = (),
) -> Any:
    """Add a sheet with a row of titles; if it is for answers, the first two columns stay in view."""
    from openpyxl.utils import get_column_letter

    sheet: Any = workbook.create_sheet(name)
    sheet.freeze_panes = "C2" if to_answer else "B2"
    last = get_column_letter(len(widths))
    sheet.auto_filter.ref = f"A1:{last}{len(rows) + 1}"
    for column, width in enumerate(widths.values(), 1):
        sheet.column_dimensions[get_column_letter(column)].width = width
    titles = list(widths)
    printed = titles.index(_PRINTED[name]) + 1 if name in _PRINTED else len(titles)
    _page(sheet, report, f"A1:{get_column_letter(printed)}{len(rows) + 1}")
    sheet.append([_title(sheet, title, to_answer) for title in titles])
    for row, cells in enumerate(rows, 2):
        sheet.row_dimensions[row].height = _height(cells, widths.values())
        sheet.append([_text(sheet, cell) for cell in cells])
    return sheet


def _page(sheet: Any, report: Report, area: str) -> None:
    """Set the printed area and what each page shows: titles, plan, date, hash and page number."""
    sheet.print_title_rows = "1:1"
    sheet.print_area = area
    sheet.page_setup.orientation = "landscape"
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_setup.fitToHeight = 0
    sheet.print_options.gridLines = True
    for side in ("left", "right"):
        setattr(sheet.page_margins, side, 0.4)  # inches; printers of both paper sizes can print to this margin
    plan = report.plan
    name = f"{plan.name}, revision {plan.revision}" if plan.revision else plan.name
    sheet.oddHeader.left.text = _for_header(name)
    sheet.oddHeader.right.text = SIMULATED if report.simulated else f"checked on {report.today}"
    sheet.oddFooter.left.text = f"plan SHA-256 {plan.sha256}"
    sheet.oddFooter.right.text = "page &P of &N"


def _for_header(text: str) -> str:
    """Return a text for a header or footer; ampersands are doubled, because a single one begins a code."""
    return safe(text, 120).replace("&", "&&")


def _height(cells: Iterable[str], widths: Iterable[int]) -> float:
    """Return the height of the cell with the most lines; a word that does not fit starts a new line."""
    lines = max(1 + int(len(text) * 1.2 / width) for text, width in zip(cells, widths, strict=True))
    return min(_LINE * lines, _TALLEST)


def _validations(columns: Sequence[str], choices: Sequence[tuple[Decision, ...]]) -> Iterator[Any]:
    """Yield a validation for each set of decisions, and one that accepts only dates."""
    from openpyxl.worksheet.datavalidation import DataValidation

    rows: dict[tuple[Decision, ...], list[int]] = {}
    for row, several in enumerate(choices, 2):
        if several:
            rows.setdefault(several, []).append(row)
    for decisions, places in (rows or {tuple(Decision): [2]}).items():
        said = ",".join(decisions)
        rule = DataValidation(
            type="list", formula1=f'"{said}"', errorTitle="decision", error=f"Choose one of: {said}.", **_SHOWN
        )
        _add(rule, columns, "decision", places)
        yield rule
    yield _day("until", columns, len(choices))


_SHOWN: dict[str, Any] = {"allow_blank": True, "showErrorMessage": True, "errorStyle": "stop"}


def _day(title: str, columns: Sequence[str], count: int) -> Any:
    """Return the validation that accepts only dates in a column; *count* is the number of rows."""
    from openpyxl.worksheet.datavalidation import DataValidation

    day = DataValidation(
        type="date",
        operator="greaterThan",
        formula1="36526",
        errorTitle=title,
        error="Write a day, such as 2026-12-31, or leave it empty.",
        **_SHOWN,
    )
    _add(day, columns, title, range(2, max(3, count + 2)))
    return day


def _add(rule: Any, columns: Sequence[str], title: str, rows: Iterable[int]) -> None:
    """Add the cells of a column to a validation; neighbouring rows form one range."""
    from openpyxl.utils import get_column_letter

    letter = get_column_letter(columns.index(title) + 1)
    for _, run in groupby(enumerate(rows), lambda pair: pair[1] - pair[0]):
        several = [row for _, row in run]
        rule.add(f"{letter}{several[0]}:{letter}{several[-1]}")


def _title(sheet: Any, text: str, to_answer: Sequence[str]) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment, Font, PatternFill

    cell = WriteOnlyCell(sheet, text)
    cell.font = Font(bold=True)
    cell.fill = PatternFill("solid", fgColor="F3E3B3" if text in to_answer else "DDDDDD")
    cell.alignment = Alignment(vertical="top", wrap_text=True)
    return cell


def _text(sheet: Any, text: str) -> Any:
    """Return a cell that keeps its text unchanged, also if the text looks like a number or a formula.

    The cell's type makes it text, and its quote prefix keeps it text when it is edited; neither is visible.
    """
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment

    text = unguarded(text)
    cell = WriteOnlyCell(sheet, text or None)
    if text:
        cell.data_type = "s"  # otherwise `#N/A` becomes an error value
        cell.quotePrefix = guarded(text) != text
    cell.alignment = Alignment(vertical="top", wrap_text=True)
    return cell


def _guide(workbook: Workbook, report: Report) -> None:
    """Add the sheet that explains how to answer, with the facts about the plan."""
    sheet: Any = workbook.create_sheet(GUIDE)
    sheet.column_dimensions["A"].width = 110
    name = safe(f"{report.plan.name}, revision {report.plan.revision or 'not named'}", 400)
    asked = words.needed_from_it(asked_of(report.checked), report)
    lines: tuple[str, ...] = (name, words.headline(report), f"Needed from IT: {asked}", *WORDS)
    lines += (f"SHA-256 of the plan's files: {report.plan.sha256}", *words.hash_recipe(report.plan))
    lines += ("What was not checked:", *words.not_checked(report), "Before any cable is pulled:", *CAUTION)
    _page(sheet, report, f"A1:A{len(lines)}")
    for row, line in enumerate(lines, 1):
        sheet.row_dimensions[row].height = _height([line], [110])
        sheet.append([_text(sheet, guarded(safe(line, 4000)))])


def _timeless(data: bytes, created: datetime) -> bytes:
    """Return the workbook with fixed times in place of the time of writing."""
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
