"""`netcheck survey read`: many lists of hosts made one, with what each brought and where they disagree."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netcheck.app.progress import Steps
from netcheck.cli.options import Form
from netcheck.errors import NetcheckError, Problem, SurveyError, UsageError
from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.plan.model import Plan, SurveyEntry
    from netcheck.report.text.merged_survey import Merging
    from netcheck.survey.model import Survey

Files = Annotated[list[Path] | None, typer.Argument(help="Lists of hosts.", metavar="FILE...", show_default=False)]
Out = Annotated[Path | None, typer.Option("--out", help="Write the merged hosts as a survey (CSV) to this file.")]
PlanOption = Annotated[
    Path | None,
    typer.Option("--plan", help="Plan whose subnets are compared with the lists; without FILE, its own surveys."),
]


def command(
    files: Files = None,
    out: Out = None,
    plan: PlanOption = None,
    form: Annotated[Form, typer.Option("--format", help="How to print the result.")] = Form.TEXT,
) -> None:
    """Read lists of hosts of any kind, merge them, and say what each brought and where they disagree.

    Kinds, recognised by content: csv, xlsx, hosts, zone, leases, neighbours, capture.

    Exit code: 0 done, 1 something could not be read or lists disagree, 2 bad use or a file that cannot be read at all.

    Example: netcheck survey read leases.txt arp.txt plant.pcap --out site-hosts.csv
    """
    from netcheck.app.choices import demand_survey_file

    demand_survey_file(out)
    if Path("-") in (files or []):
        raise UsageError.of("standard input is not read", do="Save what is printed in a file, and name that file")
    base = _plan(plan)
    entries = _entries(files or [], base)
    surveys, problems = _read(entries, Path(base.folder) if base and not files else Path())
    merging = _merge(surveys, base)
    if out is not None and not problems:
        _write(merging, out)
    if surveys:
        _print(merging, out if not problems else None, form)
    if problems:
        raise SurveyError(*problems)
    raise typer.Exit(int(merging.mend))


def _plan(path: Path | None) -> Plan | None:
    if path is None:
        return None
    from netcheck.plan.read import read_plan

    return read_plan(path)


def _entries(files: list[Path], plan: Plan | None) -> list[SurveyEntry]:
    """What is known of each file: the plan's word on it where the plan names it, and else nothing."""
    from dataclasses import replace

    from netcheck.plan.model import Position, SurveyEntry

    if not files:
        if plan is None or not plan.surveys:
            what = "there is no file to read" if plan is None else "the plan names no survey"
            raise UsageError.of(what, do="Name lists of hosts, for example leases.txt arp.txt")
        return list(plan.surveys)
    named = {} if plan is None else {_same(Path(plan.folder) / one.file): one for one in plan.surveys}
    fresh = [SurveyEntry(str(path), Position("command line")) for path in dict.fromkeys(files)]
    return [replace(named.get(_same(Path(one.file)), one), file=one.file) for one in fresh]


def _same(path: Path) -> str:
    """What two paths of one file have in common."""
    try:
        return str(path.resolve())
    except (OSError, ValueError, RuntimeError):
        return str(path)


def _read(entries: list[SurveyEntry], folder: Path) -> tuple[list[Survey], list[Problem]]:
    from netcheck.survey.read import read_survey

    surveys: list[Survey] = []
    problems: list[Problem] = []
    with Steps(len(entries) + 1) as steps:
        for entry in entries:
            steps.begin(f"reading {safe(entry.file, 60)}")
            try:
                surveys.append(read_survey(entry, folder))
            except NetcheckError as error:
                problems += [Problem(one.what, safe(entry.file), one.do) for one in error.problems]
            steps.end()
    return surveys, problems


def _merge(surveys: list[Survey], plan: Plan | None) -> Merging:
    from itertools import islice

    from netcheck.report.text.merged_survey import Merging
    from netcheck.space.coverage import coverage_of
    from netcheck.survey.merge import disagreements
    from netcheck.survey.model import hosts_of

    tables = tuple(hosts_of(surveys, island) for island in dict.fromkeys(survey.island for survey in surveys))
    found = (one for table in tables for one in disagreements(table))
    first = tuple(islice(found, 1000))
    evidence = None if plan is None else coverage_of(plan, surveys)
    return Merging(tuple(surveys), tables, first, len(first) + sum(1 for _ in found), evidence)


def _write(merging: Merging, out: Path) -> None:
    from netcheck.files import write_text_atomically
    from netcheck.report.text.merged_survey import to_csv

    if len(merging.tables) > 1:
        do = "Merge the lists of one island at a time"
        raise UsageError.of("the lists are of several islands, in which addresses may repeat", do=do)
    write_text_atomically(out, to_csv(merging.tables[0]))


def _print(merging: Merging, out: Path | None, form: Form) -> None:
    from netcheck.report.text.merged_survey import to_entry, to_json, to_text

    if form is Form.JSON:
        typer.echo(json.dumps(to_json(merging, None if out is None else str(out)), indent=2))
        return
    typer.echo(to_text(merging))
    if out is not None:
        typer.echo(f"\nwritten to {safe(str(out))}; for the plan:\n\n{to_entry(merging, str(out))}")
