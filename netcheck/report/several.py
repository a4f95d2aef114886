"""Writes the checks of several plans as JSON, Markdown and CSV; an unreadable plan is shown among the others."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from netcheck import __version__
from netcheck.answers.table import COLUMNS, LONGEST_CELL, cells_of
from netcheck.errors import Problem
from netcheck.report.csv_xlsx.csv_tables import rows_to_csv
from netcheck.report.finding_groups import NOT_CHECKED, Result, Unread
from netcheck.report.json.report import checked_json
from netcheck.report.markdown import checked_to_markdown, escaped
from netcheck.tables.delimited import guarded
from netcheck.text import safe


def result_json(result: Result) -> dict[str, Any]:
    """Return the object of one plan; null stands for what is unknown of an unreadable plan."""
    if not isinstance(result, Unread):
        return checked_json(result)
    plan = {"name": result.path, "revision": None, "sha256": None}
    problems = [{"what": one.what, "where": one.where, "do": one.do} for one in result.problems]
    nothing = dict.fromkeys(("summary", "findings", "accepted"))
    return {"netcheck": __version__, "plan": plan, **nothing, "problems": problems}


def result_markdown(result: Result, path: str = "") -> str:
    """Return heading and tables of one plan, or the problems that prevent it from being read; the heading begins with
    the plan's path where one is given."""
    if not isinstance(result, Unread):
        text = checked_to_markdown(result)
        return text.replace("# ", f"# {escaped(safe(path, 200))}: ", 1) if path else text
    heading = f"# {escaped(safe(result.path, 200))}: not checked\n\n"
    return heading + "".join(f"- {escaped(safe(str(problem), 2000))}\n" for problem in result.problems)


def results_csv(results: Sequence[tuple[str, Result]]) -> bytes:
    """Return the findings of several plans as one table; the first column is the plan's path as given."""
    rows = ((guarded(safe(path, 1000)), *row) for path, result in results for row in _rows(result))
    return rows_to_csv(("plan", *COLUMNS), rows)


def _rows(result: Result) -> Iterable[tuple[str, ...]]:
    if not isinstance(result, Unread):
        return map(cells_of, result.findings)
    return [_row(problem) for problem in result.problems]


def _row(problem: Problem) -> tuple[str, ...]:
    what = problem.what + (f". {problem.do}" if problem.do else "")
    cells = {"severity": NOT_CHECKED, "message": what, "where": problem.where}
    return tuple(guarded(safe(cells.get(column, ""), LONGEST_CELL)) for column in COLUMNS)
