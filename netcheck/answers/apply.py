"""Decides what each answered row means: an address for the plan, an accepted finding, a remark, or a flaw.

Pure functions of the check, the rows and the date. A conflict is never accepted without a remark.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from netcheck.addr import Address
from netcheck.answers.read import Answer
from netcheck.answers.table import NEVER_ACCEPTED, ON_ENTRIES, Ambiguous, Decided, Decision, cells_of, decision_from
from netcheck.plan.model import Accepted, Plan, Position
from netcheck.rules.accept import matches
from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding, Severity
from netcheck.rules.rule import Readdress
from netcheck.survey.readers.values import date_from
from netcheck.tables.delimited import unguarded
from netcheck.text import listed, safe

LONGEST = 32_767  # characters of a workbook's cell
NO_REMARK = "accepted without a remark"
WORDS = 'Write "use the proposal", "live with it as it is", "change it to" with the value, or "question"'
_DAY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)", re.ASCII)
_SHORT_YEAR = re.compile(r"(\d{1,2}([./-])\d{1,2}\2)(\d\d)", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerRemark:
    """A change that is made by hand, or a question. `value` is what follows `change it to`."""

    row: int
    finding: Finding
    remark: str
    by: str
    value: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Addresses that go into the plan, by subject: the proposal as the reviewer saw it, or the address given."""

    row: int
    finding: Finding
    decision: Decision
    addresses: tuple[tuple[str, Address], ...]
    by: str


@dataclass(frozen=True, slots=True)
class Flaw:
    """A row that cannot be applied: why, and what to do."""

    row: int
    what: str
    do: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """The meaning of a file of answers.

    `accepted` are entries that the plan needs, `already` those that it has. `done` are the rows whose change the plan
    holds already. `unanswered` counts the open findings without a decision, whether their row is blank or deleted;
    `gone` the rows without a decision whose finding no longer exists.
    """

    accepted: tuple[Accepted, ...]
    already: tuple[Accepted, ...]
    moves: tuple[Move, ...]
    changes: tuple[AnswerRemark, ...]
    questions: tuple[AnswerRemark, ...]
    done: tuple[int, ...]
    flaws: tuple[Flaw, ...]
    unanswered: int
    gone: int

    @property
    def addresses(self) -> dict[str, Address]:
        """Return the addresses that go into the plan, by subject."""
        return {subject: address for move in self.moves for subject, address in move.addresses}


class _Refused(Exception):
    """Why a row cannot be applied."""

    def __init__(self, what: str, do: str = "") -> None:
        super().__init__(what)
        self.what, self.do = what, do


class _Gone(_Refused):
    """The finding that a row answers no longer exists."""


def judged(checked: Checked, answers: Sequence[Answer], today: date, by: str = "") -> Outcome:
    """Return the meaning of every row; *by* is who decided where a row does not say it."""
    book = _Findings(checked)
    accepted: dict[str, Accepted] = {}
    moves: list[Move] = []
    remarks: dict[Decision, list[AnswerRemark]] = {Decision.CHANGE: [], Decision.QUESTION: []}
    flaws: list[Flaw] = []
    done: list[int] = []
    answered: set[str] = set()
    gone = 0
    contradicted = _contradicted(book, answers)
    for answer in answers:
        try:
            if not (answer.decision or answer.remark or answer.change_to or answer.fault):
                gone += not book.holds(answer)
                continue
            finding = book.meant_or_done(answer)
            if finding is None:
                done.append(answer.row)
                continue
            answered.add(finding.key)
            decided = _decided(answer, finding)
            if finding.key in contradicted:
                rows = " and ".join(map(str, contradicted[finding.key]))
                raise _Refused(f"rows {rows} answer the same finding differently", "Leave one of them")
            match decided.decision:
                case Decision.LIVE:
                    accepted[finding.key] = _entry(answer, finding, book.accepted.get(finding.key), today, by)
                case Decision.QUESTION:
                    book.demand_open(finding, decided.decision)
                    remarks[Decision.QUESTION].append(_remark(answer, finding, by, "a question"))
                case Decision.PROPOSAL | Decision.CHANGE:
                    book.demand_open(finding, decided.decision)
                    change = _change(checked.plan, answer, finding, decided, by)
                    moves.append(change) if isinstance(change, Move) else remarks[Decision.CHANGE].append(change)
        except _Refused as refused:
            flaws.append(Flaw(answer.row, refused.what, refused.do))
    new = tuple(entry for key, entry in accepted.items() if not _in_force(entry, book.accepted.get(key)))
    already = tuple(entry for key, entry in accepted.items() if _in_force(entry, book.accepted.get(key)))
    unanswered = sum(finding.key not in answered for finding in checked.findings)
    changes, questions = (tuple(remarks[each]) for each in (Decision.CHANGE, Decision.QUESTION))
    return Outcome(
        accepted=new,
        already=already,
        moves=tuple(moves),
        changes=changes,
        questions=questions,
        done=tuple(done),
        flaws=tuple(flaws),
        unanswered=unanswered,
        gone=gone,
    )


def _in_force(entry: Accepted, accepted: AcceptedFinding | None) -> bool:
    if accepted is None:
        return False
    return (entry.by, entry.because, entry.until) == (accepted.by, accepted.because, accepted.until)


def _contradicted(book: _Findings, answers: Iterable[Answer]) -> dict[str, list[int]]:
    """Return the keys of findings that rows answer differently, with those rows."""
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
        said = answer.decision.casefold(), answer.change_to, answer.remark, answer.by, answer.until
        words.setdefault(key, set()).add(said)
    return {key: rows[key] for key, several in words.items() if len(several) > 1}


def _decided(answer: Answer, finding: Finding) -> Decided:
    if answer.fault:
        raise _Refused(answer.fault, "Close them in this row")
    shown = safe(answer.decision, 60)
    try:
        decided = decision_from(answer.decision, finding)
    except Ambiguous:
        what = f"{shown!r} can mean the proposal or the present state"
        raise _Refused(what, f'Write "{Decision.PROPOSAL}" or "{Decision.LIVE}"') from None
    except ValueError:
        raise _Refused(f"{shown!r} is not a decision", WORDS) from None
    if decided is None:
        raise _Refused("it has a remark and no decision", WORDS)
    if answer.change_to and decided.decision is not Decision.CHANGE:
        what = f'the column change-to holds {safe(answer.change_to, 60)}, and the decision is "{decided.decision}"'
        raise _Refused(what, f'Write "{Decision.CHANGE}" in the column decision, or clear change-to')
    return decided


class _Findings:
    """The findings of a check, by key and by the words of their rows."""

    def __init__(self, checked: Checked) -> None:
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
        except _Refused:
            return False
        return True

    def meant_or_done(self, answer: Answer) -> Finding | None:
        """Return the finding that a row answers, or None where it is gone because its change was carried out."""
        try:
            return self.meant(answer)
        except _Gone:
            changing = answer.rule in RULE_NAMED and not answer.fault
            try:
                decided = decision_from(answer.decision) if changing else None
            except ValueError:
                decided = None
            if decided is not None and decided.decision in (Decision.PROPOSAL, Decision.CHANGE):
                return None
            raise

    def meant(self, answer: Answer) -> Finding:
        """Return the finding that a row answers."""
        if answer.key:
            return self._keyed(answer)
        found = self._by_words.get((answer.rule, answer.subjects, answer.address), [])
        if not found:
            raise _Gone(f"no finding {_named(answer)} is left in this plan", "Make the report again")
        if len(found) > 1:
            raise _Refused(f"it fits {len(found)} findings", "Keep the column key, which tells them apart")
        return found[0]

    def _keyed(self, answer: Answer) -> Finding:
        finding = self._by_key.get(answer.key)
        if finding is None:
            what = f"no finding {_named(answer)} with key {safe(answer.key, 60)} is left in this plan"
            raise _Gone(what, "Make the report again, and answer what it still contains")
        _, _, subjects, _ = map(unguarded, cells_of(finding)[:4])
        other_rule = answer.rule not in ("", finding.rule)
        if other_rule or (answer.subjects != subjects and answer.subjects in self._subjects):
            what = f"its key is that of {finding.rule} of {safe(', '.join(finding.subjects), 120)}"
            raise _Refused(f"{what}, and the row names {_named(answer)}", "Sort whole rows, not single columns")
        return finding

    def demand_open(self, finding: Finding, decision: Decision) -> None:
        """Raise where the plan holds the finding as accepted."""
        accepted = self.accepted.get(finding.key)
        if accepted is not None:
            what = f'"{decision}": the plan holds it as accepted by {safe(accepted.by, 80)}'
            raise _Refused(what, "Remove the accepted entry from the plan, if that is meant")


def _named(answer: Answer) -> str:
    return f"{safe(answer.rule, 60) or 'of an unnamed rule'} of {safe(answer.subjects, 120) or 'an unnamed subject'}"


def _entry(answer: Answer, finding: Finding, accepted: AcceptedFinding | None, today: date, by: str) -> Accepted:
    """Return the accepted entry for a finding; values in force stay where the row has none."""
    remark, who = _plain(answer.remark, "remark"), _plain(answer.by or by, "by")
    until = _until(answer.until, today) or (accepted.until if accepted else None)
    if finding.rule in ON_ENTRIES:
        raise _Refused(f"{finding.rule} cannot be accepted", "Correct or remove the accepted entry that it names")
    if finding.rule in NEVER_ACCEPTED:
        what = f"no site can live with {finding.rule}: the value cannot be used as it is"
        raise _Refused(what, f'Choose "{Decision.PROPOSAL}", "{Decision.CHANGE}" with the value, or "question"')
    if finding.severity is Severity.CONFLICT and not any(map(str.isalnum, answer.remark)):
        what = f"a conflict, {finding.rule}, is never accepted without a remark"
        raise _Refused(what, "Let the reviewer write in the column remark why the site can live with it")
    if not (who or accepted):
        raise _Refused("nobody is named in the column by", "Write who decided there, or give --by NAME for all rows")
    entry = Accepted(
        rule=finding.rule,
        subject=finding.subjects[0],
        by=who or (accepted.by if accepted else ""),
        because=remark or (accepted.because if accepted else NO_REMARK),
        position=Position("", f"row {answer.row}"),
        until=until,
        address=finding.address or "",
        other=finding.other,
        decided=today,
    )
    if not matches(entry, finding):
        raise _Refused(f"an accepted entry cannot name {safe(finding.other, 120)}", "Give it a simpler name")
    return entry


def _remark(answer: Answer, finding: Finding, by: str, what: str, value: str = "") -> AnswerRemark:
    remark = _plain(answer.remark, "remark")
    if not any(map(str.isalnum, remark + value)):
        where = "the column remark" if what == "a question" else "the column change-to, or how in the column remark"
        raise _Refused(f"{what} needs words", f"Write it in {where}")
    return AnswerRemark(row=answer.row, finding=finding, remark=remark, by=_plain(answer.by or by, "by"), value=value)


def _change(plan: Plan, answer: Answer, finding: Finding, decided: Decided, by: str) -> Move | AnswerRemark:
    """Return the addresses that go into the plan, or a remark where the change must be made by hand."""
    value = _plain(answer.change_to or decided.value or _only_an_address(answer.remark), "change-to")
    if decided.decision is Decision.PROPOSAL:
        if finding.fix is None:
            raise _Refused("there is no proposal for this finding", f'Write "{Decision.CHANGE}" with the value')
        pairs = dict(finding.fix.addresses)
        pairs |= _pairs(plan, answer.fix, tuple(pairs)) if answer.fix else {}
    else:
        movers = _movers(plan, finding)
        if not movers or not value:
            return _remark(answer, finding, by, f'"{Decision.CHANGE}"', value)
        pairs = _pairs(plan, value, movers)
    who = _plain(answer.by or by, "by")
    return Move(row=answer.row, finding=finding, decision=decided.decision, addresses=tuple(pairs.items()), by=who)


def _only_an_address(remark: str) -> str:
    """Return a remark that consists of an address alone, else an empty text."""
    try:
        Address.from_text(remark.strip())
    except ValueError:
        return ""
    return remark


def _movers(plan: Plan, finding: Finding) -> tuple[str, ...]:
    """Return the interfaces whose address the finding is about."""
    interfaces = [subject for subject in finding.subjects if subject in plan.interface_named]
    if RULE_NAMED[finding.rule].readdress is not Readdress.NONE or finding.rule == "unplaced":
        fixed = [subject for subject, _ in finding.fix.addresses] if finding.fix else interfaces
        return tuple(fixed or interfaces)
    unread = [plan.interface_named[subject].address for subject in interfaces]
    if finding.rule == "unreadable-value" and all(cell is not None and cell.value is None for cell in unread):
        return tuple(interfaces)
    return ()


def _pairs(plan: Plan, text: str, movers: tuple[str, ...]) -> dict[str, Address]:
    """Read `10.62.30.80`, or `subject=address; subject=address` where several interfaces could be meant."""
    pairs: dict[str, Address] = {}
    for part in filter(None, (one.strip() for one in text.split(";"))):
        subject, equals, written = part.rpartition("=")
        subject = subject.strip() if equals else movers[0]
        if not equals and len(movers) > 1:
            names = listed([safe(one, 80) for one in movers], joint="or")
            raise _Refused(f"{safe(part, 60)} may be meant for {names}", "Write INTERFACE=ADDRESS")
        if subject not in movers:
            names = listed([safe(one, 80) for one in movers], joint="or")
            raise _Refused(f"this finding does not concern {safe(subject, 80)!r}", f"Name {names}")
        pairs[subject] = _address(plan, subject, written.strip())
    return pairs


def _address(plan: Plan, subject: str, text: str) -> Address:
    try:
        address = Address.from_text(text)
    except ValueError as error:
        raise _Refused(f"change-to: {error}", "Write an address, such as 192.0.2.10") from None
    prefix = plan.subnet_of(plan.interface_named[subject]).prefix.value
    if prefix is not None and prefix.family != address.family:
        raise _Refused(f"{address} is not an IPv{prefix.family} address, as subnet of {subject} needs")
    return address


def confirmed(outcome: Outcome, checked_with: Checked) -> Outcome:
    """Return the outcome without the moves whose new address is in conflict; these become flaws.

    *checked_with* is the check of the plan with all new addresses, see `space.addressing.plan_with`.
    """
    addresses = outcome.addresses
    problems: dict[str, Finding] = {}
    for finding in checked_with.findings:
        readdressed = RULE_NAMED[finding.rule].readdress is not Readdress.NONE
        if finding.severity is Severity.CONFLICT and (readdressed or finding.rule in NEVER_ACCEPTED):
            for subject in finding.subjects:
                if subject in addresses and finding.address in (None, str(addresses[subject])):
                    problems.setdefault(subject, finding)
    sound, flaws = [], list(outcome.flaws)
    for move in outcome.moves:
        bad = [(address, problems[subject]) for subject, address in move.addresses if subject in problems]
        if bad:
            address, finding = bad[0]
            what = f"{address} would be in conflict too: {finding.rule}: {finding.message}"
            flaws.append(Flaw(move.row, what, "Choose another address"))
        else:
            sound.append(move)
    flaws.sort(key=lambda flaw: flaw.row)
    return replace(outcome, moves=tuple(sound), flaws=tuple(flaws))


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


def _plain(text: str, title: str) -> str:
    """Return a text on one line with control characters escaped."""
    if len(text) > LONGEST:
        raise _Refused(f"{title} has {len(text):,} characters; at most {LONGEST:,} are read", "Shorten it")
    return safe(" ".join(text.split()), LONGEST)


def _until(text: str, today: date) -> date | None:
    """Return the last day of an acceptance, read in the forms that spreadsheet programs write."""
    short = _SHORT_YEAR.fullmatch(text)
    try:
        until = date_from(f"{short[1]}20{short[3]}" if short else text)
    except ValueError as error:
        if two := _two_days(text):
            raise _Refused(f"until {safe(text, 60)} can be two days", f"Write it as {two[0]} or as {two[1]}") from None
        raise _Refused(f"until: {error}", "Write it as 2026-12-31") from None
    if until is not None and until < today:
        raise _Refused(f"until {until} is past already", "Write a later day, or leave it empty")
    return until
