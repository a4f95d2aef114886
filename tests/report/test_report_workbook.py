"""Tests of the findings as a workbook, read with openpyxl: it is ready for answers and contains no formula."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime
from typing import Any

import openpyxl
import pytest
from openpyxl.utils import get_column_letter

from netcheck.answers.table import REPORT_COLUMNS, choices_of
from netcheck.report.model import Report
from netcheck.report.part_rows import proof_parts
from netcheck.report.workbook import to_xlsx
from netcheck.requests.build import asked_of
from netcheck.rules.finding import Finding, Severity

# The characters of OWASP (CSV Injection), ASVS 5.0 requirement 1.2.10 and CWE-1236, and the two worked examples of
# OWASP; then markup, text like an error value, an octet escape as in workbooks, bidirectional text and a surrogate.
HOSTILE = (
    *("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\0=1", '=1+2";=1+2', "=1+2'\" ;,=1+2"),
    *("<b>&\"'", "#N/A", "_x003D_1", "\u202eabc\u2066", "\ud800", "\x1b]0;t\x07\x9b1m", "\uff1d1+1"),
)


def opened(report: Report) -> Any:
    """Return the workbook as openpyxl reads it."""
    return openpyxl.load_workbook(io.BytesIO(to_xlsx(report)))


def with_finding(report: Report, text: str) -> Report:
    """Return the report with a single finding whose every text is *text*."""
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
    return replace(report, checked=replace(report.checked, findings=(finding,), accepted=()))


def test_the_sheet_is_ready_to_work_in(sample: Report) -> None:
    """Titles stay visible and repeat on paper, columns are wide enough, and rows can be filtered."""
    sheet = opened(sample)["findings"]
    rows = list(sheet.iter_rows(values_only=True))
    assert sorted(rows[0]) == sorted(REPORT_COLUMNS)
    first = ("number", "subjects", "address", "message", "fix", "earlier-answers", "choices")
    assert rows[0][:12] == (*first, "decision", "change-to", "remark", "by", "until")
    keys = [row[rows[0].index("key")] for row in rows[1:]]
    accepted = [each.finding for each in sample.checked.accepted]
    assert keys == [finding.key for finding in (*sample.checked.findings, *accepted)]
    assert [row[0] for row in rows[1:]] == [str(number) for number in range(1, len(rows))]
    assert (sheet.freeze_panes, sheet.print_title_rows) == ("C2", "$1:$1")
    assert sheet.auto_filter.ref == f"A1:Q{len(rows)}"
    assert all(sheet.column_dimensions[cell.column_letter].width >= 9 for cell in sheet[1][1:])
    assert all(cell.alignment.wrap_text for cell in sheet[2])
    lines = len(sheet["D2"].value) / sheet.column_dimensions["D"].width
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
    count = len(sample.checked.findings) + len(sample.checked.accepted)
    assert str(until.sqref) == f"L2:L{count + 1}"
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
        assert sheet["B2"].value == text


def test_no_finding_is_a_sheet_with_titles(sample: Report) -> None:
    """A plan without findings gives a workbook that opens, with titles."""
    sheet = opened(replace(sample, checked=replace(sample.checked, findings=(), accepted=())))["findings"]
    (titles,) = sheet.iter_rows(values_only=True)
    assert sorted(titles) == sorted(REPORT_COLUMNS)


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


def test_an_accepted_finding_can_be_withdrawn(sample: Report) -> None:
    """The finding stands below the open ones with the name of who accepted it, and its list has `withdraw`."""
    sheet = opened(sample)["findings"]
    titles = [cell.value for cell in sheet[1]]
    last = {title: cell.value for title, cell in zip(titles, sheet[sheet.max_row], strict=True)}
    assert last["subjects"] == "silo-io/bus"
    assert last["earlier-answers"].startswith("accepted by site IT, until 2026-12-31")
    assert last["choices"] == "live with it as it is / withdraw"
    column = get_column_letter(titles.index("decision") + 1)
    (rule,) = [one for one in sheet.data_validations.dataValidation if f"{column}{sheet.max_row}" in one]
    assert rule.formula1 == '"live with it as it is,withdraw"'


def test_requests_proofs_and_the_other_tables_have_their_sheets(sample: Report) -> None:
    """The cells for answers stand next to each request; other tables have the titles of the other formats."""
    book = opened(sample)
    asked = list(book["requests"].iter_rows(values_only=True))
    first = ("kind", "subject", "address", "what", "note")
    assert asked[0][:10] == (*first, "granted", "refused", "ticket", "by", "date")
    assert len(asked) == len(asked_of(sample.checked).requests) + 1
    proofs = list(book["proofs"].iter_rows(values_only=True))
    (part, *_) = proof_parts(sample)
    assert proofs[0] == part.headers
    assert [row[2] for row in proofs[1:]] == [str(port.verdict) for port in sample.ports]
    names = ["findings", "requests", "DHCP hosts", "IP list", "proofs", "records and seals", "surveys", "how to answer"]
    assert book.sheetnames == names
    assert [book[name].page_setup.orientation for name in names] == ["landscape"] * len(names)
    assert {book[name].oddFooter.left.text for name in names} == {f"plan SHA-256 {sample.plan.sha256}"}
