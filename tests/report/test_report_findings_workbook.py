"""Tests of the findings as a workbook, read with openpyxl: it is ready for answers and contains no formula."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime
from typing import Any

import openpyxl
import pytest
from openpyxl.utils import get_column_letter

from netcheck.answers.table import COLUMNS, choices_of
from netcheck.report.csv_xlsx.findings_workbook import to_xlsx
from netcheck.report.model import Report
from netcheck.rules.finding import Finding, Severity

# The characters of OWASP (CSV Injection), ASVS 5.0 requirement 1.2.10 and CWE-1236, and the two worked examples of the
# first; then markup, a text like an error, an octet escape as workbooks write it, bidirectional text and a surrogate.
HOSTILE = (
    *("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\0=1", '=1+2";=1+2', "=1+2'\" ;,=1+2"),
    *("<b>&\"'", "#N/A", "_x003D_1", "\u202eabc\u2066", "\ud800", "\x1b]0;t\x07\x9b1m", "\uff1d1+1"),
)


def opened(report: Report) -> Any:
    """Return the workbook as openpyxl reads it."""
    return openpyxl.load_workbook(io.BytesIO(to_xlsx(report)))


def with_finding(report: Report, text: str) -> Report:
    """Return the report with a single finding made of one text."""
    finding = Finding(
        rule=text,
        severity=Severity.RISK,
        subjects=(text,),
        address=text,
        message=text,
        source=text,
        fix=None,
        where=text,
    )
    return replace(report, checked=replace(report.checked, findings=(finding,)))


def test_the_sheet_is_ready_to_work_in(sample: Report) -> None:
    """Titles stay visible and repeat on paper, columns are wide enough, and rows can be filtered."""
    sheet = opened(sample)["findings"]
    rows = list(sheet.iter_rows(values_only=True))
    assert sorted(rows[0]) == sorted(COLUMNS)
    assert rows[0][0] == "subjects"
    keys = [row[rows[0].index("key")] for row in rows[1:]]
    assert keys == [finding.key for finding in sample.checked.findings]
    assert (sheet.freeze_panes, sheet.print_title_rows) == ("B2", "$1:$1")
    assert sheet.auto_filter.ref == f"A1:O{len(rows)}"
    assert all(sheet.column_dimensions[cell.column_letter].width >= 10 for cell in sheet[1])
    assert all(cell.alignment.wrap_text for cell in sheet[2])
    lines = len(sheet["C2"].value) / sheet.column_dimensions["C"].width
    assert lines * 13 < sheet.row_dimensions[2].height <= 409


def test_the_decision_is_chosen_from_a_list(sample: Report) -> None:
    """Each row offers the decisions that its finding permits, dates are validated, and both cells may stay empty."""
    sheet = opened(sample)["findings"]
    titles = [cell.value for cell in sheet[1]]
    column = get_column_letter(titles.index("decision") + 1)
    rules = sheet.data_validations.dataValidation
    for row, finding in enumerate(sample.checked.findings, 2):
        (rule,) = [rule for rule in rules if f"{column}{row}" in rule]
        assert (rule.type, rule.formula1) == ("list", f'"{",".join(choices_of(finding))}"')
        assert (rule.allow_blank, rule.showErrorMessage, rule.errorStyle) == (True, True, "stop")
    (until,) = [rule for rule in rules if rule.type == "date"]
    assert str(until.sqref) == f"{get_column_letter(titles.index('until') + 1)}2:J{len(sample.checked.findings) + 1}"
    assert until.operator == "greaterThan"


@pytest.mark.parametrize("text", HOSTILE, ids=ascii)
def test_text_stays_text(text: str, sample: Report) -> None:
    """Hostile text is unchanged text in its cell and stays text when it is edited; there are two rows."""
    sheet = opened(with_finding(sample, text))["findings"]
    cells = [cell for cell in sheet[2] if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s"}
    starts = [cell for cell in cells if cell.value[:1] in set("=+-@")]
    assert all(cell.quotePrefix for cell in starts)
    assert not [cell.value for cell in cells if cell.value[:1] in set("\t\r\n\0")]
    assert all(cell.value.isprintable() for cell in cells)
    assert sheet.max_row == 2
    if text.isprintable():
        assert sheet["A2"].value == text


def test_no_finding_is_a_sheet_with_titles(sample: Report) -> None:
    """A plan without findings gives a workbook that opens, with titles."""
    sheet = opened(replace(sample, checked=replace(sample.checked, findings=())))["findings"]
    (titles,) = sheet.iter_rows(values_only=True)
    assert sorted(titles) == sorted(COLUMNS)


def test_a_second_sheet_explains_the_decisions(sample: Report) -> None:
    """A second sheet names the plan by its hash and explains each decision."""
    book = opened(sample)
    text = "\n".join(str(row[0]) for row in book["how to answer"].iter_rows(values_only=True))
    assert book.active.title == "findings"
    assert sample.plan.sha256 in text
    assert "A conflict needs a remark that gives the reason" in text


def test_the_same_report_gives_the_same_bytes(sample: Report) -> None:
    """The only date in the file is the report's day, so that equal reports give equal bytes."""
    assert to_xlsx(sample) == to_xlsx(sample)
    properties = opened(sample).properties
    assert {properties.created, properties.modified} == {datetime(2026, 11, 20)}
