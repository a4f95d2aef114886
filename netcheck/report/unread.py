"""Defines the value for a plan that could not be checked, which every format shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from netcheck.errors import Problem

if TYPE_CHECKING:
    from netcheck.rules.engine import Checked

NOT_CHECKED = "not-checked"  # used in place of a severity


@dataclass(frozen=True, slots=True)
class Unread:
    """A plan's path as given, and the problems that prevent it from being read."""

    path: str
    problems: tuple[Problem, ...]


Result: TypeAlias = "Checked | Unread"
