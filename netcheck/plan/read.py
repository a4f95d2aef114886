"""Reads a plan from its folder, its `plan.toml` or its workbook.

A form reads the files into tables (`entries.py`), and `build.py` makes the model from them. A draft leaves the hash
open until the surveys have been read too.

`reference_problems` checks that names are unique and that every name that an entry refers to exists. It checks the
interfaces of the model if all of them could be built. Otherwise it checks the tables, so that an interface with another
fault is included and references to it are not reported as unknown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from difflib import get_close_matches
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, HashedFiles, demand_readable, refused_by_system
from netcheck.plan.build import Parts, build, interfaces_in
from netcheck.plan.entries import MOST_PROBLEMS, Entry, Tables
from netcheck.plan.forms.toml_plan import read_toml
from netcheck.plan.model import Interface, Plan, Position, SurveyEntry
from netcheck.plan.shapes import SiteShape, as_label
from netcheck.text import Pattern, listed, safe

PLAN_FILE = "plan.toml"
_ROW = Pattern(r"(.*: (?:sheet .*, )?row )\d+")
_LISTED_SINGLY = 3  # up to this number, equal problems of several rows are listed one by one
OTHER_WORKBOOKS = (".xlsm", ".xlsb", ".xls", ".ods")


class Form(NamedTuple):
    """One form of plan file: the extension of its name and its reader."""

    extension: str
    read: Callable[[Path, HashedFiles, list[Problem]], Tables | None]


def _read_workbook(path: Path, files: HashedFiles, problems: list[Problem]) -> Tables | None:
    from netcheck.plan.forms.workbook_plan import read_workbook  # openpyxl is imported only for a workbook

    return read_workbook(path, files, problems)


FORMS: tuple[Form, ...] = (Form(".toml", read_toml), Form(".xlsx", _read_workbook))


class Draft(NamedTuple):
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
    """Return a file's name relative to the plan's folder, with slashes on every system."""
    return (path.relative_to(folder) if path.is_relative_to(folder) else path).as_posix()


def read_plan(path: str | Path) -> Plan:
    """Return a plan without reading its surveys; PlanError lists every structural fault.

    A value that cannot be read is not a structural fault: it becomes a cell without a value. `sha256` covers the survey
    files but not the files that a zone includes; `survey.read.read_site` covers those too.
    """
    draft = read_draft(path)
    for entry in draft.parts.surveys:
        if draft.files.kept(draft.folder / entry.file) is None:
            with draft.files.reading(draft.folder / entry.file):
                pass
    return draft.finished()


def read_draft(path: str | Path) -> Draft:
    """Read the plan's own files; PlanError lists every structural fault, including missing survey files."""
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
    """Return the problem of a survey file that cannot be opened, otherwise an empty list."""
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
        same[0]._replace(where=f"{same[0].where} and {len(same) - 1} more rows") if len(same) > _LISTED_SINGLY else one
        for same in rows.values()
        for one in (same[:1] if len(same) > _LISTED_SINGLY else same)
    ]


def _bounded(problems: list[Problem], file: Path) -> list[Problem]:
    problems = _grouped(problems)
    if len(problems) < MOST_PROBLEMS:
        return problems
    rest = Problem("more problems were found than are listed here", safe(file.name), "Fix these and check again")
    return [*problems[: MOST_PROBLEMS - 1], rest]


def plan_file(path: Path) -> Path:
    """Return the plan file of a path, which is the file or its folder; PlanError if there is none."""
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


_COMPARED = 300  # names that are compared to find a similar one


class _EntryNames(NamedTuple):
    """The names in an interface's entry, whether or not its other values are valid."""

    subject: str
    subnet: str
    subnet6: str
    behind: str
    ports: tuple[str, ...]
    position: Position

    @classmethod
    def of(cls, device: str, name: str, entry: Entry) -> _EntryNames:
        ports = entry.data.get("ports", ["1"])
        labels = map(as_label, ports if isinstance(ports, list) else ())
        texts = (one.strip() for one in labels if isinstance(one, str))
        subject = f"{device}/{name}" if device and name else ""
        return cls(
            subject, entry.text("subnet"), entry.text("subnet6"), entry.text("behind"), tuple(texts), entry.position
        )


_Named = _EntryNames | Interface


def reference_problems(tables: Tables, made: Sequence[Interface]) -> Iterator[Problem]:
    """Yield a problem for every duplicate name and every reference to a name that does not exist.

    `made` are the interfaces of the model; empty if not all of them could be built.
    """
    interfaces: Sequence[_Named] = made or tuple(_interfaces(tables))
    yield from _duplicates("subnet", _names(tables.subnets))
    yield from _duplicates("device", _names(tables.devices))
    subjects = [one.subject for one in interfaces]
    if len(set(subjects)) < len(subjects):
        yield from _duplicates("interface", zip(subjects, (one.position for one in interfaces), strict=True))
    for interface in [one for one in interfaces if len(one.ports) > 1]:
        yield from _duplicates("port", ((port, interface.position) for port in interface.ports))
    yield from _duplicates("router", _names(tables.routers))
    yield from _duplicates("station", _names(tables.stations))
    yield from _duplicates("island", _names(tables.islands))
    if "subnets" not in tables.unread:
        yield from _unknown_subnets(tables, interfaces)
    if "interfaces" not in tables.unread:
        yield from _unknown_ends(tables, interfaces)
    yield from _unknown_routers(tables)
    if "interfaces" not in tables.unread and any(interface.behind for interface in interfaces):
        yield from _unknown_ports(interfaces)
        yield from _loops(interfaces)


def _names(entries: Iterable[Entry]) -> Iterator[tuple[str, Position]]:
    return ((entry.text("name"), entry.position) for entry in entries)


def _interfaces(tables: Tables) -> Iterator[_EntryNames]:
    for device in tables.devices:
        for inner in interfaces_in(device):
            yield _EntryNames.of(device.text("name"), inner.text("name"), inner)
    for row in tables.interfaces:
        yield _EntryNames.of(row.text("device"), row.text("interface"), row)


def _duplicates(what: str, names: Iterable[tuple[str, Position]]) -> Iterator[Problem]:
    first: dict[str, Position] = {}
    for name, position in names:
        if name and name in first:
            before = "" if str(first[name]) == str(position) else f", first at {first[name]}"
            yield Problem(f'{what} "{safe(name, 80)}" is there twice{before}', str(position), "Rename one of them")
        first.setdefault(name, position)


def _unknown_subnets(tables: Tables, interfaces: Iterable[_Named]) -> Iterator[Problem]:
    known = dict.fromkeys(name for name, _ in _names(tables.subnets) if name)
    named = ({one.subnet for one in interfaces} | {one.subnet6 for one in interfaces}) - {""}
    for scheme in tables.schemes:
        name = scheme.text("subnet")
        if name and name not in known:
            yield _unknown("subnet", name, known, scheme.position)
    for interface in interfaces if not named <= known.keys() else ():
        for name in (interface.subnet, interface.subnet6):
            if name and name not in known:
                yield _unknown("subnet", name, known, interface.position)


def _unknown_ends(tables: Tables, interfaces: Iterable[_Named]) -> Iterator[Problem]:
    known = dict.fromkeys(one.subject for one in interfaces if one.subject) if tables.conversations else {}
    for conversation in tables.conversations:
        for end in (conversation.text("from"), conversation.text("to")):
            if end and end not in known:
                yield _unknown("interface", end, known, conversation.position)


def _unknown_routers(tables: Tables) -> Iterator[Problem]:
    """Yield a problem for every translation whose router is not in the plan.

    A plan without routers may name one; the result of the paths across it is then "undecided".
    """
    known = dict.fromkeys(name for name, _ in _names(tables.routers) if name)
    for translation in tables.translations if known else ():
        name = translation.text("at")
        if name and name not in known:
            yield _unknown("router", name, known, translation.position)


def _unknown_ports(interfaces: Iterable[_Named]) -> Iterator[Problem]:
    known = {f"{one.subject}:{port}": None for one in interfaces for port in one.ports}
    for interface in interfaces:
        if interface.behind and interface.behind not in known:
            yield _unknown("port", interface.behind, known, interface.position)


def _unknown(what: str, name: str, names: Iterable[str], position: Position) -> Problem:
    known = list(names)
    near = get_close_matches(name[:200], known[:_COMPARED], 1)
    hint = f'; did you mean "{safe(near[0], 80)}"?' if near else ""
    do = "" if near else f"Known: {listed([safe(one, 80) for one in known], 20)}"
    return Problem(f'{what} "{safe(name, 80)}" is not in the plan{hint}', str(position), do)


def _loops(interfaces: Iterable[_Named]) -> Iterator[Problem]:
    """Yield a problem for every interface that is `behind` itself, directly or through others."""
    owner = {f"{one.subject}:{port}": one for one in interfaces for port in one.ports}
    seen: set[str] = set()
    for start in interfaces:
        path: set[str] = set()
        here: _Named | None = start
        while here is not None and here.subject not in seen and here.subject not in path:
            path.add(here.subject)
            here = owner.get(here.behind)
        if here is not None and here.subject in path:
            yield Problem(
                f'"{safe(here.subject)}" is connected behind itself', str(here.position), "Correct the key `behind`"
            )
        seen |= path
