"""A plan's tables as its files hold them; every form is read into this one representation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from pydantic import ValidationError

from netcheck.errors import Problem
from netcheck.plan.model import Position
from netcheck.plan.shape_problems import problems_of
from netcheck.plan.shapes import Shape

S = TypeVar("S", bound=Shape)
MOST_PROBLEMS = 1000  # listed for one plan


@dataclass(frozen=True, slots=True)
class Entry:
    """One table or row: its keys, values and position.

    `typed` values have TOML's own types. Other values are the texts of cells, from which numbers are read.
    """

    data: Mapping[str, object]
    position: Position
    typed: bool = True

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
                problems += problems_of(error, shape, self.position, self.typed)
            return None


@dataclass(frozen=True, slots=True)
class Grid:
    """A table without faults, by columns: the cells of each title, each row's ports and each row's position."""

    columns: Mapping[str, Sequence[str]]
    ports: Sequence[tuple[str, ...]] | None
    positions: Sequence[Position]

    def __iter__(self) -> Iterator[Entry]:
        """Yield the rows as entries."""
        for row, position in enumerate(self.positions):
            cells: dict[str, object] = {title: texts[row] for title, texts in self.columns.items() if texts[row]}
            if self.ports is not None:
                cells["ports"] = list(self.ports[row])
            yield Entry(cells, position, typed=False)


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
