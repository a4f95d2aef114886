"""Maps file endings to the writers of reports, and checks the names of output files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from netcheck.errors import Problem, ReportError, UsageError
from netcheck.plan.model import Plan
from netcheck.report.model import Report
from netcheck.text import listed


def _html(report: Report) -> bytes:
    from netcheck.report.html.page import to_html  # imports jinja2

    return to_html(report)


def _csv(report: Report) -> bytes:
    from netcheck.report.csv_tables import to_csv

    return to_csv(report)


def _xlsx(report: Report) -> bytes:
    from netcheck.report.workbook import to_xlsx  # imports openpyxl

    return to_xlsx(report)


def _json(report: Report) -> bytes:
    from netcheck.report.json_report import to_json

    return to_json(report)


def _markdown(report: Report) -> bytes:
    from netcheck.report.text_report import to_markdown

    return to_markdown(report)


def _text(report: Report) -> bytes:
    from netcheck.report.text_report import to_text

    return to_text(report)


def _requests(report: Report) -> bytes:
    from netcheck.report.csv_tables import requests_to_csv

    return requests_to_csv(report.checked, report.changes.before if report.changes else None)


def _sheet(report: Report) -> bytes:
    from netcheck.report.html.setting_sheet import to_sheet  # imports jinja2

    return to_sheet(report.checked, report.today)


def _proof(report: Report) -> bytes:
    from netcheck.report.proof_page import to_html

    return to_html(report)


def _proof_text(report: Report) -> bytes:
    from netcheck.report.proof_page import to_text

    return to_text(report)


def _verifier(report: Report) -> bytes:
    from netcheck.record.verify import VERIFIER

    return VERIFIER.encode("utf-8")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of report: the ending of its files, and its writer, a pure function of the report."""

    ending: str
    write: Callable[[Report], bytes]


KINDS: tuple[Kind, ...] = (
    Kind(".html", _html),
    Kind(".csv", _csv),
    Kind(".xlsx", _xlsx),
    Kind(".json", _json),
    Kind(".md", _markdown),
    Kind(".txt", _text),
)


def kinds_for(paths: list[Path]) -> tuple[tuple[Path, Kind], ...]:
    """Return each file with the kind of its ending; raise UsageError for an unknown ending or a file named twice."""
    kind_of = {kind.ending: kind for kind in KINDS}
    known = listed(list(kind_of), joint="or")
    wrong = [path for path in paths if path.suffix.lower() not in kind_of]
    twice = [path for place, path in enumerate(paths) if path in paths[:place]]
    if wrong or twice:
        raise UsageError(
            *(Problem(f"--out {path} has an unknown ending", do=f"Name it with {known}") for path in wrong),
            *(Problem(f"--out {path} is named twice", do="Name it once") for path in twice),
        )
    return tuple((path, kind_of[path.suffix.lower()]) for path in paths)


def further(
    out: list[Path],
    requests: Path | None,
    sheet: Path | None,
    verifier: Path | None = None,
    proof: Path | None = None,
) -> tuple[tuple[Path, Kind], ...]:
    """Return the files that have their own options; raise UsageError for a wrong ending or a file named twice."""
    page = Kind(".html", _proof)
    if proof is not None and proof.suffix.lower() == ".txt":
        page = Kind(".txt", _proof_text)
    kinds = {
        "--proof": (proof, page),
        "--requests": (requests, Kind(".csv", _requests)),
        "--sheet": (sheet, Kind(".html", _sheet)),
        "--verifier": (verifier, Kind(".py", _verifier)),
    }
    named = [(option, path, kind) for option, (path, kind) in kinds.items() if path is not None]
    problems = [
        Problem(
            f"{option} {path} does not end in {kind.ending}{' or .txt' if option == '--proof' else ''}",
            do=f"Name it with {kind.ending}",
        )
        for option, path, kind in named
        if path.suffix.lower() != kind.ending
    ]
    problems += [
        Problem(f"{option} {path} is named twice", do="Name it once")
        for place, (option, path, _) in enumerate(named)
        if path in (*out, *(other for _, other, _ in named[:place]))
    ]
    if problems:
        raise UsageError(*problems)
    return tuple((path, kind) for _, path, kind in named)


def demand_apart(paths: list[Path], plan: Plan, records: list[Path]) -> None:
    """Raise ReportError, with every such file, if a file would overwrite an input or its folder does not exist."""
    inputs = [*records, *(Path(plan.folder) / name for name in _files_of(plan))]
    problems = [
        Problem("the report would overwrite one of its inputs", str(path), "Choose another name")
        for path in paths
        if any(_same(path, given) for given in inputs)
    ]
    problems += [
        Problem("its folder does not exist", str(path), "Create the folder first")
        for path in paths
        if not path.parent.is_dir()
    ]
    if problems:
        raise ReportError(*problems)


def _files_of(plan: Plan) -> set[str]:
    rows = [each.position for each in plan.interfaces] + [each.position for each in plan.conversations]
    return {plan.position.file, *(place.file for place in rows), *(survey.file for survey in plan.surveys)}


def _same(one: Path, other: Path) -> bool:
    try:
        return one.resolve() == other.resolve() or one.samefile(other)
    except (OSError, RuntimeError):  # a path does not exist, or its links form a loop
        return False
