"""Decides what each answered row comes to: a finding accepted, a change or a question, or something to mend.

A pure function of the check, the rows and the day. A conflict is never accepted without a remark.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from netcheck.answers.decisions import Decision, decision_from
from netcheck.answers.read import Answer
from netcheck.answers.table import cells_of
from netcheck.plan.model import Accepted, Position
from netcheck.rules.accept import matches
from netcheck.rules.catalogue.unused_acceptance import ACCEPTED_UNUSED
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding, Severity
from netcheck.survey.readers.values import date_from
from netcheck.tables.formula_guard import unguarded
from netcheck.text import safe

LONGEST = 32_767  # characters that a workbook's cell holds
NO_REMARK = "agreed without a remark"
_SHORT_YEAR = re.compile(r"(\d{1,2}([./-])\d{1,2}\2)(\d\d)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Said:
    """A row whose finding was found, and what the reviewer says of it."""

    row: int
    finding: Finding
    remark: str
    by: str


@dataclass(frozen=True, slots=True)
class Flaw:
    """A row that cannot be taken as it is: why, and what to do."""

    row: int
    what: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a file of answers comes to. `accepted` are entries that the plan needs, `already` those that it has."""

    accepted: tuple[Accepted, ...]
    already: tuple[Accepted, ...]
    changes: tuple[Said, ...]
    questions: tuple[Said, ...]
    flaws: tuple[Flaw, ...]
    unanswered: int
    gone: int  # rows without an answer whose finding is no longer there


class _Refused(Exception):
    """Why one row cannot be taken."""

    def __init__(self, what: str, do: str = "") -> None:
        super().__init__(what)
        self.what, self.do = what, do


def judged(checked: Checked, answers: Sequence[Answer], today: date, by: str = "") -> Outcome:
    """Judge every row; `by` is who decided where a row does not say it."""
    book = _Findings(checked)
    accepted: dict[str, Accepted] = {}
    said: dict[Decision, list[Said]] = {Decision.CHANGE: [], Decision.QUESTION: []}
    flaws: list[Flaw] = []
    unanswered = gone = 0
    contradicted = _contradicted(book, answers)
    for answer in answers:
        try:
            if not (answer.decision or answer.remark or answer.fault):
                unanswered, gone = _count(book, answer, unanswered, gone)
                continue
            decision, finding = _decision(answer), book.meant(answer)
            if finding.key in contradicted:
                rows = " and ".join(map(str, contradicted[finding.key]))
                raise _Refused(f"rows {rows} answer the same finding differently", "Leave one of them")
            if decision is Decision.AGREED:
                accepted[finding.key] = _entry(answer, finding, book.agreed.get(finding.key), today, by)
            else:
                book.demand_open(finding, decision)
                said[decision].append(Said(answer.row, finding, answer.remark, answer.by or by))
        except _Refused as refused:
            flaws.append(Flaw(answer.row, refused.what, refused.do))
    new = tuple(entry for key, entry in accepted.items() if not _in_force(entry, book.agreed.get(key)))
    already = tuple(entry for key, entry in accepted.items() if _in_force(entry, book.agreed.get(key)))
    changes, questions = (tuple(said[each]) for each in (Decision.CHANGE, Decision.QUESTION))
    return Outcome(new, already, changes, questions, tuple(flaws), unanswered, gone)


def _in_force(entry: Accepted, agreed: AcceptedFinding | None) -> bool:
    return agreed is not None and (entry.by, entry.because, entry.until) == (agreed.by, agreed.because, agreed.until)


def _count(book: _Findings, answer: Answer, unanswered: int, gone: int) -> tuple[int, int]:
    try:
        book.meant(answer)
    except _Refused:
        return unanswered, gone + 1
    return unanswered + 1, gone


def _contradicted(book: _Findings, answers: Iterable[Answer]) -> dict[str, list[int]]:
    """The keys of findings that rows answer differently, with those rows."""
    rows: dict[str, list[int]] = {}
    words: dict[str, set[tuple[str, ...]]] = {}
    for answer in answers:
        if not answer.decision:
            continue
        try:
            key = book.meant(answer).key
        except _Refused:
            continue
        rows.setdefault(key, []).append(answer.row)
        words.setdefault(key, set()).add((answer.decision.casefold(), answer.remark, answer.by, answer.until))
    return {key: rows[key] for key, several in words.items() if len(several) > 1}


def _decision(answer: Answer) -> Decision:
    words = "Write agreed, change or question in the column decision"
    if answer.fault:
        raise _Refused(answer.fault, "Close them in this row")
    try:
        decision = decision_from(answer.decision)
    except ValueError:
        raise _Refused(f"{safe(answer.decision, 60)!r} is no decision", words) from None
    if decision is None:
        raise _Refused("it has a remark and no decision", words)
    return decision


class _Findings:
    """The findings of a check, by their keys and by what their rows say."""

    def __init__(self, checked: Checked) -> None:
        self.agreed: dict[str, AcceptedFinding] = {each.finding.key: each for each in checked.accepted}
        findings = [*checked.findings, *(each.finding for each in checked.accepted)]
        self._by_key = {finding.key: finding for finding in findings}
        self._by_words: dict[tuple[str, str, str], list[Finding]] = {}
        for finding in self._by_key.values():
            rule, _, subjects, address = map(unguarded, cells_of(finding)[:4])
            self._by_words.setdefault((rule, subjects, address), []).append(finding)
        self._subjects = {subjects for _, subjects, _ in self._by_words}

    def meant(self, answer: Answer) -> Finding:
        """The finding that a row answers."""
        if answer.key:
            return self._keyed(answer)
        found = self._by_words.get((answer.rule, answer.subjects, answer.address), [])
        if not found:
            raise _Refused(f"no finding {_named(answer)} is left in this plan", "Make the report anew")
        if len(found) > 1:
            raise _Refused(f"it fits {len(found)} findings", "Keep the column key, by which they are told apart")
        return found[0]

    def _keyed(self, answer: Answer) -> Finding:
        finding = self._by_key.get(answer.key)
        if finding is None:
            what = f"no finding {_named(answer)} with key {safe(answer.key, 60)} is left in this plan"
            raise _Refused(what, "Make the report anew, and answer what it still says")
        _, _, subjects, _ = map(unguarded, cells_of(finding)[:4])
        other_rule = answer.rule not in ("", finding.rule)
        if other_rule or (answer.subjects != subjects and answer.subjects in self._subjects):
            what = f"its key is that of {finding.rule} of {safe(', '.join(finding.subjects), 120)}"
            raise _Refused(f"{what}, and the row says {_named(answer)}", "Sort whole rows, not single columns")
        return finding

    def demand_open(self, finding: Finding, decision: Decision) -> None:
        """Refuse an answer that would take back what the plan holds as accepted."""
        agreed = self.agreed.get(finding.key)
        if agreed is not None:
            what = f"{decision}: and the plan holds it as accepted by {safe(agreed.by, 80)}"
            raise _Refused(what, "Take the accepted entry out of the plan, if that is meant")


def _named(answer: Answer) -> str:
    return f"{safe(answer.rule, 60) or 'of an unnamed rule'} of {safe(answer.subjects, 120) or 'an unnamed subject'}"


def _entry(answer: Answer, finding: Finding, agreed: AcceptedFinding | None, today: date, by: str) -> Accepted:
    """The accepted entry for an agreed finding; what an agreement in force says and the row does not, stays."""
    remark, who = _plain(answer.remark, "remark"), _plain(answer.by or by, "by")
    until = _until(answer.until, today) or (agreed.until if agreed else None)
    if finding.severity is Severity.CONFLICT and not any(map(str.isalnum, answer.remark)):
        what = f"a conflict, {finding.rule}, is never accepted without a remark"
        raise _Refused(what, "Let the reviewer write in the column remark why the site can live with it")
    if finding.rule == ACCEPTED_UNUSED.slug:
        raise _Refused(f"{finding.rule} cannot be accepted", "Take the accepted entry that it names out of the plan")
    if not (who or agreed):
        raise _Refused("nobody is named in the column by", "Write who decided there, or give --by NAME for all rows")
    entry = Accepted(
        finding.rule,
        finding.subjects[0],
        who or (agreed.by if agreed else ""),
        remark or (agreed.because if agreed else NO_REMARK),
        Position("", f"row {answer.row}"),
        until,
        finding.address or "",
        finding.other,
    )
    if not matches(entry, finding):
        raise _Refused(f"an accepted entry cannot name {safe(finding.other, 120)}", "Give it a simpler name")
    return entry


def _plain(text: str, title: str) -> str:
    """A text on one line; what a terminal or an editor could be misled by becomes visible."""
    if len(text) > LONGEST:
        raise _Refused(f"{title} has {len(text):,} characters; at most {LONGEST:,} are read", "Shorten it")
    return safe(" ".join(text.split()), LONGEST)


def _until(text: str, today: date) -> date | None:
    """The last day of an agreement, in the forms that spreadsheet programs make of a day."""
    short = _SHORT_YEAR.fullmatch(text)
    try:
        until = date_from(f"{short[1]}20{short[3]}" if short else text)
    except ValueError as error:
        raise _Refused(f"until: {error}", "Write it as 2026-12-31") from None
    if until is not None and until < today:
        raise _Refused(f"until {until} is past already", "Write a later day, or leave it empty")
    return until
