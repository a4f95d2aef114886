"""`netcheck check`: every conflict of a plan at once, each with its reason, its source and a fix that fits."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Sequence
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, assert_never

import typer

from netcheck.app.check import day_from, findings_to_print, run_check
from netcheck.errors import NetcheckError, Problem, UsageError
from netcheck.report.unread import Unread
from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.report.unread import Result
    from netcheck.rules.engine import Checked


class Format(StrEnum):
    """How the findings are printed."""

    TEXT = "text"
    JSON = "json"
    CSV = "csv"
    MARKDOWN = "markdown"
    JUNIT = "junit"


def command(
    plans: list[Path] = typer.Argument(
        help="Plan folders, plan.toml files or workbooks.", metavar="PLAN", show_default=False
    ),
    form: Format = typer.Option(Format.TEXT, "--format", help="How to print the findings."),
    strict: bool = typer.Option(False, "--strict", help="Risks too give exit code 1."),
    paths: bool = typer.Option(False, "--paths", help="Print the way of every conversation, there and back."),
    today: str = typer.Option(
        "",
        "--today",
        metavar="DATE",
        help="The day of the check, for the age of surveys; the default is today.",
        show_default=False,
    ),
) -> None:
    """Check a plan: every conflict at once, each with its reason, its source and, where there is one, a fix that fits.

    Several plans in one call give the worst exit code. One that cannot be read is shown among the others as not
    checked.

    Exit code: 0 no conflict, 1 conflicts (with --strict risks too), 2 bad use or a plan that cannot be read.

    Example: netcheck check plans/tarn-hollow

    Example: netcheck check plans/* --format junit
    """
    day = day_from(today)
    if paths and form in (Format.CSV, Format.JUNIT):
        raise UsageError.of(f"--paths cannot be printed as {form}", do="Use --format text, json or markdown")
    several = len(plans) > 1
    results = [(str(path), _result(path, day, several)) for path in plans]
    _print(results, form, several=several, strict=strict, paths=paths)
    if problems := [problem for _, each in results if isinstance(each, Unread) for problem in each.problems]:
        raise UsageError(*problems)
    raise typer.Exit(max(_code(each, strict) for _, each in results if not isinstance(each, Unread)))


def _result(path: Path, day: date, several: bool) -> Result:
    """The plan's findings, or what keeps it from being read; of several plans each problem names its own."""
    try:
        return run_check(path, day)
    except NetcheckError as error:
        return Unread(str(path), tuple(_named(problem, path) if several else problem for problem in error.problems))


def _named(problem: Problem, path: Path) -> Problem:
    known = problem.where.startswith(safe(str(path)))
    return problem if known else Problem(problem.what, f"{safe(str(path))}: {problem.where}".rstrip(": "), problem.do)


def _code(checked: Checked, strict: bool) -> int:
    summary = checked.summary
    return int(summary["conflict"] > 0 or (strict and summary["risk"] > 0))


def _print(results: Sequence[tuple[str, Result]], form: Format, *, several: bool, strict: bool, paths: bool) -> None:
    """Print what was found; a plan that is alone and cannot be read has only what standard error says of it."""
    each = [result for _, result in results]
    checked = [result for result in each if not isinstance(result, Unread)]
    if not checked and not several:
        return
    match form:
        case Format.JSON:
            shapes = [_json(one, paths) for one in each]
            print(json.dumps(shapes if several else shapes[0], indent=2))
        case Format.TEXT:
            print("\n".join(_text(one, paths) for one in checked), end="")
        case Format.CSV:
            from netcheck.report.csv_xlsx.findings import findings_to_csv
            from netcheck.report.several import results_csv

            sys.stdout.flush()
            sys.stdout.buffer.write(results_csv(results) if several else findings_to_csv(checked[0].findings))
        case Format.MARKDOWN:
            print("\n".join(_markdown(one, paths) for one in each), end="")
        case Format.JUNIT:
            from netcheck.report.junit import to_junit

            print(to_junit(each, strict=strict), end="")
        case _:
            assert_never(form)


def _json(result: Result, paths: bool) -> dict[str, Any]:
    from netcheck.report.several import result_json
    from netcheck.report.text import conversations as talks_text

    more = {"paths": talks_text.to_json(result)} if paths and not isinstance(result, Unread) else {}
    return {**result_json(result), **more}


def _markdown(result: Result, paths: bool) -> str:
    from netcheck.report.several import result_markdown
    from netcheck.report.text import conversations as talks_text

    more = "" if not paths or isinstance(result, Unread) else "\n" + talks_text.to_markdown(result)
    return result_markdown(result) + more


def _text(checked: Checked, paths: bool) -> str:
    from netcheck.report.text import conversations as talks_text

    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else talks_text.WIDTH
    return findings_to_print(checked) + ("\n" + talks_text.to_text(checked, width) if paths else "")
