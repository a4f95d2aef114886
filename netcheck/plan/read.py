"""Reads a plan in any of its forms: a folder, a `plan.toml`, a workbook."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, feed, refused_by_system
from netcheck.plan.build import Parts, build
from netcheck.plan.entries import MOST_PROBLEMS, Tables
from netcheck.plan.forms.toml_plan import read_toml
from netcheck.plan.includes import included_by
from netcheck.plan.model import Plan, Position
from netcheck.plan.references import reference_problems
from netcheck.text import listed, safe

PLAN_FILE = "plan.toml"
OTHER_WORKBOOKS = (".xlsm", ".xlsb", ".xls", ".ods")


@dataclass(frozen=True, slots=True)
class Form:
    """One form of plan file: the ending of its name, and its reader."""

    ending: str
    read: Callable[[Path, list[Problem]], Tables | None]


def _read_workbook(path: Path, problems: list[Problem]) -> Tables | None:
    from netcheck.plan.forms.workbook_plan import read_workbook  # most plans are none

    return read_workbook(path, problems)


FORMS: tuple[Form, ...] = (Form(".toml", read_toml), Form(".xlsx", _read_workbook))


def read_plan(path: str | Path) -> Plan:
    """Read a plan: its folder, `plan.toml` or a workbook. PlanError holds every fault of structure in all its files.

    Values that cannot be read are no such fault: they are cells without a value."""
    file = plan_file(Path(path))
    problems: list[Problem] = []
    tables = _form_of(file).read(file, problems)
    if tables is None:
        raise PlanError(*problems)
    parts = build(tables, problems)
    problems += islice(reference_problems(tables, () if problems else parts.interfaces), MOST_PROBLEMS)
    digest = _digest(tables, parts, file.parent, problems)
    if problems or parts.site is None:
        raise PlanError(*_listed(problems, file))
    return Plan(
        parts.site.name,
        _slug(file),
        str(file.parent),
        digest,
        parts.site.revision,
        parts.site.keep_clear,
        parts.site.survey_max_age,
        parts.site.crowded,
        parts.subnets,
        parts.interfaces,
        parts.routers,
        parts.conversations,
        parts.stations,
        parts.surveys,
        parts.accepted,
        parts.translations,
        parts.site.domain,
        Position(safe(file.name)),
    )


def _listed(problems: list[Problem], file: Path) -> list[Problem]:
    if len(problems) < MOST_PROBLEMS:
        return problems
    rest = Problem("there are more things wrong than are listed here", safe(file.name), "Mend these and check again")
    return [*problems[: MOST_PROBLEMS - 1], rest]


def plan_file(path: Path) -> Path:
    """The plan file that a path means."""
    try:
        if not path.exists() and not path.is_symlink():
            raise PlanError(Problem("there is no such file or folder", safe(str(path)), "Check its name"))
        if not path.is_dir():
            return path
        if not (path / PLAN_FILE).exists() and not (path / PLAN_FILE).is_symlink():
            do = "Name a folder that holds one, or the file itself"
            raise PlanError(Problem(f"there is no {PLAN_FILE} in this folder", safe(str(path)), do))
    except (OSError, ValueError) as error:
        raise PlanError(refused_by_system(error, path).at(safe(str(path)))) from error
    return path / PLAN_FILE


def _form_of(file: Path) -> Form:
    for form in FORMS:
        if file.suffix.casefold() == form.ending:
            return form
    endings = listed([form.ending for form in FORMS], joint="or")
    do = f"A plan is a folder with {PLAN_FILE}, or a file ending in {endings}"
    if file.suffix.casefold() in OTHER_WORKBOOKS:
        do = "Save it as .xlsx, without macros, and name that file"
    raise PlanError(Problem("this is no plan", safe(str(file)), do))


def _slug(file: Path) -> str:
    if file.name != PLAN_FILE:
        return file.stem
    return file.absolute().resolve().parent.name or "plan"


def _digest(tables: Tables, parts: Parts, folder: Path, problems: list[Problem]) -> str:
    """SHA-256 over the bytes of all files one after the other: what `cat` of them, in the order named, gives."""
    digest = hashlib.sha256()
    for path in tables.files:
        _feed(digest, path, "", [])  # its problems are known from reading it
    for survey in parts.surveys:
        if (path := folder / survey.file) not in tables.files:  # a workbook may hold its own
            _feed(digest, path, f"{survey.position}: file {safe(survey.file, 200)}", problems)
            for part in included_by(path) if survey.kind in ("", "zone") else ():
                _feed(digest, part, "", [])  # what is wrong with it, the survey's reader says
    return digest.hexdigest()


def _feed(digest: hashlib._Hash, path: Path, where: str, problems: list[Problem]) -> None:
    try:
        feed(digest, path)
    except FileError as error:
        problems.append(error.at(where))
