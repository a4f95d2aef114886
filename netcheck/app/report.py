"""Checks a plan, reads its records, and writes the requested reports."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from netcheck.answers.grants import TO_ANSWER, grants_from
from netcheck.answers.read import from_file
from netcheck.app.progress import Steps
from netcheck.app.remarks import report_other_sheets
from netcheck.errors import NetcheckError, Problem, UsageError
from netcheck.files import write_atomically
from netcheck.record.verify import VerifiedRecord, read_record
from netcheck.report.build import report_of
from netcheck.report.formats import Kind, demand_apart, further, kinds_for
from netcheck.report.model import Report
from netcheck.rules.catalogue import RULES
from netcheck.rules.engine import Checked, check
from netcheck.survey.model import Survey
from netcheck.survey.read import read_site
from netcheck.text import safe

_ANSWERED = (".csv", ".xlsx")  # the kinds of report that a reviewer fills in


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportOrder:
    """The sources of a report and the files to write; `since` is the plan's earlier revision."""

    plan: Path
    out: tuple[Path, ...]
    records: tuple[Path, ...]
    requests: Path | None
    sheet: Path | None
    since: Path | None
    verifier: Path | None = None
    proof: Path | None = None
    reply_by: date | None = None
    sent_by: str = ""  # else the plan's contact


def write_reports(order: ReportOrder, day: date) -> int:
    """Write all files, or none on an error; return 1 if a record is torn, broken or contradicts itself, else 0."""
    targets = kinds_for(list(order.out)) + further(
        list(order.out), order.requests, order.sheet, order.verifier, order.proof
    )
    if not targets:
        raise UsageError.of("no file to write was named", do="Name one, for example --out report.html")
    demand_unanswered([path for path, _ in targets])
    inputs = [path for path, _ in targets], list(order.records)
    with Steps((len(RULES) + 2) * (2 if order.since else 1) + len(targets)) as steps:
        checked, surveys = _checked(order.plan, *inputs, day, steps)
        before, earlier = _earlier(order.since, *inputs, day, steps) if order.since else (None, ())
        steps.begin("reading the records")
        report = replace(
            report_of(checked, surveys, _records(order.records), day, before, earlier),
            reply_by=order.reply_by,
            sent_by=order.sent_by or checked.plan.contact,
        )
        steps.end()
        ready = [(path, _written(path, kind, report, steps)) for path, kind in targets]
    for path, data in ready:
        write_atomically(path, data)
        print(f"wrote {safe(str(path))}")
    return 1 if report.flawed or report.misfits else 0


def demand_unanswered(paths: Sequence[Path]) -> None:
    """Raise UsageError if one of the files to write has answers of the reviewer."""
    for path in paths:
        if path.suffix.casefold() not in _ANSWERED or not path.is_file():
            continue
        rows = _answered_rows(path)
        if rows:
            what = f"it has answers, the first in row {rows[0]}, and is not overwritten"
            do = "Read them with `netcheck answers PLAN FILE` and delete the file, or name another file"
            raise UsageError(Problem(what, safe(str(path)), do))


def _answered_rows(path: Path) -> list[int]:
    """Return the rows of a file that have answers to findings or requests; no row for a file of another kind."""
    with suppress(NetcheckError, OSError):
        answers = from_file(path)
        return [one.row for one in answers if any((one.decision, one.change_to, one.remark, one.by, one.until))]
    with suppress(NetcheckError, OSError):
        return [row.row for row in grants_from(path) if any(row.cells.get(title) for title in TO_ANSWER)]
    return []


def _checked(
    path: Path, paths: list[Path], record: list[Path], day: date, steps: Steps
) -> tuple[Checked, tuple[Survey, ...]]:
    """Read and check one revision; raise ReportError if an output file would overwrite an input."""
    steps.begin(f"reading {path}")
    plan, surveys = read_site(path, in_part=True)
    report_other_sheets(plan)
    demand_apart(paths, plan, record)
    steps.end()
    steps.begin("running the rules")
    return check(plan, surveys, day, done=lambda rule: steps.end()), surveys


def _earlier(
    path: Path, paths: list[Path], record: list[Path], day: date, steps: Steps
) -> tuple[Checked, tuple[Survey, ...]]:
    """Return the check of the earlier revision; its problems name --since, because both have the same file names."""
    try:
        return _checked(path, paths, record, day, steps)
    except NetcheckError as error:
        raise type(error)(*(one._replace(what=f"{one.what} (in --since {path})") for one in error.problems)) from None


def _written(path: Path, kind: Kind, report: Report, steps: Steps) -> bytes:
    steps.begin(f"writing {safe(str(path))}")
    data = kind.write(report)
    steps.end()
    return data


def _records(paths: Sequence[Path]) -> tuple[VerifiedRecord, ...]:
    records, problems = [], list[Problem]()
    for path in dict.fromkeys(paths):
        try:
            records.append(read_record(path))
        except NetcheckError as error:
            problems += error.problems
    if problems:
        raise UsageError(*problems)
    return tuple(records)
