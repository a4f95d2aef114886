"""Reads the table of findings that a reviewer filled in, from the CSV file or workbook of a spreadsheet program.

Columns are found by their titles, in any order and among other columns. A formula is refused as an answer.

`AnsweredFindings` returns the finding to which an answered row belongs. A row that cannot be used is refused with a
reason.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from netcheck.answers.table import ON_ENTRIES, PLAN_COLUMN, Ambiguous, Decided, Decision, cells_of, decision_from
from netcheck.errors import Problem, ReportError
from netcheck.files import MIB, ZIP, FileError, first_bytes, read_bounded
from netcheck.plan.forms.csv_table import title_of
from netcheck.plan.model import Accepted
from netcheck.rules.accept import matches
from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding
from netcheck.survey.readers.values import date_from
from netcheck.tables.delimited import DELIMITERS, Record, lines_of, records_of, text_of, unguarded
from netcheck.tables.workbook_read import MOST_ROWS, Book, Formula, opened
from netcheck.text import listed, safe

LIMIT = 64 * MIB
_HEAD = 40  # the first rows, in which the titles must be
_WIDEST = 1000  # columns that are read
_READ = ("rule", "subjects", "address", "fix", "key", "decision", "change-to", "remark", "by", "until", PLAN_COLUMN)
# First bytes of compound files: workbooks of the older kind, and workbooks with a password.
_COMPOUND = b"\xd0\xcf\x11\xe0"
_SEPARATOR_LINE = re.compile(r'"?sep=(.)"?\s*', re.IGNORECASE)  # written above the titles by some programs


class FilledRow(NamedTuple):
    """One row of the file: its number, its cells by title, and the reason why it cannot be read, or ""."""

    row: int
    cells: dict[str, str]
    fault: str


@dataclass(frozen=True, slots=True)
class Table:
    """A kind of table for answers: its titles, the titles that identify it, and the command that writes it."""

    titles: tuple[str, ...]
    marks: tuple[frozenset[str], ...]  # a row of titles contains all titles of one of these sets
    about: str  # completes "it has no row of titles with ..."
    made_by: str
    other: str  # in a file with both tables, a row with a value in this column belongs to the other table

    def is_head(self, record: Record) -> bool:
        """Return whether a row is the table's row of titles."""
        titles = set(_titles(record))
        return any(mark <= titles for mark in self.marks)


FINDINGS = Table(
    _READ,
    (frozenset({"decision", "key"}), frozenset({"decision", "rule", "subjects"})),
    "decision and key",
    "`netcheck report PLAN --out FILE.csv` or `.xlsx`",
    other="kind",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One row, without outer space and formula guards; `fault` is the reason why it cannot be read, or ""."""

    row: int
    rule: str = ""
    subjects: str = ""
    address: str = ""
    fix: str = ""
    key: str = ""
    decision: str = ""
    change_to: str = ""
    remark: str = ""
    by: str = ""
    until: str = ""
    plan_sha256: str = ""
    fault: str = ""

    @property
    def given(self) -> bool:
        """Return whether the reviewer wrote anything into the row."""
        return bool(self.decision or self.remark or self.change_to)


def from_file(path: Path) -> tuple[Answer, ...]:
    """Return all rows below the titles that are not empty; raise ReportError if the file has no findings to answer."""
    return tuple(
        Answer(row=each.row, **{title.replace("-", "_"): text for title, text in each.cells.items()}, fault=each.fault)
        for each in rows_from(path, FINDINGS)
    )


def holds(path: Path, table: Table) -> bool:
    """Return whether a file has the titles of a table; False for a file that cannot be read."""
    try:
        rows_from(path, table)
    except ReportError:
        return False
    return True


def rows_from(path: Path, table: Table) -> tuple[FilledRow, ...]:
    """Return the rows of a table that are not empty; raise ReportError if the file has no such table."""
    name = safe(path.name)
    try:
        mark = first_bytes(path, 4)
        if mark == _COMPOUND:
            what, do = "it is a workbook of an older kind, or is locked", "Save it as .xlsx without a password"
            raise FileError(Problem(what, do=do))
        if mark == ZIP:
            return _from_workbook(path, table)
        return _from_text(read_bounded(path, LIMIT), table)
    except FileError as error:
        raise ReportError(error.at(name)) from error


def _from_text(data: bytes, table: Table) -> tuple[FilledRow, ...]:
    """Return the rows of a CSV file; the delimiter is the one with which most titles are known."""
    lines = list(lines_of(text_of(io.BytesIO(data))))
    if lines and _SEPARATOR_LINE.fullmatch(lines[0]):
        lines[0] = "\n"
    head = lines[:_HEAD]

    def known(delimiter: str) -> int:
        counts = (sum(title in table.titles for title in _titles(one)) for one in records_of(head, delimiter))
        return max(counts, default=0)

    return tuple(_rows(records_of(lines, max(DELIMITERS, key=known)), table))


def _from_workbook(path: Path, table: Table) -> tuple[FilledRow, ...]:
    with opened(path, values=False) as book:
        return tuple(_rows(book.records(_sheet_of(book, table)), table))


def _sheet_of(book: Book, table: Table) -> str:
    """Return the name of the sheet that has the titles of the table; raise FileError if several have them."""
    found = [sheet for sheet in book.sheets if any(map(table.is_head, islice(book.records(sheet), _HEAD)))]
    if len(found) > 1:
        names = listed([safe(each, 40) for each in found])
        raise FileError(Problem(f"several sheets have findings: {names}", do="Keep only the sheet with the answers"))
    return found[0] if found else book.sheets[0]


def _titles(record: Record) -> list[str]:
    return [title_of(cell) for cell in record.cells[:_WIDEST] if len(cell) < _WIDEST]


def _rows(records: Iterator[Record], table: Table) -> Iterator[FilledRow]:
    """Yield the rows below the titles that belong to the table; raise FileError if the titles are missing or double."""
    header = next(filter(table.is_head, islice(records, _HEAD)), None)
    if header is None:
        what = f"it has no row of titles with {table.about} within its first {_HEAD} rows"
        raise FileError(Problem(what, do=f"Name a file that {table.made_by} made"))
    titles = [title_of(cell) for cell in header.cells[:_WIDEST]]
    twice = [title for title in table.titles if titles.count(title) > 1]
    if twice:
        raise FileError(Problem(f"it has the column {listed(twice)} twice", do="Keep the column with the answers"))
    columns = {title: titles.index(title) for title in table.titles if title in titles}
    other = titles.index(table.other) if {"decision", "granted", table.other} <= set(titles) else None
    for record in records:
        if record.row > MOST_ROWS:
            raise FileError(Problem(f"it has more than {MOST_ROWS:,} rows", do="Split the file"))
        if not record.empty and not (other is not None and _cell(record, other, table.other)):
            yield FilledRow(
                record.row, {title: _cell(record, at, title) for title, at in columns.items()}, record.fault
            )


def _cell(record: Record, column: int, title: str) -> str:
    text = record.cells[column] if column < len(record.cells) else ""
    if isinstance(text, Formula):
        what = f"row {record.row}: {title} is a formula, {text}, and formulas are not read as answers"
        raise FileError(Problem(what, do="Write the value itself"))
    return unguarded(text.strip()).strip()


LONGEST = 32_767  # characters of a workbook's cell
WORDS = 'Write "use the proposal", "live with it as it is", "change it to" with the value, "question" or "withdraw"'
_DAY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)", re.ASCII)
_BETWEEN = re.compile(r"[\s;=,]+")  # separates the addresses of a fix or a change
_SHORT_YEAR = re.compile(r"(\d{1,2}([./-])\d{1,2}\2)(\d\d)", re.ASCII)


class RowRefused(Exception):
    """Why a row cannot be applied."""

    def __init__(self, what: str, do: str = "") -> None:
        super().__init__(what)
        self.what, self.do = what, do


class FindingGone(RowRefused):
    """The finding that a row answers no longer exists.

    `now` are the addresses of findings in the plan with the same rule and subjects.
    """

    def __init__(self, what: str, do: str, now: Iterable[str] = ()) -> None:
        super().__init__(what, do)
        self.now = frozenset(now)


def decided_in(answer: Answer, finding: Finding) -> Decided:
    """Return the decision of a row; raise RowRefused if it has none, or if the decision has two meanings."""
    if answer.fault:
        raise RowRefused(answer.fault, "Close the quotes in this row")
    shown = safe(answer.decision, 60)
    try:
        decided = decision_from(answer.decision, finding)
    except Ambiguous:
        what = f"{shown!r} can mean the proposal or the present state"
        raise RowRefused(what, f'Write "{Decision.PROPOSAL}" or "{Decision.LIVE}"') from None
    except ValueError:
        raise RowRefused(f"{shown!r} is not a decision", WORDS) from None
    if decided is None:
        raise RowRefused("it has a remark and no decision", WORDS)
    if answer.change_to and decided.decision is not Decision.CHANGE:
        what = f'the column change-to has {safe(answer.change_to, 60)}, but the decision is "{decided.decision}"'
        raise RowRefused(what, f'Write "{Decision.CHANGE}" in the column decision, or clear change-to')
    return decided


class AnsweredFindings:
    """The findings of a check, by key, and by rule, subjects and address."""

    def __init__(self, checked: Checked) -> None:
        self._entries = checked.plan.accepted
        self.accepted: dict[str, AcceptedFinding] = {each.finding.key: each for each in checked.accepted}
        findings = [*checked.findings, *(each.finding for each in checked.accepted)]
        self._by_key = {finding.key: finding for finding in findings}
        self._by_words: dict[tuple[str, str, str], list[Finding]] = {}
        for finding in self._by_key.values():
            rule, _, subjects, address = map(unguarded, cells_of(finding)[:4])
            self._by_words.setdefault((rule, subjects, address), []).append(finding)
        self._subjects = {subjects for _, subjects, _ in self._by_words}
        self._addresses: dict[tuple[str, str], list[str]] = {}
        for rule, subjects, address in self._by_words:
            self._addresses.setdefault((rule, subjects), []).append(address)

    def holds(self, answer: Answer) -> bool:
        """Return whether the finding of a row still exists."""
        try:
            self.meant(answer)
        except RowRefused:
            return False
        return True

    def meant_or_done(self, answer: Answer) -> Finding | None:
        """Return the finding that a row answers; None if it no longer exists because its change was carried out.

        If the finding has another address in the plan, the change was carried out only if the row asks for that
        address.
        """
        try:
            return self.meant(answer)
        except FindingGone as gone:
            changing = answer.rule in RULE_NAMED and not answer.fault
            try:
                decided = decision_from(answer.decision) if changing else None
            except ValueError:
                decided = None
            if decided is None or decided.decision not in (Decision.PROPOSAL, Decision.CHANGE, Decision.WITHDRAW):
                raise
            asked = _BETWEEN.split(f"{answer.fix};{answer.change_to};{decided.value};{answer.remark}")
            if decided.decision is Decision.WITHDRAW or not gone.now or not gone.now.isdisjoint(asked):
                return None
            raise

    def meant(self, answer: Answer) -> Finding:
        """Return the finding that a row answers."""
        if answer.key:
            return self._keyed(answer)
        found = self._by_words.get((answer.rule, answer.subjects, answer.address), [])
        if not found:
            raise self._gone(answer, f"this plan no longer has a finding {_named(answer)}")
        if len(found) > 1:
            raise RowRefused(f"it fits {len(found)} findings", "Keep the column key, which distinguishes them")
        return found[0]

    def _gone(self, answer: Answer, what: str) -> FindingGone:
        """Return the error for a row without a finding; it names the present address of the finding, if any."""
        now = [each for each in self._addresses.get((answer.rule, answer.subjects), ()) if each != answer.address]
        now = [each for each in now if each and answer.address]
        if now:
            what = f"{_named(answer)} was answered for {safe(answer.address, 60)}, but has {listed(now)} in this plan"
        return FindingGone(what, "Write the report again, and answer its findings", now)

    def _keyed(self, answer: Answer) -> Finding:
        """Return the finding with the key of a row; raise RowRefused if the row names another finding."""
        finding = self._by_key.get(answer.key)
        if finding is None:
            what = f"this plan no longer has a finding {_named(answer)} with key {safe(answer.key, 60)}"
            raise self._gone(answer, what)
        _, _, subjects, _ = map(unguarded, cells_of(finding)[:4])
        other_rule = answer.rule not in ("", finding.rule)
        if other_rule or (answer.subjects != subjects and answer.subjects in self._subjects):
            what = f"its key belongs to {finding.rule} of {safe(', '.join(finding.subjects), 120)}"
            raise RowRefused(f"{what}, but the row names {_named(answer)}", "Sort whole rows, not single columns")
        return finding

    def entries_for(self, finding: Finding) -> list[Accepted]:
        """Return the plan's accepted entries that accept a finding, or that the finding concerns."""
        own = [entry for entry in self._entries if str(entry.position) == finding.where and finding.rule in ON_ENTRIES]
        return own or [entry for entry in self._entries if matches(entry, finding)]

    def demand_open(self, finding: Finding, decision: Decision) -> None:
        """Raise RowRefused if the plan has the finding as accepted."""
        accepted = self.accepted.get(finding.key)
        if accepted is not None:
            what = f'"{decision}": the plan has this finding as accepted by {safe(accepted.by, 80)}'
            raise RowRefused(what, f'To end the acceptance, write "{Decision.WITHDRAW}" first')


def _named(answer: Answer) -> str:
    return f"{safe(answer.rule, 60) or 'of an unnamed rule'} of {safe(answer.subjects, 120) or 'an unnamed subject'}"


def _two_days(text: str) -> tuple[date, date] | None:
    """Return both readings of a day such as 3/4/2027, whose order of day and month is not known."""
    found = _DAY.fullmatch(text)
    if found is None:
        return None
    first, second, year = int(found[1]), int(found[3]), int(found[4])
    if not (1 <= first <= 12 and 1 <= second <= 12):
        return None
    year += 2000 if year < 100 else 0
    return date(year, second, first), date(year, first, second)


def plain(text: str, title: str) -> str:
    """Return a text on one line with control characters escaped."""
    if len(text) > LONGEST:
        raise RowRefused(f"{title} has {len(text):,} characters; at most {LONGEST:,} are read", "Shorten it")
    return safe(" ".join(text.split()), LONGEST)


def until_in(text: str, today: date) -> date | None:
    """Return the last day of an acceptance, read in every form that spreadsheet programs write."""
    short = _SHORT_YEAR.fullmatch(text)
    try:
        until = date_from(f"{short[1]}20{short[3]}" if short else text)
    except ValueError as error:
        if two := _two_days(text):
            raise RowRefused(
                f"until {safe(text, 60)} can mean two dates", f"Write it as {two[0]} or as {two[1]}"
            ) from None
        raise RowRefused(f"until: {error}", "Write it as 2026-12-31") from None
    if until is not None and until < today:
        raise RowRefused(f"until {until} is in the past", "Write a later day, or leave the cell empty")
    return until
