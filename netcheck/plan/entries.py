"""A plan's tables as its files hold them; every form is read into this one representation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from pydantic import ValidationError

from netcheck.errors import Problem
from netcheck.plan.forms.toml_lines import Path, TomlLines
from netcheck.plan.model import Position
from netcheck.plan.shape_problems import problems_of
from netcheck.plan.shapes import Shape

S = TypeVar("S", bound=Shape)
MOST_PROBLEMS = 1000  # listed for one plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One table or row: its keys, values and position.

    `typed` values have TOML's own types. Other values are the texts of cells, from which numbers are read. An entry of
    a TOML file has its path there, so that messages can name the line of a key. A row of a table may have `extra`
    cells (title, text) under titles that are not keys, and `damaged` labels (title, text, reason), which are not in
    `data`.
    """

    data: Mapping[str, object]
    position: Position
    typed: bool = True
    lines: TomlLines | None = None
    path: Path = ()
    extra: tuple[tuple[str, str], ...] = ()
    damaged: tuple[tuple[str, str, str], ...] = ()

    def text(self, key: str) -> str:
        """Return the text of a key without outer space, or the empty text."""
        value = self.data.get(key)
        return value.strip() if isinstance(value, str) else ""

    def fitted(self, shape: type[S], problems: list[Problem]) -> S | None:
        """Validate the entry against a shape; on failure, add to `problems` and return None."""
        try:
            return shape.model_validate(dict(self.data), strict=self.typed)
        except ValidationError as error:
            if len(problems) < MOST_PROBLEMS:
                problems += problems_of(error, shape, self.position_of, self.typed)
            return None

    def position_of(self, path: Path) -> Position:
        """Return the position of a value in the entry, with its line where that is known."""
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
        return replace(inner, position=inner.position_of(()))


@dataclass(frozen=True, slots=True)
class Grid:
    """A table without faults, by columns: the cells of each title, each row's ports and each row's position."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
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
    translations: tuple[Entry, ...] = ()
    other_sheets: tuple[str, ...] = ()  # sheets of the workbook that are not part of the plan
    islands: tuple[Entry, ...] = ()
    schemes: tuple[Entry, ...] = ()
    unread: frozenset[str] = frozenset()  # the tables that could not be used as a whole, such as `interfaces`
