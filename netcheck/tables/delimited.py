"""Reads delimited text (CSV and similar) as numbered records; the encoding is detected.

Rows are counted from 1, like in a spreadsheet. Memory is bounded for any file, and an unclosed quote affects at most
RECORD_LINES lines. `guarded` guards written text, so that a spreadsheet does not read it as a formula.

`columns_of` and the functions below it read a table by columns, many times faster than cell by cell. They return None
if a table cannot be read by columns.
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
RECORD_LINES = 100  # the quote of a longer field was never closed
_HEAD = 1 << 16
_BLOCK = 1 << 18  # characters read at a time
csv.field_size_limit(4 * LONGEST_LINE)  # longer than any block, so that netcheck's own limit applies first
_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


_BETWEEN = Pattern(r"[\s;,]+")
# The first characters in the lists of OWASP (CSV Injection), ASVS 5.0 requirement 1.2.10 and CWE-1236. The last four
# are the full-width forms of = + - @, which some spreadsheets treat in the same way (from memory).
_STARTS = "=+\\-@\t\r\n\0＝＋－＠"
_GUARD_NEEDED = Pattern(f"'*[{_STARTS}]")
_GUARD_THERE = Pattern(f"'+[{_STARTS}]")


def parts_of(text: str) -> list[str]:
    """Return the items of a cell with a list, which spaces, semicolons or commas separate."""
    return [part for part in _BETWEEN.split(text) if part]


class Number(str):
    """The text of a workbook's cell with a decimal number, which a spreadsheet may have made of another value."""

    __slots__ = ()


class Record(NamedTuple):
    """The cells of one row, which extends over `lines` lines.

    `fault` is the fault in its quotes, if any; the cells are then those of its first line.
    """

    row: int
    cells: tuple[str, ...]
    fault: str = ""
    lines: int = 1

    @property
    def empty(self) -> bool:
        """Return whether all cells are blank."""
        return not any(map(str.strip, self.cells))


def encoding_of(stream: BinaryIO) -> str:
    """Return the encoding of a text; FileError if it is not text. The stream is left at its beginning.

    The byte order mark decides. Without one, zero bytes mean UTF-16. Otherwise it is UTF-8 if the whole text can be
    decoded, else Windows-1252.
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
    """Return a byte stream as text in its detected encoding; bytes that cannot be decoded become U+FFFD."""
    return io.TextIOWrapper(stream, encoding_of(stream), errors="replace", newline="")


def lines_of(text: TextIO) -> Iterator[str]:
    """Yield the lines with their ends; FileError with the size for a line of more than 1 MiB."""
    return chain.from_iterable(map(lines_in, blocks_of(text)))


def lines_in(block: str) -> Iterable[str]:
    """Yield the lines of a text with their ends: LF, CR or both."""
    return io.StringIO(block, newline="")


def blocks_of(text: TextIO) -> Iterator[str]:
    """Yield the text in blocks of complete lines; FileError with the size for a line of more than 1 MiB."""
    number, rest = 1, ""
    while chunk := text.read(_BLOCK):
        whole = rest + chunk
        if len(whole) > LONGEST_LINE:
            _refuse_long(number, whole, text)
        end = whole.rfind("\n") + 1 or whole.rfind("\r", 0, -1) + 1  # \n may follow a final \r
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
    """Read the rest of the current line and return the number of its characters."""
    size = 0
    while more := text.readline(_BLOCK):
        size += len(more)
        if more.endswith(("\n", "\r")):
            break
    return size


def rows_of(lines: Iterable[str], delimiter: str) -> list[list[str]] | None:
    """Return the rows of delimited lines, one row a line; None if a row may extend over several lines."""
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    try:
        rows = list(reader)
    except csv.Error:
        return None
    return rows if len(rows) == reader.line_num else None


class Lines:
    """The lines of a text, one by one or in blocks; lines can be given back, even after the last one was read."""

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
        """Return the next lines as one text: lines that were split or given back, or a block. Empty at the end."""
        if not self._waiting:
            return next(self._blocks, "")
        block = "".join(self._waiting)
        self._waiting.clear()
        return block

    def give_back(self, lines: Iterable[str]) -> None:
        """Put lines back; they are read again before all others."""
        self._waiting.extendleft(reversed([*lines]))


def records_of(text: Iterable[str], delimiter: str, first: int = 1) -> Iterator[Record]:
    """Yield the records of delimited lines (RFC 4180 section 2, with any delimiter and line end), counted from `first`.

    If `text` is a `Lines`, only the lines of the records that were read are taken from it.
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
        return cells, 1, "its quotes are not closed correctly"


def guarded(text: str) -> str:
    """Return a text with a single quote before it if a spreadsheet could read it as a formula."""
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
    """Return the stripped cells of a text by column; None if rows differ in length or extend over several lines."""
    end = "\r\n" if "\r" in text else "\n"
    ended = text if text.endswith("\n") else text + end
    bounds = ended.encode("utf-8", "surrogatepass").translate(None, _within(delimiter))
    width = bounds.index(b"\n") + 2 - len(end)
    row = (delimiter * (width - 1) + end).encode()
    # The counts also differ if a cell is quoted or if the line ends differ.
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
    """Return the bytes that are inside a cell of UTF-8 text: all but the delimiter, line ends and quotes."""
    return bytes(set(range(256)) - set(f'{delimiter}\r\n"'.encode()))


def ipv4_of(texts: Iterable[str]) -> array[int] | None:
    """Return IPv4 addresses as integers; None if one of the texts is anything else."""
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
    """Return MACs as integers; None unless all of them have the same separator, or all have none."""
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
    if len(octets) != 6 * count:  # `fromhex` skips spaces too
        return None
    words = bytearray(8 * count)
    for position in range(6):
        words[(5 - position if sys.byteorder == "little" else 2 + position) :: 8] = octets[position::6]
    return array("Q", bytes(words))


def made(kind: type[N], /, **columns: Iterable[object]) -> Iterator[N]:
    """Yield a named tuple for each row of columns named after its fields; a field without a column has its default.

    `tuple.__new__` is mapped over the rows, because a call of the class for each row takes three times as long.
    """
    defaults = kind._field_defaults
    ordered = (columns.pop(name) if name in columns else repeat(defaults[name]) for name in kind._fields)
    rows = zip(*ordered, strict=False)
    if columns:
        raise TypeError(f"{kind.__name__} has no field {', '.join(columns)}")
    return map(tuple.__new__, repeat(kind), rows)
