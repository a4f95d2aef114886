"""Tests of answered findings as spreadsheet programs save them: various delimiters, encodings, columns and rows."""

from __future__ import annotations

import csv
import io
import os
import re
import zipfile
from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netcheck.answers.read import Answer, from_file
from netcheck.errors import ReportError
from tests.plans import write_workbook

TITLES = ("rule", "subjects", "address", "key", "decision", "remark", "by", "until")
ROWS = (
    ("too-near", "a/b", "192.0.2.7", "too-near-1", "agreed", 'Käse; "so", it\nmoves', "site IT", "2026-12-31"),
    ("crowded", "s", "", "crowded-2", "", "", "", ""),
)


def answer_of(row: int, cells: tuple[str, ...]) -> Answer:
    """Return the answer that is read from these cells."""
    return Answer(row=row, **dict(zip(TITLES, cells, strict=True)))


READ = tuple(answer_of(row, cells) for row, cells in ((2, ROWS[0]), (3, ROWS[1])))


def text_of(rows: Sequence[Sequence[str]], delimiter: str = ",", quoting: int = csv.QUOTE_MINIMAL) -> str:
    """Return the rows as the standard library writes them."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, quoting=quoting).writerows(rows)  # type: ignore[arg-type]
    return out.getvalue()


def read(folder: Path, data: bytes, name: str = "a.csv") -> tuple[Answer, ...]:
    """Return the answers that are read from these bytes."""
    (folder / name).write_bytes(data)
    return from_file(folder / name)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"], ids=ascii)
def test_delimiter_and_encoding_are_found(encoding: str, delimiter: str, tmp_path: Path) -> None:
    """The rows are the same for any delimiter and encoding, and a cell with two lines is in one row."""
    assert read(tmp_path, text_of((TITLES, *ROWS), delimiter).encode(encoding)) == READ


CHANGES: tuple[tuple[str, Callable[[list[list[str]]], list[list[str]]]], ...] = (
    ("reversed columns", lambda rows: [row[::-1] for row in rows]),
    ("extra columns", lambda rows: [["note", *row[:4], "mine", *row[4:], "sum"] for row in rows]),
    ("titles in capitals", lambda rows: [[f" {cell.upper()} " for cell in rows[0]], *rows[1:]]),
    ("cut behind the last filled cell", lambda rows: [rows[0], rows[1], rows[2][:4]]),
    ("filled with empty cells", lambda rows: [[*row, "", "", ""] for row in rows]),
    ("outer spaces", lambda rows: [rows[0], *([f" {cell} " for cell in row] for row in rows[1:])]),
)


@pytest.mark.parametrize("change", [each for _, each in CHANGES], ids=[name for name, _ in CHANGES])
def test_columns_are_identified_by_their_titles(
    change: Callable[[list[list[str]]], list[list[str]]], tmp_path: Path
) -> None:
    """Columns are identified by their titles, in any order."""
    rows = change([list(row) for row in (TITLES, *ROWS)])
    assert read(tmp_path, text_of(rows, quoting=csv.QUOTE_ALL).encode()) == READ


def test_blank_rows_and_lines_above_the_titles_are_skipped(tmp_path: Path) -> None:
    """Blank rows, lines above the titles and `sep=` are skipped; row numbers are those that the spreadsheet shows."""
    text = "sep=;\r\nFindings of revision C\r\n\r\n" + text_of((TITLES, ROWS[1]), ";") + ";;;\r\n\r\n" + ";;x;y\r\n"
    rows = read(tmp_path, text.encode())
    assert [(row.row, row.rule, row.key) for row in rows] == [(5, "crowded", "crowded-2"), (8, "", "y")]


def test_the_guard_is_removed(tmp_path: Path) -> None:
    """The quote that guards a cell is removed; a text without it, because a program removed it, is read too."""
    rows = [("'=x", "'-a/b", "", "k", "agreed", "'=1+1", "'@it", ""), ("=x", "-a/b", "", "k", "agreed", "=1+1", "@it")]
    one, other = read(tmp_path, text_of((TITLES, *rows)).encode())
    assert (one.rule, one.subjects, one.remark, one.by) == ("=x", "-a/b", "=1+1", "@it")
    assert (other.rule, other.subjects, other.remark, other.by) == (one.rule, one.subjects, one.remark, one.by)


def test_an_unclosed_quote_affects_only_its_row(tmp_path: Path) -> None:
    """A row with an unclosed quote is reported, and the next row is read."""
    text = ",".join(TITLES) + '\nx,y,,k1,agreed,"torn,it,\nx,y,,k2,agreed,fine,it,\n'
    broken, whole = read(tmp_path, text.encode())
    assert "quotes" in broken.fault
    assert (whole.key, whole.remark, whole.fault) == ("k2", "fine", "")


def test_a_workbook_gives_the_same_rows(tmp_path: Path) -> None:
    """A workbook gives the same rows: dates in any format, other sheets ignored, columns in any order."""
    days: list[Sequence[object]] = [TITLES[::-1]]
    for day in (date(2026, 12, 31), datetime(2026, 12, 31, 0, 0), "2026-12-31"):
        days.append([day, *ROWS[0][:-1][::-1]])
    path = write_workbook(tmp_path / "a.xlsx", {"notes": [["hello"]], "Sheet7": days, "how": [["x", "y"]]})
    assert from_file(path) == tuple(answer_of(row, ROWS[0]) for row in (2, 3, 4))


@pytest.mark.parametrize("title", ["decision", "remark", "key"])
def test_a_formula_is_not_an_answer(title: str, tmp_path: Path) -> None:
    """A formula is refused with its row, with or without a stored value."""
    row = [f'="{cell}"' if name == title else cell for name, cell in zip(TITLES, ROWS[0], strict=True)]
    path = write_workbook(tmp_path / "a.xlsx", {"findings": [TITLES, row]})
    with pytest.raises(ReportError, match=r"a\.xlsx: it has a formula without a stored value"):
        from_file(path)
    stored = tmp_path / "b.xlsx"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(stored, "w") as new:
        for part in old.namelist():
            new.writestr(part, re.sub(rb"<v ?/>|<v></v>", b"<v>question</v>", old.read(part)))
    with pytest.raises(ReportError, match=rf"b\.xlsx: row 2: {title} is a formula, ="):
        from_file(stored)


def test_files_without_answers_are_refused(tmp_path: Path) -> None:
    """Each refusal names the file and says what to do."""
    bomb = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", bytes(65 << 20))
    os.mkfifo(tmp_path / "pipe.csv")
    title_twice = text_of(((*TITLES, "decision"),)).encode()
    old = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512)
    write_workbook(tmp_path / "two.xlsx", {"a": [TITLES], "b": [TITLES]})
    named = {
        "bomb.xlsx": "67,108,864 (64 MiB) are read",
        "pipe.csv": "it is a device, a pipe or a socket",
        "missing.csv": "the file is not there",
        "two.xlsx": "several sheets have findings: a and b",
    }
    made = {
        "empty.csv": (b"", "no row of titles with decision and key"),
        "other.csv": (b"a,b\n1,2\n", "no row of titles with decision and key"),
        "twice.csv": (title_twice, "the column decision twice"),
        "old.xls": (old, "an older kind, or is locked"),
        "cut.xlsx": (b"PK\x03\x04cut", "cannot be read as a workbook"),
        "zeros.csv": (bytes(100), "it contains zero bytes, so it is not text"),
        "long.csv": (b"decision,key\n" + b"x" * (2 << 20), "line 2 has 2,097,152 bytes"),
    }
    for name, (data, _) in made.items():
        (tmp_path / name).write_bytes(data)
    for name, words in {**named, **{name: words for name, (_, words) in made.items()}}.items():
        with pytest.raises(ReportError) as caught:
            from_file(tmp_path / name)
        (problem,) = caught.value.problems
        assert problem.where == name
        assert words in problem.what
        assert problem.do


def test_rows_of_a_million_empty_cells_are_skipped(tmp_path: Path) -> None:
    """Rows with a million empty cells, before or after the titles, are skipped."""
    wide = b"," * ((1 << 20) - 1) + b"\n"
    rows = read(tmp_path, 2 * wide + text_of((TITLES, ROWS[1])).encode() + wide)
    assert [(row.row, row.key) for row in rows] == [(4, "crowded-2")]


GOOD = text_of((TITLES, *ROWS)).encode()


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.integers(0, len(GOOD)), st.binary(max_size=6), st.integers(0, 9))
def test_any_bytes_are_read_or_refused(tmp_path: Path, at: int, junk: bytes, cut: int) -> None:
    """A file that is cut, padded or mutated gives rows or a refusal."""
    try:
        answers = read(tmp_path, GOOD[:at] + junk + GOOD[at + cut :])
    except ReportError as error:
        answers, where = (), error.problems[0].where
    else:
        where = "a.csv"
    assert where == "a.csv"
    assert all(isinstance(answer, Answer) for answer in answers)


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="/proc/self/mem exists on Linux only")
def test_a_file_whose_first_bytes_cannot_be_read_is_named() -> None:
    """A drive can fail between opening and reading; the first page of a process's memory fails like it (EIO)."""
    with pytest.raises(ReportError, match="mem: its drive failed, is full, or was removed"):
        from_file(Path("/proc/self/mem"))
