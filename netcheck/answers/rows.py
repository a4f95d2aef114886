"""Finds the finding that an answered row means, and reads its values; a row that cannot be used is refused with a
reason."""

from __future__ import annotations

import re
from datetime import date

from netcheck.answers.read import Answer
from netcheck.answers.table import ON_ENTRIES, Ambiguous, Decided, Decision, cells_of, decision_from
from netcheck.plan.model import Accepted
from netcheck.rules.accept import matches
from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding
from netcheck.survey.readers.values import date_from
from netcheck.tables.delimited import unguarded
from netcheck.text import safe

LONGEST = 32_767  # characters of a workbook's cell
WORDS = 'Write "use the proposal", "live with it as it is", "change it to" with the value, "question" or "withdraw"'
_DAY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)", re.ASCII)
_SHORT_YEAR = re.compile(r"(\d{1,2}([./-])\d{1,2}\2)(\d\d)", re.ASCII)


class RowRefused(Exception):
    """Why a row cannot be applied."""

    def __init__(self, what: str, do: str = "") -> None:
        super().__init__(what)
        self.what, self.do = what, do


class FindingGone(RowRefused):
    """The finding that a row answers no longer exists."""


def decided_in(answer: Answer, finding: Finding) -> Decided:
    """Return the decision of a row; RowRefused where it has none, or one that can mean two things."""
    if answer.fault:
        raise RowRefused(answer.fault, "Close them in this row")
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
        what = f'the column change-to holds {safe(answer.change_to, 60)}, and the decision is "{decided.decision}"'
        raise RowRefused(what, f'Write "{Decision.CHANGE}" in the column decision, or clear change-to')
    return decided


class AnsweredFindings:
    """The findings of a check, by key and by the words of their rows."""

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

    def holds(self, answer: Answer) -> bool:
        """Return whether the finding of a row still exists."""
        try:
            self.meant(answer)
        except RowRefused:
            return False
        return True

    def meant_or_done(self, answer: Answer) -> Finding | None:
        """Return the finding that a row answers, or None where it is gone because its change was carried out."""
        try:
            return self.meant(answer)
        except FindingGone:
            changing = answer.rule in RULE_NAMED and not answer.fault
            try:
                decided = decision_from(answer.decision) if changing else None
            except ValueError:
                decided = None
            if decided is not None and decided.decision in (Decision.PROPOSAL, Decision.CHANGE, Decision.WITHDRAW):
                return None
            raise

    def meant(self, answer: Answer) -> Finding:
        """Return the finding that a row answers."""
        if answer.key:
            return self._keyed(answer)
        found = self._by_words.get((answer.rule, answer.subjects, answer.address), [])
        if not found:
            raise FindingGone(f"no finding {_named(answer)} is left in this plan", "Make the report again")
        if len(found) > 1:
            raise RowRefused(f"it fits {len(found)} findings", "Keep the column key, which tells them apart")
        return found[0]

    def _keyed(self, answer: Answer) -> Finding:
        finding = self._by_key.get(answer.key)
        if finding is None:
            what = f"no finding {_named(answer)} with key {safe(answer.key, 60)} is left in this plan"
            raise FindingGone(what, "Make the report again, and answer what it still contains")
        _, _, subjects, _ = map(unguarded, cells_of(finding)[:4])
        other_rule = answer.rule not in ("", finding.rule)
        if other_rule or (answer.subjects != subjects and answer.subjects in self._subjects):
            what = f"its key is that of {finding.rule} of {safe(', '.join(finding.subjects), 120)}"
            raise RowRefused(f"{what}, and the row names {_named(answer)}", "Sort whole rows, not single columns")
        return finding

    def entries_for(self, finding: Finding) -> list[Accepted]:
        """Return the plan's accepted entries that accept a finding, or that it is about."""
        own = [entry for entry in self._entries if str(entry.position) == finding.where and finding.rule in ON_ENTRIES]
        return own or [entry for entry in self._entries if matches(entry, finding)]

    def demand_open(self, finding: Finding, decision: Decision) -> None:
        """Raise where the plan holds the finding as accepted."""
        accepted = self.accepted.get(finding.key)
        if accepted is not None:
            what = f'"{decision}": the plan holds it as accepted by {safe(accepted.by, 80)}'
            raise RowRefused(what, f'Write "{Decision.WITHDRAW}" first, if the acceptance is to end')


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
    """Return the last day of an acceptance, read in the forms that spreadsheet programs write."""
    short = _SHORT_YEAR.fullmatch(text)
    try:
        until = date_from(f"{short[1]}20{short[3]}" if short else text)
    except ValueError as error:
        if two := _two_days(text):
            raise RowRefused(
                f"until {safe(text, 60)} can be two days", f"Write it as {two[0]} or as {two[1]}"
            ) from None
        raise RowRefused(f"until: {error}", "Write it as 2026-12-31") from None
    if until is not None and until < today:
        raise RowRefused(f"until {until} is past already", "Write a later day, or leave it empty")
    return until
