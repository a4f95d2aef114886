"""Reads delimited text (CSV and similar) as numbered records; the encoding is detected.

Rows are counted from 1, as a spreadsheet counts them. Memory is bounded for any file, and an unclosed quote costs at
most RECORD_LINES lines. `guarded` keeps written text from being read as a formula.

`columns_of` and the functions below it read a table by columns, many times faster than cell by cell. A table that
cannot be read by columns is refused whole.
"""

from __future__ import annotations

import codecs
import csv
import io
import os
import sys
from array import array
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from itertools import chain, repeat
from socket import AF_INET, inet_pton
from typing import BinaryIO, NamedTuple, TextIO, TypeVar

from netcheck.errors import Problem
from netcheck.files import LONGEST_LINE, FileError, long_line
from netcheck.text import Pattern

DELIMITERS = (",", ";", "\t", "|")
RECORD_LINES = 100  # a longer quoted field was never closed
_HEAD = 1 << 16
_BLOCK = 1 << 18  # characters read at a time
csv.field_size_limit(4 * LONGEST_LINE)  # above any block, so that the message names the limit of a line
_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


_BETWEEN = Pattern(r"[\s;,]+")
# Union of the lists of OWASP (CSV Injection), ASVS 5.0 requirement 1.2.10 and CWE-1236; the last four are the
# full-width forms of = + - @, which some spreadsheets treat alike (from memory).
_STARTS = "=+\\-@\t\r\n\0＝＋－＠"
_GUARD_NEEDED = Pattern(f"'*[{_STARTS}]")
_GUARD_THERE = Pattern(f"'+[{_STARTS}]")


def parts_of(text: str) -> list[str]:
    """Return the parts of a cell that holds a list separated by spaces, semicolons or commas."""
    return [part for part in _BETWEEN.split(text) if part]


class Number(str):
    """The text of a workbook's cell that holds a number with decimals, which may have been typed as something else."""

    __slots__ = ()


class Record(NamedTuple):
    """The cells of one row, which takes up `lines` lines. `fault` tells what is wrong with its quotes; the cells are
    then those of its first line.
    """

    row: int
    cells: tuple[str, ...]
    fault: str = ""
    lines: int = 1

    @property
    def empty(self) -> bool:
        """Whether all cells are blank."""
        return not any(map(str.strip, self.cells))


def encoding_of(stream: BinaryIO) -> str:
    """Detect a text's encoding: by its byte order mark, UTF-16 by its zero bytes, UTF-8 if all of it decodes, else
    Windows-1252.

    The stream is left at its beginning. FileError where it is not text.
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
    problem = Problem("it contains zero bytes, so it is not text", do="Save the table as CSV and name that file")
    raise FileError(problem)


def text_of(stream: BinaryIO) -> TextIO:
    """Wrap a byte stream as text in its detected encoding; bytes that cannot be decoded become U+FFFD."""
    return io.TextIOWrapper(stream, encoding_of(stream), errors="replace", newline="")


def lines_of(text: TextIO) -> Iterator[str]:
    """Yield the lines with their ends; a line of more than 1 MiB is refused with its size."""
    return chain.from_iterable(map(lines_in, blocks_of(text)))


def lines_in(block: str) -> Iterable[str]:
    """Yield the lines of a text with their ends: LF, CR or both."""
    return io.StringIO(block, newline="")


def blocks_of(text: TextIO) -> Iterator[str]:
    """Yield the text in blocks of whole lines; a line of more than 1 MiB is refused with its size."""
    number, rest = 1, ""
    while chunk := text.read(_BLOCK):
        whole = rest + chunk
        if len(whole) > LONGEST_LINE:
            _refuse_long(number, whole, text)
        end = whole.rfind("\n") + 1 or whole.rfind("\r", 0, -1) + 1  # a final \r may be followed by \n
        block, rest = whole[:end], whole[end:]
        number += block.count("\n") or block.count("\r")
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
    """Return the number of characters of the current line that are still to be read."""
    size = 0
    while more := text.readline(_BLOCK):
        size += len(more)
        if more.endswith(("\n", "\r")):
            break
    return size


def rows_of(lines: Iterable[str], delimiter: str) -> list[list[str]] | None:
    """Return the rows of delimited lines, one a line; None where their quotes need a closer look."""
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    try:
        rows = list(reader)
    except csv.Error:
        return None
    return rows if len(rows) == reader.line_num else None


class Lines:
    """The lines of a text, one by one or as whole blocks; lines can be given back, even after the last."""

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
        """Return the next lines as one text: those split already or a block; empty at the end."""
        if not self._waiting:
            return next(self._blocks, "")
        block = "".join(self._waiting)
        self._waiting.clear()
        return block

    def give_back(self, lines: Iterable[str]) -> None:
        """Put lines back before those still to come."""
        self._waiting.extendleft(reversed([*lines]))


def records_of(text: Iterable[str], delimiter: str, first: int = 1) -> Iterator[Record]:
    """Yield the records of delimited lines (RFC 4180 section 2, with any delimiter and line end), counted from `first`.

    From `Lines`, no more lines are taken than belong to the records that were asked for.
    """
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


def guarded(text: str) -> str:
    """Return text with a single quote before it where a spreadsheet could take it for a formula."""
    return "'" + text if _GUARD_NEEDED.match(text) else text


def unguarded(text: str) -> str:
    """Undo `guarded`: `unguarded(guarded(text)) == text` for any text."""
    return text[1:] if _GUARD_THERE.match(text) else text


SPACES = " \t\v\f\x1c\x1d\x1e\x1f"  # the ASCII characters within a line that str.strip removes
N = TypeVar("N", bound=NamedTuple)
_STRICT = os.name == "posix"  # inet_pton then accepts only four decimal octets without leading zeros
_MAC_TEXT = 17  # characters of a MAC with a separator at every third place
_MAC_BARE = 12  # characters of a MAC without separators
_SEPARATORS = (2, 5, 8, 11, 14)
_LONE_RETURN = Pattern("\r(?!\n)")


def columns_of(text: str, delimiter: str) -> list[list[str]] | None:
    """Return the stripped cells of a text by column; None where rows differ in length or span several lines."""
    end = "\r\n" if "\r" in text else "\n"
    ended = text if text.endswith("\n") else text + end
    bounds = ended.encode("utf-8", "surrogatepass").translate(None, _within(delimiter))
    width = bounds.index(b"\n") + 2 - len(end)
    row = (delimiter * (width - 1) + end).encode()
    # unequal, too, where a cell is quoted or line ends differ
    if row * (len(bounds) // len(row)) != bounds or _LONE_RETURN.search(ended):
        rows = rows_of(lines_in(text), delimiter)
        same = rows and len(set(map(len, rows))) == 1
        return [list(map(str.strip, cells)) for cells in zip(*rows, strict=True)] if rows and same else None
    flat = ended.replace("\r", "").replace("\n", delimiter).split(delimiter)  # the cells of all rows
    columns = [flat[column:-1:width] for column in range(width)]
    spaced = not text.isascii() or any(space in text for space in SPACES)
    return [list(map(str.strip, cells)) for cells in columns] if spaced else columns


@cache
def _within(delimiter: str) -> bytes:
    """Return the bytes of UTF-8 that do not bound a cell: all but the delimiter, line ends and quotes."""
    return bytes(set(range(256)) - set(f'{delimiter}\r\n"'.encode()))


def ipv4_of(texts: Iterable[str]) -> array[int] | None:
    """Return the values of IPv4 addresses; None where a text is anything else."""
    if not _STRICT:
        return None
    try:
        values = array("I", b"".join(map(inet_pton, repeat(AF_INET), texts)))
    except (OSError, ValueError):
        return None
    if sys.byteorder == "little":
        values.byteswap()
    return values


def macs_of(texts: Sequence[str]) -> array[int] | None:
    """Return the values of MACs that are all written with the same separator, or all without; None otherwise."""
    whole, count = "\n".join(texts), len(texts)
    length = len(texts[0]) if texts else 0
    alike = len(whole) == (length + 1) * count - 1 and whole[length :: length + 1] == "\n" * (count - 1)
    if not alike or length not in (_MAC_TEXT, _MAC_BARE) or not whole.isascii():
        return None
    if length == _MAC_TEXT:
        separator = whole[2]
        if separator not in "-:" or any(whole[at :: length + 1] != separator * count for at in _SEPARATORS):
            return None
        whole = whole.encode().translate(None, separator.encode()).decode()  # faster than str.replace
    try:
        octets = bytes.fromhex(whole)  # skips the line ends
    except ValueError:
        return None
    if len(octets) != 6 * count:  # it skips spaces, too
        return None
    words = bytearray(8 * count)
    for position in range(6):
        words[(5 - position if sys.byteorder == "little" else 2 + position) :: 8] = octets[position::6]
    return array("Q", bytes(words))


def made(kind: type[N], /, **columns: Iterable[object]) -> Iterator[N]:
    """Yield one named tuple a row from columns named after its fields; a field without a column has its default.

    `tuple.__new__` is mapped over the rows, because calling the class for each row takes three times as long.
    """
    defaults = kind._field_defaults
    ordered = (columns.pop(name) if name in columns else repeat(defaults[name]) for name in kind._fields)
    rows = zip(*ordered, strict=False)
    if columns:
        raise TypeError(f"{kind.__name__} has no field {', '.join(columns)}")
    return map(tuple.__new__, repeat(kind), rows)
