"""Delimited text (CSV and its kin) as numbered records: encoding found by itself, quotes never run away.

Rows are counted as a spreadsheet counts them, from 1. Memory is bounded whatever the file holds.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import deque
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import BinaryIO, NamedTuple, TextIO

from netcheck.errors import Problem
from netcheck.files import LONGEST_LINE, FileError, long_line

DELIMITERS = (",", ";", "\t", "|")
RECORD_LINES = 100  # a quoted field that goes on for longer was never closed
_HEAD = 1 << 16
_BLOCK = 1 << 18  # characters read at a time
csv.field_size_limit(4 * LONGEST_LINE)  # above any block of lines, so that the limit of a line is the one that is said
_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


_BETWEEN = re.compile(r"[\s;]+")


def parts_of(text: str) -> list[str]:
    """The parts of a cell that holds several, separated by spaces or semicolons."""
    return [part for part in _BETWEEN.split(text) if part]


class Record(NamedTuple):
    """One row's cells. `fault` says what is wrong with its quotes; the cells are then read as far as they go. `lines`
    is the number of lines that the row takes up."""

    row: int
    cells: tuple[str, ...]
    fault: str = ""
    lines: int = 1

    @property
    def empty(self) -> bool:
        """Say whether no cell holds anything but space."""
        return not any(map(str.strip, self.cells))


def encoding_of(stream: BinaryIO) -> str:
    """Find a text's encoding: by its mark, UTF-16 by its zero bytes, UTF-8 if all of it reads so, else Windows-1252.

    The stream is left at its beginning. FileError where it is no text.
    """
    head = stream.read(_HEAD)
    stream.seek(0)
    for mark, name in _BOMS:
        if head.startswith(mark):
            return name
    if b"\0" in head:
        return _wide_encoding(head)
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while chunk := stream.read(_HEAD):
            decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    finally:
        stream.seek(0)
    return "utf-8"


def _wide_encoding(head: bytes) -> str:
    pairs = len(head) // 2
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if pairs and odd > pairs // 2 and even <= pairs // 10:
        return "utf-16-le"
    if pairs and even > pairs // 2 and odd <= pairs // 10:
        return "utf-16-be"
    problem = Problem("it holds zero bytes and is no text", do="Save the table as CSV and name that file")
    raise FileError(problem)


def text_of(stream: BinaryIO) -> TextIO:
    """Wrap a byte stream as text in its own encoding; bytes that mean nothing there become U+FFFD."""
    return io.TextIOWrapper(stream, encoding_of(stream), errors="replace", newline="")


def lines_of(text: TextIO) -> Iterator[str]:
    """The lines with their ends; a line above 1 MiB is refused with its size."""
    return chain.from_iterable(map(lines_in, blocks_of(text)))


def lines_in(block: str) -> Iterable[str]:
    """The lines of a text that is there, with their ends: LF, CR or both."""
    return io.StringIO(block, newline="")


def blocks_of(text: TextIO) -> Iterator[str]:
    """The text in runs of whole lines; a line above 1 MiB is refused with its size."""
    number, rest = 1, ""
    while chunk := text.read(_BLOCK):
        whole = rest + chunk
        if len(whole) > LONGEST_LINE:
            _refuse_long(number, whole, text)
        end = whole.rfind("\n") + 1 or whole.rfind("\r", 0, -1) + 1  # what ends in \r may go on with \n
        block, rest = whole[:end], whole[end:]
        number += max(block.count("\n"), block.count("\r"))
        if block:
            yield block
    if rest:
        yield rest


def _refuse_long(number: int, whole: str, text: TextIO) -> None:
    first = next(iter(lines_in(whole)))
    if len(first) > LONGEST_LINE + 1:
        size = len(first) + (0 if first.endswith("\n") else _line_end(text))
        raise FileError(Problem(long_line(number, size), do="Break it into several lines"))


def _line_end(text: TextIO) -> int:
    """How many characters a line has that are still to be read."""
    size = 0
    while more := text.readline(_BLOCK):
        size += len(more)
        if more.endswith(("\n", "\r")):
            break
    return size


def rows_of(lines: Iterable[str], delimiter: str) -> list[list[str]] | None:
    """The rows of delimited lines, one a line; None where their quotes ask for a closer look."""
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    try:
        rows = list(reader)
    except csv.Error:
        return None
    return rows if len(rows) == reader.line_num else None


class Lines:
    """The lines of a text, after those that are there already: one by one, given back even after the last, or as
    whole blocks."""

    def __init__(self, lines: Iterable[str] = (), blocks: Iterable[str] = ()) -> None:
        self._waiting = deque(lines)
        self._blocks = iter(blocks)

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        if not self._waiting:
            self._waiting.extend(lines_in(next(self._blocks)))
        return self._waiting.popleft()

    def block(self) -> str:
        """The lines that come next, those split already or a block of the text; empty after the last."""
        if not self._waiting:
            return next(self._blocks, "")
        block = "".join(self._waiting)
        self._waiting.clear()
        return block

    def give_back(self, lines: Iterable[str]) -> None:
        """Put lines before those that are still to come."""
        self._waiting.extendleft(reversed([*lines]))


def records_of(text: Iterable[str], delimiter: str, first: int = 1) -> Iterator[Record]:
    """Yield the records of delimited lines (RFC 4180 section 2, any delimiter and line end), counted from `first`.
    Of `Lines`, no more are taken than belong to the records that were asked for."""
    lines = text if isinstance(text, Lines) else Lines(text)
    for row, line in enumerate(lines, first):
        if '"' not in line:
            yield Record(row, tuple(line.rstrip("\r\n").split(delimiter)))
            continue
        block = _until_closed(line, lines)
        cells, used, fault = _parsed(block, delimiter)
        lines.give_back(block[used:])
        yield Record(row, cells, fault, used)


def _until_closed(line: str, lines: Iterator[str]) -> list[str]:
    block, quotes, size = [line], line.count('"'), len(line)
    while quotes % 2 and size <= LONGEST_LINE and len(block) < RECORD_LINES:
        if (more := next(lines, None)) is None:
            break
        block.append(more)
        quotes, size = quotes + more.count('"'), size + len(more)
    return block


def _parsed(block: list[str], delimiter: str) -> tuple[tuple[str, ...], int, str]:
    reader = csv.reader(iter(block), delimiter=delimiter, strict=True)
    try:
        return tuple(next(reader)), reader.line_num, ""
    except csv.Error:
        lenient = csv.reader(iter(block[:1]), delimiter=delimiter)
        cells = tuple(cell.rstrip("\r\n") for cell in next(lenient))
        return cells, 1, "its quotes do not fit together"
