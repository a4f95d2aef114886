"""The tables of a plan as text; the readers of all forms produce this representation."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from pydantic import ValidationError

from netcheck.errors import Problem
from netcheck.plan.model import Position
from netcheck.plan.shape_problems import problems_of
from netcheck.plan.shapes import Shape
from netcheck.text import Pattern

S = TypeVar("S", bound=Shape)
MOST_PROBLEMS = 1000  # problems listed for one plan
Path = tuple[str | int, ...]
_HEADER = Pattern(r"\s*(\[\[?)\s*(.+?)\s*(\]\]?)\s*(?:#.*)?$")
_PART = r'(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|\'[^\']*\')'
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_KEY = Pattern(rf"\s*({_DOTTED})\s*=")
_PARTS = Pattern(_PART)
# A text, a comment, or the start of a text of several lines; brackets inside them do not count.
_TEXT = Pattern(r'"""|\'\'\'|"(?:[^"\\]|\\.)*"|\'[^\']*\'|#.*')


class Entry(NamedTuple):
    """One table or row: its keys, values and position.

    If `typed`, the values have TOML's types; otherwise they are texts of cells. `lines` and `path` give messages the
    line of a key in a TOML file. A row of a table may have `extra` cells (title, text) under titles that are not keys,
    and `damaged` labels (title, text, reason), which are not in `data`.
    """

    data: Mapping[str, object]
    position: Position
    typed: bool = True
    lines: TomlLines | None = None
    path: Path = ()
    extra: tuple[tuple[str, str], ...] = ()
    damaged: tuple[tuple[str, str, str], ...] = ()

    def text(self, key: str) -> str:
        """Return the text of a key without outer blanks; the empty text if the key is missing or is no text."""
        value = self.data.get(key)
        return value.strip() if isinstance(value, str) else ""

    def fitted(self, shape: type[S], problems: list[Problem]) -> S | None:
        """Return the entry as a validated shape; on failure, add the problems to `problems` and return None."""
        try:
            return shape.model_validate(dict(self.data), strict=self.typed)
        except ValidationError as error:
            if len(problems) < MOST_PROBLEMS:
                problems += problems_of(error, shape, self.position_of, self.typed)
            return None

    def position_of(self, path: Path) -> Position:
        """Return the position of a value in the entry, with its line if that is known."""
        if self.lines is None:
            return self.position
        return self.position._replace(line=self.lines.at((*self.path, *path)))

    def inner(self, data: Mapping[str, object], path: Path, at: str) -> Entry:
        """Return an entry inside this one."""
        inner = Entry(
            data=data,
            position=Position(self.position.file, at),
            typed=self.typed,
            lines=self.lines,
            path=(*self.path, *path),
        )
        return inner._replace(position=inner.position_of(()))


@dataclass(frozen=True, slots=True)
class Grid:
    """A table without faults as columns: the cells by title, and the ports and the position of each row."""

    columns: Mapping[str, Sequence[str]]
    ports: Sequence[tuple[str, ...]] | None
    positions: Sequence[Position]
    extra: Sequence[tuple[tuple[str, str], ...]] | None = None

    def __iter__(self) -> Iterator[Entry]:
        """Yield the rows as entries."""
        for row, position in enumerate(self.positions):
            cells: dict[str, object] = {title: texts[row] for title, texts in self.columns.items() if texts[row]}
            if self.ports is not None:
                cells["ports"] = list(self.ports[row])
            yield Entry(data=cells, position=position, typed=False, extra=self.extra[row] if self.extra else ())


Rows = tuple[Entry, ...] | Grid


class Tables(NamedTuple):
    """All entries of a plan by kind."""

    site: Entry
    subnets: tuple[Entry, ...] = ()
    devices: tuple[Entry, ...] = ()
    interfaces: Rows = ()
    routers: tuple[Entry, ...] = ()
    conversations: tuple[Entry, ...] = ()
    stations: tuple[Entry, ...] = ()
    surveys: tuple[Entry, ...] = ()
    accepted: tuple[Entry, ...] = ()
    remarks: tuple[Entry, ...] = ()
    granted: tuple[Entry, ...] = ()
    translations: tuple[Entry, ...] = ()
    other_sheets: tuple[str, ...] = ()  # sheets of the workbook that are not part of the plan
    islands: tuple[Entry, ...] = ()
    schemes: tuple[Entry, ...] = ()
    unread: frozenset[str] = frozenset()  # names of tables of which no row could be used, such as `interfaces`


class TomlLines:
    """Finds the line numbers in a TOML text: of every table header and key by its path, and of repeated keys."""

    def __init__(self, text: str) -> None:
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self.headers: list[tuple[int, str, Path]] = []  # line, text and path of each table header
        self.repeated: list[tuple[int, int, Path]] = []  # line, first line and path of each key that occurs twice
        self._table: Path = ()
        for number, line in _statements(text):
            if header := _HEADER.match(line):
                self._begin(number, line.strip(), header)
            elif key := _KEY.match(line):
                self._add(number, key[1])

    def _begin(self, number: int, line: str, header: re.Match[str]) -> None:
        parts = _parts(header[2])
        path: Path = ()
        for part in parts[:-1]:
            path = (*path, part)
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
        path = (*path, *parts[-1:])
        self.headers.append((number, line, path))
        self._lines.setdefault(path, number)
        if header[1] == "[[":
            self._counts[path] = self._counts.get(path, 0) + 1
            path = (*path, self._counts[path] - 1)
            self._lines[path] = number
        self._table = path

    def _add(self, number: int, key: str) -> None:
        path = (*self._table, *_parts(key))
        if path in self._lines:
            self.repeated.append((number, self._lines[path], path))
        self._lines.setdefault(path, number)

    def at(self, path: Path) -> int:
        """Return the line of a path, or of the nearest table or key that contains it; 0 if there is none."""
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 0)


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in _PARTS.findall(dotted)]


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Yield the number and the text of each line on which a statement starts."""
    closing, depth = "", 0
    for number, line in enumerate(text.split("\n"), 1):
        at = 0
        if closing:
            at = line.find(closing) + 3
            if at < 3:
                continue
            closing = ""
        elif depth == 0:
            yield number, line
        plain = []
        while found := _TEXT.search(line, at):
            plain.append(line[at : found.start()])
            at = found.end()
            if found[0] in ('"""', "'''"):
                end = line.find(found[0], at)
                if end < 0:
                    closing, at = found[0], len(line)
                    break
                at = end + 3
        plain.append(line[at:])
        rest = "".join(plain)
        if depth or not _HEADER.match(line):
            depth = max(0, depth + rest.count("[") + rest.count("{") - rest.count("]") - rest.count("}"))
