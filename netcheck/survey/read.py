"""Reads a plan's surveys, each with the reader of its kind; `kind` names it, or the content of the file shows it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from netcheck.errors import NetcheckError, PlanError, Problem, SurveyError
from netcheck.files import GZIP, OLD_PCAP, PCAP, PCAPNG, ZIP, FileError, HashedFiles, refused_by_system
from netcheck.plan.model import Plan, SurveyEntry
from netcheck.plan.read import read_draft
from netcheck.survey.gathering import Gathering, KeptFile, Source
from netcheck.survey.host_table import HostTable
from netcheck.survey.model import Survey
from netcheck.text import listed, safe

_HEAD = 1 << 16


class Reader(NamedTuple):
    """One kind of survey: `recognises` judges a file's first bytes, `read` reads the file as a stream."""

    kind: str
    recognises: Callable[[bytes], bool]
    read: Callable[[Source, Gathering], None]
    unit: str = "row"  # the name of the file's lines in messages


def readers() -> Iterator[Reader]:
    """Yield the readers in the order in which they are tried: binary files, tables with titles, other texts, tables.

    Each module is imported when its turn comes. Most surveys are tables with titles and need only two modules.
    """
    yield Reader("xlsx", _is_zip, _read_workbook)
    yield Reader("capture", _is_capture, _read_capture, "frame")
    from netcheck.survey.readers import header, table

    yield Reader("csv", header.recognises, table.read)
    from netcheck.survey.readers import leases

    yield Reader("leases", leases.recognises, leases.read, "line")
    from netcheck.survey.readers import dhcp_config

    yield Reader("dhcp", dhcp_config.recognises, dhcp_config.read, "line")
    from netcheck.survey.readers import neighbours

    yield Reader("neighbours", neighbours.recognises, neighbours.read, "line")
    from netcheck.survey.readers import zone

    yield Reader("zone", zone.recognises, zone.read, "line")
    from netcheck.survey.readers import hosts_file

    yield Reader("hosts", hosts_file.recognises, hosts_file.read, "line")
    yield Reader("csv", table.recognises, table.read)


def _is_zip(head: bytes) -> bool:
    """Return whether the file is a zip archive; a workbook is one."""
    return head.startswith(ZIP)


def _read_workbook(source: Source, into: Gathering) -> None:
    from netcheck.survey.readers import workbook

    workbook.read(source, into)


def _is_capture(head: bytes) -> bool:
    """Return whether the file starts with the magic number of a capture or of a compressed capture.

    A text may start with the four line ends that mark pcapng, but it has no zero byte. The block length after them has
    one.
    """
    return head.startswith((*PCAP, *OLD_PCAP, GZIP)) or (head.startswith(PCAPNG) and b"\0" in head[4:8])


def _read_capture(source: Source, into: Gathering) -> None:
    from netcheck.survey.readers import capture

    capture.read(source, into)


def kinds() -> list[str]:
    """Return the names of the kinds of survey."""
    return list(dict.fromkeys(reader.kind for reader in readers()))


class Site(NamedTuple):
    """A plan and its surveys; the plan's hash covers the bytes of all their files, as parsed."""

    plan: Plan
    surveys: tuple[Survey, ...]


def read_site(path: str | Path, *, in_part: bool = False) -> Site:
    """Read a plan and its surveys, each file once; PlanError or SurveyError names every file that cannot be used.

    With `in_part`, a survey whose content cannot be read raises nothing; the result holds it with its reasons in
    `failed`. A missing file or an unknown kind still raises.
    """
    draft = read_draft(path)
    surveys = _read_all(draft.parts.surveys, draft.folder, draft.files, in_part=in_part)
    return Site(draft.finished(), surveys)


def read_surveys(plan: Plan) -> tuple[Survey, ...]:
    """Read every survey of a plan; SurveyError lists the problems of all surveys that cannot be read."""
    return _read_all(plan.surveys, Path(plan.folder), HashedFiles())


def read_survey(entry: SurveyEntry, folder: Path) -> Survey:
    """Read one survey file; its name in the entry is relative to `folder`."""
    return _read(entry, folder, HashedFiles())


def _read_all(
    entries: tuple[SurveyEntry, ...], folder: Path, files: HashedFiles, *, in_part: bool = False
) -> tuple[Survey, ...]:
    surveys: list[Survey] = []
    problems: list[Problem] = []
    for entry in entries:
        try:
            surveys.append(_read(entry, folder, files))
        except NetcheckError as error:
            found = [Problem(one.what, entry.file, one.do) for one in error.problems]
            if in_part and isinstance(error, SurveyError | FileError):
                surveys.append(Survey(entry=entry, hosts=HostTable.of(()), kind="", failed=tuple(found)))
                _hash(folder / entry.file, files)
            else:
                problems += found
    if problems:
        raise SurveyError(*problems)
    return tuple(surveys)


def _hash(path: Path, files: HashedFiles) -> None:
    """Add a file to the hash of the plan, unless the plan's reader has hashed it already."""
    if files.kept(path) is None:
        with files.reading(path):
            pass


def _read(entry: SurveyEntry, folder: Path, files: HashedFiles) -> Survey:
    with _source(entry, folder, files) as source:
        try:
            reader = _reader_for(source)
            gathering = Gathering(entry.file, reader.unit)
            reader.read(source, gathering)
        except OSError as error:
            raise refused_by_system(error, source.path) from error
    return gathering.survey(entry, reader.kind)


@contextmanager
def _source(entry: SurveyEntry, folder: Path, files: HashedFiles) -> Iterator[Source]:
    path = folder / entry.file
    if (data := files.kept(path)) is not None:
        yield Source(entry, path, KeptFile(data), files)
        return
    with files.reading(path) as file:
        yield Source(entry, path, file, files)


def _reader_for(source: Source) -> Reader:
    named = source.entry.kind
    if named:
        fits = (reader for reader in readers() if reader.kind == named)
        what = f'the survey kind "{safe(named, 60)}" is not known'
    else:
        with source.open() as stream:
            head = stream.read(_HEAD)
        fits = (reader for reader in readers() if reader.recognises(head))
        what = "its kind of survey is not recognised"
    if fit := next(fits, None):
        return fit
    known = kinds()
    error = PlanError if named else SurveyError  # a kind is named in the plan
    raise error(Problem(what, do=f"Known kinds: {listed(known, len(known))}"))
