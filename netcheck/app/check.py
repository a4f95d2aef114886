"""Checks plans with their surveys against every rule, and prints the findings in the requested format."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from netcheck.addr import Address
from netcheck.app.progress import Steps
from netcheck.app.remarks import report_other_sheets, report_revisions
from netcheck.errors import NetcheckError, Problem, UsageError
from netcheck.report.finding_groups import Result, Unread
from netcheck.rules.catalogue import RULES
from netcheck.rules.engine import Checked, check
from netcheck.rules.other_plans import others_of
from netcheck.survey.read import read_site
from netcheck.text import safe

T = TypeVar("T")


def run_check(path: Path, day: date) -> Checked:
    """Read a plan with its surveys and run every rule; show a progress bar if it takes long."""
    with Steps(len(RULES) + 1) as steps:
        steps.begin(f"reading {path}")
        plan, surveys = read_site(path, in_part=True)
        report_other_sheets(plan)
        steps.end()
        steps.begin("running the rules")
        return check(plan, surveys, day, done=lambda rule: steps.end())


def check_plans(paths: Sequence[Path], day: date) -> tuple[tuple[str, Result], ...]:
    """Return each path with its check, or with the problems that prevent its plan from being read.

    Several plans are checked against each other, and no address is proposed to two interfaces.
    """
    if len(paths) == 1:
        return ((str(paths[0]), _result(paths[0], lambda path: run_check(path, day), several=False)),)
    sites = [_result(path, partial(read_site, in_part=True), several=True) for path in paths]
    plans = [(str(path), site[0]) for path, site in zip(paths, sites, strict=True) if not isinstance(site, Unread)]
    report_revisions(plans)
    proposed: list[tuple[str, Address]] = []
    results: list[tuple[str, Result]] = []
    index = 0
    with Steps(len(plans)) as steps:
        for path, site in zip(paths, sites, strict=True):
            if isinstance(site, Unread):
                results.append((str(path), site))
                continue
            steps.begin(f"checking {path}")
            checked = check(*site, day, others=others_of(plans, index, proposed))
            results.append((str(path), checked))
            proposed += proposed_by(checked)
            index += 1
            steps.end()
    return tuple(results)


def proposed_by(checked: Checked) -> Iterator[tuple[str, Address]]:
    """Yield the addresses that the fixes of a check propose, with their islands."""
    plan = checked.plan
    for finding in checked.findings:
        for subject, address in finding.fix.addresses if finding.fix else ():
            yield plan.island_of(plan.interface_named[subject]), address


def _result(path: Path, read: Callable[[Path], T], *, several: bool) -> T | Unread:
    try:
        return read(path)
    except NetcheckError as error:
        return Unread(str(path), tuple(_named(problem, path) if several else problem for problem in error.problems))


def _named(problem: Problem, path: Path) -> Problem:
    """Return the problem with the plan's path in front of its place, unless the place begins with it."""
    known = problem.where.startswith(safe(str(path)))
    return problem if known else Problem(problem.what, f"{safe(str(path))}: {problem.where}".rstrip(": "), problem.do)


def exit_code(results: Sequence[tuple[str, Result]], *, strict: bool) -> int:
    """Return the highest exit code of all plans; raise UsageError, with their problems, if plans cannot be read."""
    if problems := [problem for _, each in results if isinstance(each, Unread) for problem in each.problems]:
        raise UsageError(*problems)
    return max(_code(each, strict) for _, each in results if not isinstance(each, Unread))


def _code(checked: Checked, strict: bool) -> int:
    summary = checked.summary
    return int(summary["conflict"] > 0 or (strict and summary["risk"] > 0))


def print_results(results: Sequence[tuple[str, Result]], form: str, *, strict: bool, paths: bool) -> None:
    """Print the findings of all plans as text, json, csv, markdown or junit.

    For a single plan that cannot be read nothing is printed here; standard error has its problems.
    """
    several = len(results) > 1
    each = [result for _, result in results]
    checked = [result for result in each if not isinstance(result, Unread)]
    if not checked and not several:
        return
    if form == "json":
        import json  # no other format needs it

        shapes = [{**_json(one, paths), **({"path": path} if several else {})} for path, one in results]
        print(json.dumps(shapes if several else shapes[0], indent=2))
    elif form == "csv":
        from netcheck.report.check_formats import results_csv
        from netcheck.report.csv_tables import findings_to_csv

        sys.stdout.flush()
        sys.stdout.buffer.write(results_csv(results) if several else findings_to_csv(checked[0].findings))
    elif form == "markdown":
        print("\n".join(_markdown(one, paths, path if several else "") for path, one in results), end="")
    elif form == "junit":
        from netcheck.report.check_formats import to_junit

        print(to_junit(results, strict=strict), end="")
    else:
        texts = [(path, _text(one, paths)) for path, one in results if not isinstance(one, Unread)]
        print("\n".join(f"{safe(path)}:\n{text}" if several else text for path, text in texts), end="")


def _json(result: Result, paths: bool) -> dict[str, Any]:
    from netcheck.report.check_formats import result_json
    from netcheck.report.text.findings import paths_to_json

    more = {"paths": paths_to_json(result)} if paths and not isinstance(result, Unread) else {}
    return {**result_json(result), **more}


def _markdown(result: Result, paths: bool, path: str) -> str:
    from netcheck.report.check_formats import result_markdown
    from netcheck.report.text_report import paths_to_markdown

    more = "" if not paths or isinstance(result, Unread) else "\n" + paths_to_markdown(result)
    return result_markdown(result, path) + more


def _text(checked: Checked, paths: bool) -> str:
    findings = findings_to_print(checked)
    if not paths:
        return findings
    from netcheck.report.text.findings import PATHS_WIDTH, paths_to_text

    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else PATHS_WIDTH
    return f"{findings}\n{paths_to_text(checked, width)}"


def findings_to_print(checked: Checked) -> str:
    """Return the findings as rich tables if standard output is a terminal, else as plain text."""
    if not sys.stdout.isatty():
        from netcheck.report.text.findings import to_text

        return to_text(checked)
    from rich.console import Console

    from netcheck.report.text.findings_screen import to_screen

    screen = Console()
    colour = screen.color_system is not None and not screen.no_color
    return to_screen(checked, shutil.get_terminal_size().columns, colour=colour, unicode=not screen.options.ascii_only)
