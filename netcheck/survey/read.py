"""Reads a plan's surveys with the reader that fits each: named by `kind`, or recognised from the content."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from netcheck.errors import NetcheckError, Problem, SurveyError
from netcheck.files import refused_by_system
from netcheck.plan.model import Plan, SurveyEntry
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.model import Survey
from netcheck.survey.readers import capture, header, hosts, leases, neighbours, table, workbook, zone
from netcheck.text import listed, safe

_HEAD = 1 << 16


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of survey: recognised by a file's first bytes, read as a stream."""

    kind: str
    recognises: Callable[[bytes], bool]
    read: Callable[[Source, Gathering], None]
    unit: str = "row"  # what the file's lines are called in messages


# In the order in which they are asked: a table with titles before the other texts, any table last.
READERS: tuple[Reader, ...] = (
    Reader("xlsx", workbook.recognises, workbook.read),
    Reader("capture", capture.recognises, capture.read, "frame"),
    Reader("csv", header.recognises, table.read),
    Reader("leases", leases.recognises, leases.read, "line"),
    Reader("neighbours", neighbours.recognises, neighbours.read, "line"),
    Reader("zone", zone.recognises, zone.read, "line"),
    Reader("hosts", hosts.recognises, hosts.read, "line"),
    Reader("csv", table.recognises, table.read),
)


def read_surveys(plan: Plan) -> tuple[Survey, ...]:
    """Read every survey of a plan; SurveyError holds the problems of all that cannot be read at all."""
    surveys: list[Survey] = []
    problems: list[Problem] = []
    for entry in plan.surveys:
        try:
            surveys.append(read_survey(entry, Path(plan.folder)))
        except NetcheckError as error:
            problems += [Problem(one.what, entry.file, one.do) for one in error.problems]
    if problems:
        raise SurveyError(*problems)
    return tuple(surveys)


def read_survey(entry: SurveyEntry, folder: Path) -> Survey:
    """Read one survey file, looked up from a folder."""
    source = Source(entry, folder / entry.file)
    try:
        reader = _reader_for(source)
        gathering = Gathering(entry.file, reader.unit)
        reader.read(source, gathering)
    except OSError as error:
        raise refused_by_system(error, source.path) from error
    return gathering.survey(entry, reader.kind)


def _reader_for(source: Source) -> Reader:
    kinds = list(dict.fromkeys(reader.kind for reader in READERS))
    if source.entry.kind:
        fits = [reader for reader in READERS if reader.kind == source.entry.kind]
        what = f'the kind "{safe(source.entry.kind, 60)}" of survey is not known'
    else:
        with source.open() as stream:
            head = stream.read(_HEAD)
        fits = [reader for reader in READERS if reader.recognises(head)]
        what = "its kind of survey is not recognised"
    if not fits:
        raise SurveyError(Problem(what, do=f"Known kinds: {listed(kinds, len(kinds))}"))
    return fits[0]
