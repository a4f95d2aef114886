"""Tests of the findings as CSV: columns, RFC 4180, guard, and the byte order mark only where it is needed."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from netcheck.addr import Address
from netcheck.answers.table import REPORT_COLUMNS, TO_ANSWER
from netcheck.report.csv_tables import to_csv
from netcheck.report.model import Report
from netcheck.rules.finding import Finding, Fix, Severity


def one(report: Report, **changes: object) -> Report:
    """Return the report with a single finding, changed."""
    plain = Finding(
        rule="inside-pool",
        severity=Severity.CONFLICT,
        subjects=("a/b",),
        address="10.62.20.205",
        message="x",
        source="common practice",
        fix=None,
        where="plan.toml",
    )
    finding = plain._replace(**changes)  # type: ignore[arg-type]
    return replace(report, checked=replace(report.checked, findings=(finding,)))


def rows(data: bytes) -> list[dict[str, str]]:
    """Return the rows as the standard library reads them."""
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))


def test_each_finding_is_a_row(sample: Report) -> None:
    """Every open finding is one row, in the report's order, with its key and four empty columns for answers."""
    found = rows(to_csv(sample))
    assert [row["key"] for row in found] == [finding.key for finding in sample.checked.findings]
    assert list(found[0]) == list(REPORT_COLUMNS)
    assert {row[title] for row in found for title in TO_ANSWER} == {""}


def test_a_golden_row(sample: Report) -> None:
    """The bytes of a row are fixed: every field quoted, CRLF at the end (RFC 4180 section 2)."""
    lines = to_csv(sample).split(b"\r\n")
    assert lines[0] == (
        b'"rule","severity","subjects","address","message","source","fix","where","key","choices","decision","change-to",'
        b'"remark","by","until","number","earlier-answers"'
    )
    key = sample.checked.findings[1].key
    assert lines[2].decode() == (
        '"inside-pool","conflict","line-panel/lan","10.62.20.205",'
        '"10.62.20.205 is inside the pool 10.62.20.200-10.62.20.239 of subnet process","RFC 2131 section 2.2",'
        f'"10.62.20.164","plan.toml line 43: device line-panel, interface lan","{key}",'
        '"use the proposal / live with it as it is / change it to / question","","","","","","2",""'
    )
    assert lines[-1] == b""


def test_fixes_of_several_subjects_name_each(sample: Report) -> None:
    """If a finding has several subjects, each address is given with the subject that must change."""
    fix = Fix((("c/d", Address.from_text("10.62.20.81")), ("e/f", Address.from_text("10.62.20.82"))))
    (row,) = rows(to_csv(one(sample, subjects=("a/b", "c/d", "e/f"), fix=fix)))
    assert row["subjects"] == "a/b; c/d; e/f"
    assert row["fix"] == "c/d=10.62.20.81; e/f=10.62.20.82"


@pytest.mark.parametrize("text", ["=cmd|' /C calc'!A0", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\0=1"])
def test_no_cell_begins_like_a_formula(text: str, sample: Report) -> None:
    """Hostile text in any column stays text in a spreadsheet."""
    data = to_csv(one(sample, message=text, where=text, subjects=(text,), source=text, address=text))
    (row,) = rows(data)
    assert not [cell for cell in row.values() if cell[:1] in set("=+-@\t\r\n\0")]
    assert b"\x00" not in data


@pytest.mark.parametrize("text", ['"onload="x', "a,b;c", "line\r\nbreak", "\x1b[31m", "\u202eabc", "\ud800"], ids=ascii)
def test_hostile_text_stays_in_its_cell(text: str, sample: Report) -> None:
    """Quotes and separators open no new cell, control characters become escapes, and every row has all cells."""
    data = to_csv(one(sample, message=text))
    table = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))
    assert [len(row) for row in table] == [len(REPORT_COLUMNS)] * 2
    assert all(cell.isprintable() for cell in table[1])
    assert data.count(b"\r\n") == 2


def test_the_byte_order_mark_is_written_only_if_it_is_needed(sample: Report) -> None:
    """A file in ASCII has no byte order mark; any other file has one, which spreadsheet programs need."""
    assert not to_csv(sample).startswith(b"\xef\xbb\xbf")
    data = to_csv(one(sample, message="Käserei"))
    assert data.startswith(b'\xef\xbb\xbf"rule"')
    assert rows(data)[0]["message"] == "Käserei"
