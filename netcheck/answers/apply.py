"""Decides what each answered row changes: an address, an accepted or withdrawn entry, a remark, or nothing (a flaw).

Pure functions of the check, the rows and the date. A conflict is never accepted without a remark.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from netcheck.addr import Address
from netcheck.answers.read import Answer, AnsweredFindings, RowRefused, decided_in, plain, until_in
from netcheck.answers.table import NEVER_ACCEPTED, ON_ENTRIES, Decided, Decision, choices_of
from netcheck.plan.model import Accepted, Plan, Position, SiteRemark
from netcheck.rules.accept import matches
from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding, Severity
from netcheck.rules.rule import Readdress
from netcheck.text import listed, safe

NO_REMARK = "accepted without a remark"


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerRemark:
    """A change that a person must make, or a question. `value` is the text after `change it to`."""

    row: int
    finding: Finding
    remark: str
    by: str
    value: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawal:
    """An acceptance that ends: its entries leave the plan. `reopened` counts other findings that they accepted."""

    row: int
    finding: Finding
    entries: tuple[Accepted, ...]
    by: str
    reopened: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Addresses that go into the plan, by subject: the proposal that the reviewer saw, or another address."""

    row: int
    finding: Finding
    decision: Decision
    addresses: tuple[tuple[str, Address], ...]
    by: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Flaw:
    """A row that cannot be applied, the reason, and what to do."""

    row: int
    what: str
    do: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """The meaning of a file of answers.

    `accepted` are entries to add to the plan, `already` entries that the plan has, `withdrawn` entries to remove.
    Changes, questions and moves with a remark go into the plan too, see `remarks_of`. `done` are the rows whose change
    the plan already has. `unanswered` counts the open findings without a decision: their row is blank or was deleted.
    `gone` counts the rows without a decision whose finding no longer exists.
    """

    accepted: tuple[Accepted, ...]
    already: tuple[Accepted, ...]
    withdrawn: tuple[Withdrawal, ...]
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


def judged(checked: Checked, answers: Sequence[Answer], today: date, by: str = "") -> Outcome:
    """Return the outcome of all rows; *by* names who decided if a row does not name anybody."""
    book = AnsweredFindings(checked)
    accepted: dict[str, Accepted] = {}
    withdrawn: list[Withdrawal] = []
    moves: list[Move] = []
    remarks: dict[Decision, list[AnswerRemark]] = {Decision.CHANGE: [], Decision.QUESTION: []}
    flaws: list[Flaw] = []
    done: list[int] = []
    answered: set[str] = set()
    gone = 0
    contradicted = _contradicted(book, answers)
    for answer in answers:
        try:
            if not (answer.given or answer.fault):
                gone += not book.holds(answer)
                continue
            finding = book.meant_or_done(answer)
            if finding is None:
                done.append(answer.row)
                continue
            answered.add(finding.key)
            decided = decided_in(answer, finding)
            if finding.key in contradicted:
                rows = " and ".join(map(str, contradicted[finding.key]))
                raise RowRefused(f"rows {rows} answer the same finding differently", "Keep one of them")
            match decided.decision:
                case Decision.LIVE:
                    accepted[finding.key] = _entry(answer, finding, book.accepted.get(finding.key), today, by)
                case Decision.WITHDRAW:
                    entries = tuple(book.entries_for(finding))
                    who = plain(answer.by or by, "by")
                    if entries:
                        withdrawn.append(Withdrawal(row=answer.row, finding=finding, entries=entries, by=who))
                    else:
                        done.append(answer.row)
                case Decision.QUESTION:
                    book.demand_open(finding, decided.decision)
                    remarks[Decision.QUESTION].append(_remark(answer, finding, by, "a question"))
                case Decision.PROPOSAL | Decision.CHANGE:
                    book.demand_open(finding, decided.decision)
                    change = _change(checked.plan, answer, finding, decided, by)
                    moves.append(change) if isinstance(change, Move) else remarks[Decision.CHANGE].append(change)
        except RowRefused as refused:
            flaws.append(Flaw(answer.row, refused.what, refused.do))
    ended = tuple(entry for one in withdrawn for entry in one.entries)
    new, already = list[Accepted](), list[Accepted]()
    for key, entry in accepted.items():
        holds = _in_force(entry, book.accepted.get(key))
        stays = holds and not any(matches(each, book.accepted[key].finding) for each in ended)
        (already if stays else new).append(entry)
    unanswered = sum(finding.key not in answered for finding in checked.findings)
    changes, questions = (tuple(remarks[each]) for each in (Decision.CHANGE, Decision.QUESTION))
    return Outcome(
        accepted=tuple(new),
        already=tuple(already),
        withdrawn=tuple(_with_reopened(one, book, withdrawn, accepted) for one in withdrawn),
        moves=tuple(moves),
        changes=changes,
        questions=questions,
        done=tuple(done),
        flaws=tuple(flaws),
        unanswered=unanswered,
        gone=gone,
    )


def _with_reopened(
    one: Withdrawal, book: AnsweredFindings, withdrawn: Iterable[Withdrawal], accepted: Mapping[str, Accepted]
) -> Withdrawal:
    """Return a withdrawal with the number of other findings that its entries accepted and that no row accepts now."""
    answered = {each.finding.key for each in withdrawn} | accepted.keys()
    others = (each.finding for key, each in book.accepted.items() if key not in answered)
    count = sum(any(matches(entry, finding) for entry in one.entries) for finding in others)
    return replace(one, reopened=count)


def remarks_of(outcome: Outcome, plan: Plan, today: date) -> tuple[SiteRemark, ...]:
    """Return the remarks of the site that the plan does not have yet, as entries of the plan."""
    said = [(one.finding, Decision.CHANGE, one.value, one.remark, one.by, one.row) for one in outcome.changes]
    said += [(one.finding, Decision.QUESTION, "", one.remark, one.by, one.row) for one in outcome.questions]
    for move in outcome.moves:
        if move.remark or move.decision is Decision.CHANGE:
            value = "; ".join(f"{subject}={address}" for subject, address in move.addresses)
            said.append((move.finding, move.decision, value, move.remark, move.by, move.row))
    known = {_words_of(remark) for remark in plan.remarks}
    found: dict[tuple[str, ...], SiteRemark] = {}
    for finding, decision, value, remark, by, row in sorted(said, key=lambda one: one[-1]):
        entry = SiteRemark(
            rule=finding.rule,
            subject=finding.subjects[0],
            decision=str(decision),
            position=Position("", f"row {row}"),
            by=by,
            remark=remark,
            change_to=value,
            address=finding.address or "",
            other=finding.other,
            decided=today,
        )
        if _words_of(entry) not in known:
            found.setdefault(_words_of(entry), entry)
    return tuple(found.values())


def _words_of(remark: SiteRemark) -> tuple[str, ...]:
    """Return the values that distinguish remarks: subject and text, but neither author nor date."""
    about = remark.rule, remark.subject, remark.address, remark.other
    return (*about, remark.decision, remark.change_to, remark.remark)


def _in_force(entry: Accepted, accepted: AcceptedFinding | None) -> bool:
    if accepted is None:
        return False
    return (entry.by, entry.because, entry.until) == (accepted.by, accepted.because, accepted.until)


def _contradicted(book: AnsweredFindings, answers: Iterable[Answer]) -> dict[str, list[int]]:
    """Return the key of each finding that several rows answer differently, with these rows."""
    rows: dict[str, list[int]] = {}
    words: dict[str, set[tuple[str, ...]]] = {}
    for answer in answers:
        if not answer.decision:
            continue
        try:
            key = book.meant(answer).key
        except RowRefused:
            continue
        rows.setdefault(key, []).append(answer.row)
        said = answer.decision.casefold(), answer.change_to, answer.remark, answer.by, answer.until
        words.setdefault(key, set()).add(said)
    return {key: rows[key] for key, several in words.items() if len(several) > 1}


def _entry(answer: Answer, finding: Finding, accepted: AcceptedFinding | None, today: date, by: str) -> Accepted:
    """Return the accepted entry for a finding; a value that the row does not have is taken from the present entry."""
    remark, who = plain(answer.remark, "remark"), plain(answer.by or by, "by")
    until = until_in(answer.until, today) or (accepted.until if accepted else None)
    if finding.rule in ON_ENTRIES:
        raise RowRefused(f"{finding.rule} cannot be accepted", "Withdraw or correct the entry that it names")
    if finding.rule in NEVER_ACCEPTED:
        what = f"{finding.rule} cannot be accepted by any site: the value cannot be used as it is"
        words = [f'"{each}" with the value' if each is Decision.CHANGE else f'"{each}"' for each in choices_of(finding)]
        raise RowRefused(what, f"Choose {listed(words, joint='or')}")
    if finding.severity is Severity.CONFLICT and not any(map(str.isalnum, answer.remark)):
        what = f"{finding.rule} is a conflict, which is never accepted without a remark"
        raise RowRefused(what, "Let the reviewer write the reason in the column remark")
    if not (who or accepted):
        raise RowRefused("the column by is empty", "Write there who decided, or give --by NAME for all rows")
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
        raise RowRefused(f"an accepted entry cannot name {safe(finding.other, 120)}", "Give it a simpler name")
    return entry


def _remark(answer: Answer, finding: Finding, by: str, what: str, value: str = "") -> AnswerRemark:
    remark = plain(answer.remark, "remark")
    if not any(map(str.isalnum, remark + value)):
        where = (
            "the column remark" if what == "a question" else "the column change-to, or describe it in the column remark"
        )
        raise RowRefused(f"{what} needs a text", f"Write it in {where}")
    return AnswerRemark(row=answer.row, finding=finding, remark=remark, by=plain(answer.by or by, "by"), value=value)


def _change(plan: Plan, answer: Answer, finding: Finding, decided: Decided, by: str) -> Move | AnswerRemark:
    """Return the addresses that go into the plan, or a remark if a person must make the change."""
    value = plain(answer.change_to or decided.value or _only_an_address(answer.remark), "change-to")
    if decided.decision is Decision.PROPOSAL:
        if finding.fix is None:
            raise RowRefused("there is no proposal for this finding", f'Write "{Decision.CHANGE}" with the value')
        pairs = dict(finding.fix.addresses)
        pairs |= _pairs(plan, answer.fix, tuple(pairs)) if answer.fix else {}
    else:
        movers = _movers(plan, finding)
        if not movers or not value:
            return _remark(answer, finding, by, f'"{Decision.CHANGE}"', value)
        pairs = _pairs(plan, value, movers)
    who = plain(answer.by or by, "by")
    remark = plain(answer.remark, "remark") if value != plain(answer.remark, "remark") else ""
    return Move(
        row=answer.row,
        finding=finding,
        decision=decided.decision,
        addresses=tuple(pairs.items()),
        by=who,
        remark=remark,
    )


def _only_an_address(remark: str) -> str:
    """Return the remark if it consists of an address alone, else an empty text."""
    try:
        Address.from_text(remark.strip())
    except ValueError:
        return ""
    return remark


def _movers(plan: Plan, finding: Finding) -> tuple[str, ...]:
    """Return the interfaces whose address the finding concerns."""
    interfaces = [subject for subject in finding.subjects if subject in plan.interface_named]
    if RULE_NAMED[finding.rule].readdress is not Readdress.NONE or finding.rule == "unplaced":
        fixed = [subject for subject, _ in finding.fix.addresses] if finding.fix else interfaces
        return tuple(fixed or interfaces)
    unread = [plan.interface_named[subject].address for subject in interfaces]
    if finding.rule == "unreadable-value" and all(cell is not None and cell.value is None for cell in unread):
        return tuple(interfaces)
    return ()


def _pairs(plan: Plan, text: str, movers: tuple[str, ...]) -> dict[str, Address]:
    """Read `10.62.30.80`, or `subject=address; subject=address` if the finding concerns several interfaces."""
    pairs: dict[str, Address] = {}
    for part in filter(None, (one.strip() for one in text.split(";"))):
        subject, equals, written = part.rpartition("=")
        subject = subject.strip() if equals else movers[0]
        if not equals and len(movers) > 1:
            names = listed([safe(one, 80) for one in movers], joint="or")
            raise RowRefused(f"{safe(part, 60)} could be for {names}", "Write INTERFACE=ADDRESS")
        if subject not in movers:
            names = listed([safe(one, 80) for one in movers], joint="or")
            raise RowRefused(f"this finding does not concern {safe(subject, 80)!r}", f"Name {names}")
        pairs[subject] = _address(plan, subject, written.strip())
    return pairs


def _address(plan: Plan, subject: str, text: str) -> Address:
    try:
        address = Address.from_text(text)
    except ValueError as error:
        raise RowRefused(f"change-to: {error}", "Write an address, such as 192.0.2.10") from None
    prefix = plan.subnet_of(plan.interface_named[subject]).prefix.value
    if prefix is not None and prefix.family != address.family:
        raise RowRefused(f"{address} is not an IPv{prefix.family} address, which the subnet of {subject} needs")
    return address


def confirmed(outcome: Outcome, checked_with: Checked) -> Outcome:
    """Return the outcome in which every move to an address in conflict is a flaw.

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
            what = f"{address} is in conflict too: {finding.rule}: {finding.message}"
            flaws.append(Flaw(move.row, what, "Choose another address"))
        else:
            sound.append(move)
    flaws.sort(key=lambda flaw: flaw.row)
    return replace(outcome, moves=tuple(sound), flaws=tuple(flaws))
