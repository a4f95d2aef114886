"""The one family of errors a user can cause; each says what is wrong, where, what was expected and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong. `what` and `do` are sentences without final stop; `where` is `file: place`."""

    what: str
    where: str = ""
    do: str = ""

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.what}" + (f". {self.do}" if self.do else "")


class NetcheckError(Exception):
    """Base of the family. The command line prints the problems without a traceback and ends with `exit_code`."""

    exit_code: ClassVar[int] = 2

    def __init__(self, *problems: Problem) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = problems

    @classmethod
    def of(cls, what: str, *, where: str = "", do: str = "") -> NetcheckError:
        """Build an error of this class from a single problem."""
        return cls(Problem(what, where, do))


class UsageError(NetcheckError):
    """The command was called in a way that cannot be carried out."""


class PlanError(NetcheckError):
    """The plan's files cannot be read, or their structure is wrong; holds every problem found, not the first."""


class SurveyError(NetcheckError):
    """A survey file cannot be read at all."""


class RecordError(NetcheckError):
    """A record cannot be used: not a record, of another plan, or damaged."""


class ReportError(NetcheckError):
    """A report cannot be written where it was asked for."""


class LinkError(NetcheckError):
    """The network interface cannot be used: absent, down, no right to open it, or its address is not free."""

    exit_code: ClassVar[int] = 3
