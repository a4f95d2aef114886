"""Reads a plan from its folder, its `plan.toml` or its workbook.

A form reads the files into tables (`entries.py`), `build.py` makes the model from them, `references.py` checks the
names between entries. A draft keeps the hash open until the surveys have been read too.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, HashedFiles, demand_readable, refused_by_system
from netcheck.plan.build import Parts, build
from netcheck.plan.entries import MOST_PROBLEMS, Tables
from netcheck.plan.forms.toml_plan import read_toml
from netcheck.plan.model import Plan, Position, SurveyEntry
from netcheck.plan.references import reference_problems
from netcheck.plan.shapes import SiteShape
from netcheck.text import listed, safe

PLAN_FILE = "plan.toml"
_ROW = re.compile(r"(.*: (?:sheet .*, )?row )\d+")
_APART = 3  # equal problems of rows are listed one by one up to this number
OTHER_WORKBOOKS = (".xlsm", ".xlsb", ".xls", ".ods")


@dataclass(frozen=True, slots=True)
class Form:
    """One form of plan file: the extension of its name and its reader."""

    extension: str
    read: Callable[[Path, HashedFiles, list[Problem]], Tables | None]


def _read_workbook(path: Path, files: HashedFiles, problems: list[Problem]) -> Tables | None:
    from netcheck.plan.forms.workbook_plan import read_workbook  # imported only where the plan is a workbook

    return read_workbook(path, files, problems)


FORMS: tuple[Form, ...] = (Form(".toml", read_toml), Form(".xlsx", _read_workbook))


@dataclass(frozen=True, slots=True)
class Draft:
    """A plan whose own files have been read without a fault; its surveys are still to be read into `files`."""

    file: Path
    site: SiteShape
    parts: Parts
    files: HashedFiles
    other_sheets: tuple[str, ...] = ()

    @property
    def folder(self) -> Path:
        """The folder from which the names of survey files are resolved."""
        return self.file.parent

    def finished(self) -> Plan:
        """Return the plan with the hash of everything read so far."""
        return Plan(
            name=self.site.name,
            slug=_slug(self.file),
            folder=str(self.folder),
            sha256=self.files.sha256,
            files=tuple(_name(path, self.folder) for path in self.files.paths),
            revision=self.site.revision,
            contact=self.site.contact,
            keep_clear=self.site.keep_clear,
            survey_max_age=self.site.survey_max_age,
            crowded=self.site.crowded,
            domain=self.site.domain,
            subnets=self.parts.subnets,
            interfaces=self.parts.interfaces,
            routers=self.parts.routers,
            conversations=self.parts.conversations,
            stations=self.parts.stations,
            surveys=self.parts.surveys,
            accepted=self.parts.accepted,
            remarks=self.parts.remarks,
            granted=self.parts.granted,
            translations=self.parts.translations,
            schemes=self.parts.schemes,
            own_islands=self.parts.own_islands,
            site_islands=self.parts.site_islands,
            position=Position(safe(self.file.name)),
            other_sheets=self.other_sheets,
        )


def _name(path: Path, folder: Path) -> str:
    """Return a file's name from the plan's folder, with slashes on every system."""
    return (path.relative_to(folder) if path.is_relative_to(folder) else path).as_posix()


def read_plan(path: str | Path) -> Plan:
    """Read a plan whose surveys are not needed; PlanError holds every structural fault.

    A value that cannot be read is no structural fault: it becomes a cell without a value. `sha256` covers the survey
    files themselves but no file that a zone includes; `survey.read.read_site` covers those too.
    """
    draft = read_draft(path)
    for entry in draft.parts.surveys:
        if draft.files.kept(draft.folder / entry.file) is None:
            with draft.files.reading(draft.folder / entry.file):
                pass
    return draft.finished()


def read_draft(path: str | Path) -> Draft:
    """Read the plan's own files; PlanError holds every structural fault, among them survey files that are missing."""
    file = plan_file(Path(path))
    files, problems = HashedFiles(), list[Problem]()
    tables = _form_of(file).read(file, files, problems)
    if tables is None:
        raise PlanError(*problems)
    parts = build(tables, problems)
    problems += islice(reference_problems(tables, () if problems else parts.interfaces), MOST_PROBLEMS)
    files.forget(but={file.parent / entry.file for entry in parts.surveys})
    for entry in parts.surveys:
        problems += _unreadable(entry, file.parent)
    if problems or parts.site is None:
        raise PlanError(*_bounded(problems, file))
    return Draft(file, parts.site, parts, files, tables.other_sheets)


def _unreadable(entry: SurveyEntry, folder: Path) -> list[Problem]:
    """The reason why a survey file cannot be opened, if there is one."""
    try:
        demand_readable(folder / entry.file)
    except FileError as error:
        return [error.at(f"{entry.position}: file {safe(entry.file, 200)}")]
    return []


def _grouped(problems: list[Problem]) -> list[Problem]:
    """Join equal problems of several rows of one table: the first row is named, the others are counted."""
    rows: dict[tuple[str, str, str], list[Problem]] = {}
    for problem in problems:
        found = _ROW.fullmatch(problem.where)
        rows.setdefault((found[1] if found else problem.where, problem.what, problem.do), []).append(problem)
    return [
        replace(same[0], where=f"{same[0].where} and {len(same) - 1} more rows") if len(same) > _APART else one
        for same in rows.values()
        for one in (same[:1] if len(same) > _APART else same)
    ]


def _bounded(problems: list[Problem], file: Path) -> list[Problem]:
    problems = _grouped(problems)
    if len(problems) < MOST_PROBLEMS:
        return problems
    rest = Problem("more problems were found than are listed here", safe(file.name), "Fix these and check again")
    return [*problems[: MOST_PROBLEMS - 1], rest]


def plan_file(path: Path) -> Path:
    """Return the plan file that a path stands for."""
    try:
        if not path.exists() and not path.is_symlink():
            raise PlanError(Problem("there is no such file or folder", safe(str(path)), "Check its name"))
        if not path.is_dir():
            return path
        if not (path / PLAN_FILE).exists() and not (path / PLAN_FILE).is_symlink():
            do = "Name a folder that contains one, or name the file itself"
            raise PlanError(Problem(f"there is no {PLAN_FILE} in this folder", safe(str(path)), do))
    except (OSError, ValueError) as error:
        raise PlanError(refused_by_system(error, path).at(safe(str(path)))) from error
    return path / PLAN_FILE


def _form_of(file: Path) -> Form:
    for form in FORMS:
        if file.suffix.casefold() == form.extension:
            return form
    extensions = listed([form.extension for form in FORMS], joint="or")
    do = f"A plan is a folder with {PLAN_FILE}, or a file ending in {extensions}"
    if file.suffix.casefold() in OTHER_WORKBOOKS:
        do = "Save it as .xlsx, without macros, and name that file"
    raise PlanError(Problem("this is not a plan", safe(str(file)), do))


def _slug(file: Path) -> str:
    if file.name != PLAN_FILE:
        return file.stem
    return file.absolute().resolve().parent.name or "plan"
