"""Delimited text gives the records that the standard library's writer wrote; any text is read quickly."""

from __future__ import annotations

import csv
import io
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.files import FileError
from netcheck.tables.delimited import (
    DELIMITERS,
    RECORD_LINES,
    blocks_of,
    columns_of,
    encoding_of,
    lines_of,
    records_of,
    text_of,
)

cells = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r"), max_size=8) | st.sampled_from(
    ['"', '""', 'a"b', "a\nb", ",", ";", " x ", "\n"]
)


def records(text: str, delimiter: str = ",") -> list[tuple[int, tuple[str, ...], str]]:
    """Return row, cells and fault of each record."""
    lines = lines_of(io.StringIO(text, newline=""))
    return [(record.row, record.cells, record.fault) for record in records_of(lines, delimiter)]


@given(st.lists(st.lists(cells, min_size=1, max_size=4), max_size=6), st.sampled_from(DELIMITERS))
def test_what_the_standard_library_writes_is_read_back(rows: list[list[str]], delimiter: str) -> None:
    """The writer of the csv module is the reference (RFC 4180 section 2)."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter).writerows(rows)
    read = records(text.getvalue(), delimiter)
    assert [list(one) for _, one, _ in read] == [row if row != [""] else [""] for row in rows]
    assert [row for row, _, _ in read] == list(range(1, len(rows) + 1))
    assert not any(fault for _, _, fault in read)


@given(st.text(st.sampled_from('ab",\n\r;')), st.sampled_from(DELIMITERS))
def test_any_text_gives_records_and_ends(text: str, delimiter: str) -> None:
    """Every letter of the text is in one of the records."""
    read = records(text, delimiter)
    joined = "".join("".join(one) for _, one, _ in read)
    assert joined.count("a") == text.count("a")
    assert joined.count("b") == text.count("b")


def test_an_open_quote_affects_only_its_own_row() -> None:
    """The rows after it are read as rows."""
    read = records('10.0.0.1,"open\n10.0.0.2,b\n10.0.0.3,c\n')
    assert [one[0] for _, one, _ in read] == ["10.0.0.1", "10.0.0.2", "10.0.0.3"]
    assert [bool(fault) for _, _, fault in read] == [True, False, False]


def test_a_lone_quote_inside_a_cell_is_a_letter() -> None:
    """It may mean inches: as in the csv module, only a quote at the start of a cell opens a quoted field."""
    assert [one for _, one, _ in records('1,5" pipe\n2,x\n')] == [("1", '5" pipe'), ("2", "x")]


def test_a_record_of_too_many_lines_is_not_joined() -> None:
    """A quote that is closed after more than a hundred lines is not one field."""
    read = records('"a' + "\nx" * RECORD_LINES + '"\n')
    assert len(read) == RECORD_LINES + 1


def test_quotes_in_every_line_do_not_hang() -> None:
    """The work for each line is bounded."""
    start = time.process_time()
    assert len(records('"open,\n' * 5001)) == 5001
    assert time.process_time() - start < 5


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (b"", "utf-8"),
        (b"abc", "utf-8"),
        ("Süd".encode(), "utf-8"),
        ("Süd".encode("utf-8-sig"), "utf-8-sig"),
        ("Süd".encode("cp1252"), "cp1252"),
        ("Süd".encode("utf-16"), "utf-16"),
        ("Süd, 10.0.0.1".encode("utf-16-le"), "utf-16-le"),
        ("Süd, 10.0.0.1".encode("utf-16-be"), "utf-16-be"),
        (b"x" * 100_000 + b"\xfc", "cp1252"),
        (b"x" * 65_535 + "ü".encode(), "utf-8"),
        (b"x\xc3", "cp1252"),
    ],
    ids=["empty", "ascii", "utf-8", "mark", "1252", "utf-16", "le", "be", "late-1252", "split", "cut"],
)
def test_the_encoding_is_found(data: bytes, encoding: str) -> None:
    """The byte order mark, zero bytes or valid UTF-8 decide; the stream is left at its beginning."""
    stream = io.BytesIO(data)
    assert encoding_of(stream) == encoding
    assert stream.tell() == 0


def test_bytes_with_zeros_are_no_text() -> None:
    """A program or a picture is refused."""
    with pytest.raises(FileError, match="not text"):
        encoding_of(io.BytesIO(b"\x7fELF\0\0\0\0"))


def test_a_long_line_is_refused_with_its_size() -> None:
    """The limit of a line is 1 MiB; the message has the size of the whole line."""
    text = text_of(io.BytesIO(b"ab\n" + b"x" * (3 << 20) + b"\n"))
    with pytest.raises(FileError, match="line 2 has 3,145,7"):
        list(lines_of(text))


def test_blocks_are_complete_lines_with_any_line_end() -> None:
    """No block ends within a line or between CR and LF, and no line is lost."""
    for end in ("\n", "\r\n", "\r"):
        text = "".join(f"{number:07d}{end}" for number in range(1 << 16))
        blocks = list(blocks_of(io.StringIO(text, newline="")))
        assert len(blocks) > 1
        assert "".join(blocks) == text
        assert all(len(block) % (7 + len(end)) == 0 for block in blocks)


@given(st.binary(max_size=200))
def test_any_bytes_are_text_or_refused(data: bytes) -> None:
    """Any bytes are read as text or refused with a message."""
    try:
        text = text_of(io.BytesIO(data))
    except FileError:
        assert b"\0" in data
        return
    assert "".join(lines_of(text)) == text_of(io.BytesIO(data)).read()


@given(
    st.lists(
        st.lists(st.text('a,;\r\n"é \t', max_size=3) | st.sampled_from(["\r;", "a\rb"]), min_size=1, max_size=3),
        min_size=1,
        max_size=4,
    ),
    st.sampled_from(DELIMITERS),
    st.sampled_from(["\n", "\r\n", "\r"]),
)
def test_columns_are_those_of_the_standard_library(rows: list[list[str]], delimiter: str, end: str) -> None:
    """A table read by columns has the cells of `csv.reader`, where a blank line is one empty cell.

    Rows of different lengths, rows of several lines and faulty quotes are refused.
    """
    text = "".join(delimiter.join(cells) + end for cells in rows)
    try:
        expected = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error:
        expected = []
    columns = columns_of(text, delimiter)
    if columns:
        assert [list(cells) for cells in zip(*columns, strict=True)] == [
            [cell.strip() for cell in row or [""]] for row in expected
        ]


def test_rows_of_one_length_are_read_by_columns() -> None:
    """They may have either line end, a last line without one, and quotes."""
    wanted = [["a", "1"], ["b", ""]]
    for text in ("a;b\n1;\n", "a;b\r\n1;\r\n", "a;b\n1;", '"a";b\n1; \n'):
        assert columns_of(text, ";") == wanted
    assert columns_of("a\rb;\n", ",") == columns_of("a\nb;\n", ",")
    assert columns_of("a;b\n1\n", ";") is None
    assert columns_of("a;b\n1;2;3\n4\n", ";") is None
