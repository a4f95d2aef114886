"""Delimited text (CSV and its kin) as numbered records: encoding found by itself, quotes never run away.

Rows are counted as a spreadsheet counts them, from 1. Memory is bounded whatever the file holds.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice
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
    return chain.from_iterable(_blocks(text))


def _blocks(text: TextIO) -> Iterator[list[str]]:
    number, rest = 1, ""
    while chunk := text.read(_BLOCK):
        lines = list(io.StringIO(rest + chunk, newline=""))
        rest = "" if lines[-1].endswith("\n") else lines.pop()  # what ends in \r may go on with \n
        first = lines[0] if lines else rest
        if len(first) > LONGEST_LINE + 1:
            size = len(first) if lines else len(rest) + _line_end(text)
            raise FileError(Problem(long_line(number, size), do="Break it into several lines"))
        yield lines
        number += len(lines)
    if rest:
        yield [rest]


def _line_end(text: TextIO) -> int:
    """How many characters a line has that are still to be read."""
    size = 0
    while more := text.readline(_BLOCK):
        size += len(more)
        if more.endswith(("\n", "\r")):
            break
    return size


def rows_of(lines: Sequence[str], delimiter: str) -> list[list[str]] | None:
    """The rows of delimited lines, one a line; None where their quotes ask for a closer look."""
    try:
        rows = list(csv.reader(lines, delimiter=delimiter, strict=True))
    except csv.Error:
        return None
    return rows if len(rows) == len(lines) else None


class Lines:
    """Lines that can be given back, even after the last, and taken many at a time."""

    def __init__(self, lines: Iterable[str]) -> None:
        self._source = iter(lines)
        self._waiting: deque[str] = deque()

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        return self._waiting.popleft() if self._waiting else next(self._source)

    def take(self, most: int) -> list[str]:
        """The next lines, at most so many; none after the last."""
        waiting = [self._waiting.popleft() for _ in range(min(most, len(self._waiting)))]
        return [*waiting, *islice(self._source, most - len(waiting))]

    def give_back(self, lines: Sequence[str]) -> None:
        """Put lines before those that are still to come."""
        self._waiting.extendleft(reversed(lines))


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
