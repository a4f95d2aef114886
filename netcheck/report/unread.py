"""A plan that could not be checked: a value that every form of findings shows, so that none drops it silently."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from netcheck.errors import Problem

if TYPE_CHECKING:
    from netcheck.rules.engine import Checked

NOT_CHECKED = "not-checked"  # stands in the place of a severity


@dataclass(frozen=True, slots=True)
class Unread:
    """A plan by its path as it was named, and everything that keeps it from being read."""

    path: str
    problems: tuple[Problem, ...]


Result: TypeAlias = "Checked | Unread"
