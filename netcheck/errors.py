"""The errors that a user can cause; each says what is wrong, where, what was expected and what to do."""

from __future__ import annotations

from typing import ClassVar, NamedTuple


class Problem(NamedTuple):
    """One problem; `what` and `do` are sentences without the final full stop, `where` is `file: position`."""

    what: str
    where: str = ""
    do: str = ""

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        stop = "" if self.what.endswith("?") else "."
        return f"{place}{self.what}" + (f"{stop} {self.do}" if self.do else "")


class NetcheckError(Exception):
    """The base class; the command line prints the problems without a traceback and exits with `exit_code`."""

    exit_code: ClassVar[int] = 2

    def __init__(self, *problems: Problem) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = problems

    @classmethod
    def of(cls, what: str, *, where: str = "", do: str = "") -> NetcheckError:
        """Return an error of this class with one problem."""
        return cls(Problem(what, where, do))


class UsageError(NetcheckError):
    """The options or arguments of the command are invalid."""


class PlanError(NetcheckError):
    """The files of the plan cannot be read, or their structure is wrong; it has every problem, not only the first."""


class SurveyError(NetcheckError):
    """A survey file cannot be read."""


class RecordError(NetcheckError):
    """A record cannot be used: it is damaged, belongs to another plan, or is not a record."""


class ReportError(NetcheckError):
    """A report cannot be written to the requested file."""


class LinkError(NetcheckError):
    """The network interface cannot be used: it is absent or down, access is denied, or its address is in use."""

    exit_code: ClassVar[int] = 3
