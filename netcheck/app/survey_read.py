"""Reads lists of hosts, merges them, and prints and writes the result."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path

from netcheck.app.choices import demand_survey_file
from netcheck.app.progress import Steps
from netcheck.errors import NetcheckError, Problem, SurveyError, UsageError
from netcheck.files import write_text_atomically
from netcheck.plan.model import Plan, Position, SurveyEntry
from netcheck.plan.read import read_plan
from netcheck.report.text.merged_survey import Merging, to_csv, to_entry, to_json, to_text
from netcheck.space.coverage import coverage_of
from netcheck.survey.merge import disagreements
from netcheck.survey.model import Survey, hosts_of
from netcheck.survey.read import read_survey
from netcheck.survey.readers.header import FIELDS
from netcheck.text import listed, safe


def merge_surveys(
    files: Sequence[Path], out: Path | None, plan: Path | None, maps: Sequence[str] = (), *, as_json: bool
) -> int:
    """Print what was read from each list and where lists disagree; write the merged survey to *out*.

    Without *files* the surveys of the plan are read. Returns 1 where something could not be read or lists disagree.
    SurveyError: files that cannot be read at all; the others are printed and written before.
    """
    demand_survey_file(out)
    if Path("-") in files:
        raise UsageError.of("standard input is not read", do="Save its text as a file, and name that file")
    base = None if plan is None else read_plan(plan)
    entries = _entries(list(files), base, columns_from(maps))
    surveys, problems = _read(entries, Path(base.folder) if base and not files else Path())
    merging = replace(_merge(surveys, base), failed=tuple(problems))
    if out is not None and surveys:
        _write(merging, out)
    if surveys:
        _print(merging, out, as_json)
    if problems:
        raise SurveyError(*problems)
    return int(merging.needs_correction)


def columns_from(maps: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Read `--map` values such as `Wo=address` as the columns of a survey: (field, title)."""
    columns = []
    for text in maps:
        title, equals, name = text.rpartition("=")
        if not equals or not title.strip() or name.strip() not in FIELDS:
            do = f'Write it as "title=field"; fields are {listed(list(FIELDS), joint="and")}'
            raise UsageError.of(f"--map {safe(text, 60)!r} names no title and field", do=do)
        columns.append((name.strip(), title.strip()))
    return tuple(columns)


def _entries(files: list[Path], plan: Plan | None, columns: tuple[tuple[str, str], ...]) -> list[SurveyEntry]:
    """Return the plan's entry for each file that the plan names, and a bare entry for the others."""

    if not files:
        if plan is None or not plan.surveys:
            what = "there is no file to read" if plan is None else "the plan names no survey"
            raise UsageError.of(what, do="Name lists of hosts, for example leases.txt arp.txt")
        return list(plan.surveys)
    named = {} if plan is None else {_same(Path(plan.folder) / one.file): one for one in plan.surveys}
    here = Position("command line")
    fresh = [SurveyEntry(file=str(path), position=here, columns=columns) for path in dict.fromkeys(files)]
    return [replace(named.get(_same(Path(one.file)), one), file=one.file) for one in fresh]


def _same(path: Path) -> str:
    """Return the same text for any two paths of one file."""
    try:
        return str(path.resolve())
    except (OSError, ValueError, RuntimeError):
        return str(path)


def _read(entries: list[SurveyEntry], folder: Path) -> tuple[list[Survey], list[Problem]]:
    surveys: list[Survey] = []
    problems: list[Problem] = []
    with Steps(len(entries) + 1) as steps:
        for entry in entries:
            steps.begin(f"reading {safe(entry.file, 60)}")
            try:
                surveys.append(_read_one(entry, folder))
            except NetcheckError as error:
                problems += [Problem(one.what, safe(entry.file), one.do) for one in error.problems]
            steps.end()
    return surveys, problems


def _read_one(entry: SurveyEntry, folder: Path) -> Survey:
    """Read a list with the columns of `--map`; a list without these titles is read by its own titles."""
    try:
        return read_survey(entry, folder)
    except SurveyError as error:
        own = entry.position.file != "command line" or not error.problems[0].what.startswith("it has no column")
        if own:
            raise
        return read_survey(replace(entry, columns=()), folder)


def _merge(surveys: list[Survey], plan: Plan | None) -> Merging:

    tables = tuple(hosts_of(surveys, island) for island in dict.fromkeys(survey.island for survey in surveys))
    found = (one for table in tables for one in disagreements(table))
    first = tuple(islice(found, 1000))
    evidence = None if plan is None else coverage_of(plan, surveys)
    return Merging(tuple(surveys), tables, first, len(first) + sum(1 for _ in found), evidence)


def _write(merging: Merging, out: Path) -> None:
    if len(merging.tables) > 1:
        do = "Merge the lists of one island at a time"
        raise UsageError.of("the lists are of several islands, in which addresses may repeat", do=do)
    write_text_atomically(out, to_csv(merging))


def _print(merging: Merging, out: Path | None, as_json: bool) -> None:
    if as_json:
        print(json.dumps(to_json(merging, None if out is None else str(out)), indent=2))
        return
    print(to_text(merging))
    if out is not None:
        print(f"\nwritten to {safe(str(out))}; for the plan:\n\n{to_entry(merging, str(out))}")
