"""A plan's tables as its files hold them, before anything is made of them; every form is read into this one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from netcheck.errors import Problem
from netcheck.plan.fitting import problems_of
from netcheck.plan.model import Position
from netcheck.plan.shapes import Shape

S = TypeVar("S", bound=Shape)
MOST_PROBLEMS = 1000  # listed of one plan


@dataclass(frozen=True, slots=True)
class Entry:
    """One table or row: its keys and values, and where it stands. `typed` values are TOML's own; the others are the
    texts of a table's cells, and numbers are read out of them."""

    data: Mapping[str, object]
    position: Position
    typed: bool = True

    def text(self, key: str) -> str:
        """The text under a key, empty where there is none."""
        value = self.data.get(key)
        return value.strip() if isinstance(value, str) else ""

    def fitted(self, shape: type[S], problems: list[Problem]) -> S | None:
        """Fit the entry to a shape; what does not fit is added to `problems`, and None returned."""
        try:
            return shape.model_validate(dict(self.data), strict=self.typed)
        except ValidationError as error:
            if len(problems) < MOST_PROBLEMS:
                problems += problems_of(error, shape, self.position, self.typed)
            return None


@dataclass(frozen=True, slots=True)
class Grid:
    """A clean table by column: the cells of each title without outer space, what `ports` lists, each row's place."""

    columns: Mapping[str, Sequence[str]]
    ports: Sequence[tuple[str, ...]] | None
    positions: Sequence[Position]

    def __iter__(self) -> Iterator[Entry]:
        """The rows one by one, as other forms have them."""
        for row, position in enumerate(self.positions):
            cells: dict[str, object] = {title: texts[row] for title, texts in self.columns.items() if texts[row]}
            if self.ports is not None:
                cells["ports"] = list(self.ports[row])
            yield Entry(cells, position, typed=False)


Rows = tuple[Entry, ...] | Grid


@dataclass(frozen=True, slots=True)
class Tables:
    """All entries of a plan by kind. `files` are the plan's own files in the order they are named."""

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
    files: tuple[Path, ...] = field(default=())
