"""Writes the outcome of answered findings and of answered requests as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from netcheck.answers.apply import AnswerRemark, Flaw, Move, Outcome, Withdrawal
from netcheck.answers.grants import AnsweredRequest, Grants
from netcheck.plan.model import Accepted
from netcheck.text import safe

_MOST = 200  # lines of one kind that are printed; the others are counted


def to_text(outcome: Outcome, file: str) -> str:
    """Return the outcome with the row of each answer: written, accepted, to change, to correct; the counts are last."""
    parts = (
        ("Addresses for the plan", map(_move, outcome.moves)),
        ("Accepted", map(_accepted, outcome.accepted)),
        ("Accepted in the plan already", map(_accepted, outcome.already)),
        ("Withdrawn", map(_withdrawn, outcome.withdrawn)),
        ("The plan has to change", map(_remark, outcome.changes)),
        ("Questions", map(_remark, outcome.questions)),
        ("Done: the plan has the change already", (f"  row {row}" for row in outcome.done)),
        (f"To correct in {safe(file, 120)}", map(_flaw, outcome.flaws)),
    )
    blocks = ["\n".join([title, *_cut(list(lines))]) for title, lines in parts]
    return "\n\n".join([*(block for block in blocks if "\n" in block), _counts(outcome)]) + "\n"


def to_json(outcome: Outcome, written: bool) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
    return {
        "moved": list(map(_move_json, outcome.moves)),
        "accepted": list(map(_accepted_json, outcome.accepted)),
        "already": list(map(_accepted_json, outcome.already)),
        "withdrawn": list(map(_withdrawn_json, outcome.withdrawn)),
        "change": list(map(_remark_json, outcome.changes)),
        "question": list(map(_remark_json, outcome.questions)),
        "done": list(outcome.done),
        "mend": [{"row": flaw.row, "what": flaw.what, "do": flaw.do} for flaw in outcome.flaws],
        "unanswered": outcome.unanswered,
        "gone": outcome.gone,
        "written": written,
    }


def _cut(lines: list[str]) -> Iterable[str]:
    yield from lines[:_MOST]
    if len(lines) > _MOST:
        yield f"  and {len(lines) - _MOST:,} more"


def _move(move: Move) -> str:
    addresses = ", ".join(f"{safe(subject, 120)} gets {address}" for subject, address in move.addresses)
    who = f", by {safe(move.by, 80)}" if move.by else ""
    return f"  row {move.row}: {addresses} ({move.decision}; {move.finding.rule}){who}"


def _accepted(entry: Accepted) -> str:
    until = f" until {entry.until}" if entry.until else ""
    because = safe(entry.because, 200)
    return f"  {entry.position.at}: {entry.rule} of {_subject(entry)}, by {safe(entry.by, 80)}{until}: {because}"


def _withdrawn(one: Withdrawal) -> str:
    who = f", by {safe(one.by, 80)}" if one.by else ""
    more = f"; {one.reopened} more findings of the same entry are open again" if one.reopened else ""
    subjects = safe(", ".join(one.finding.subjects), 200)
    return f"  row {one.row}: {one.finding.rule} of {subjects}{who}{more}"


def _subject(entry: Accepted) -> str:
    at = f" at {safe(entry.address, 60)}" if entry.address else ""
    return f"{safe(entry.subject, 120)}{at}" + (f" with {safe(entry.other, 120)}" if entry.other else "")


def _remark(remark: AnswerRemark) -> str:
    who = f", {safe(remark.by, 80)}" if remark.by else ""
    words = "; ".join(filter(None, (safe(remark.value, 200), safe(remark.remark, 400))))
    subjects = safe(", ".join(remark.finding.subjects), 200)
    return f"  row {remark.row}: {remark.finding.rule} of {subjects}{who}" + (f": {words}" if words else "")


def _flaw(flaw: Flaw) -> str:
    return f"  row {flaw.row}: {flaw.what}" + (f". {flaw.do}" if flaw.do else "")


def _counts(outcome: Outcome) -> str:
    """Return the last line: the number of rows by outcome."""
    counts = (
        (len(outcome.addresses), "new addresses"),
        (len(outcome.already), "accepted already"),
        (len(outcome.withdrawn), "withdrawn"),
        (len(outcome.done), "done"),
    )
    more = "".join(f", {count} {word}" for count, word in counts if count)
    gone = f", {outcome.gone} resolved without an answer" if outcome.gone else ""
    asked = f"{len(outcome.changes)} to change, {len(outcome.questions)} in question"
    first = f"{len(outcome.accepted)} accepted{more}, {asked}"
    return f"{first}, {len(outcome.flaws)} to correct, {outcome.unanswered} not answered{gone}"


def _move_json(move: Move) -> dict[str, Any]:
    return {
        "row": move.row,
        "rule": move.finding.rule,
        "key": move.finding.key,
        "decision": str(move.decision),
        "addresses": {subject: str(address) for subject, address in move.addresses},
        "by": move.by,
    }


def _accepted_json(entry: Accepted) -> dict[str, Any]:
    """Return an accepted entry as a JSON object."""
    return {
        "row": int(entry.position.at.removeprefix("row ")),
        "rule": entry.rule,
        "subject": entry.subject,
        "address": entry.address or None,
        "with": entry.other or None,
        "by": entry.by,
        "because": entry.because,
        "until": entry.until.isoformat() if entry.until else None,
    }


def _withdrawn_json(one: Withdrawal) -> dict[str, Any]:
    return {
        "row": one.row,
        "rule": one.finding.rule,
        "subjects": list(one.finding.subjects),
        "key": one.finding.key,
        "by": one.by,
        "entries": len(one.entries),
        "reopened": one.reopened,
    }


def _remark_json(remark: AnswerRemark) -> dict[str, Any]:
    return {
        "row": remark.row,
        "rule": remark.finding.rule,
        "subjects": list(remark.finding.subjects),
        "key": remark.finding.key,
        "remark": remark.remark,
        "change_to": remark.value or None,
        "by": remark.by,
    }


def grants_to_text(grants: Grants) -> str:
    """Return the outcome with the row of each answer: granted, refused, to correct; the counts are last."""
    granted = [
        f"  {safe(subject, 120)}: {safe(text, 300)}"
        + (f"; its address becomes {grants.addresses[subject]}" if subject in grants.addresses else "")
        for subject, text in grants.granted.items()
    ]
    parts = (
        ("Granted, for the plan", granted),
        ("Granted, in the plan as [[granted]]", list(map(_answered, grants.noted))),
        ("Refused: the plan has to change", list(map(_answered, grants.refused))),
        ("To correct", [f"  row {flaw.row}: {flaw.what}" for flaw in grants.flaws]),
    )
    blocks = ["\n".join([title, *lines]) for title, lines in parts if lines]
    count = len(grants.granted) + len(grants.noted)
    gone = f", {grants.gone} of requests that no longer exist" if grants.gone else ""
    sums = f"{count} granted, {len(grants.refused)} refused, {len(grants.flaws)} to correct"
    return "\n\n".join([*blocks, f"{sums}, {grants.unanswered} not answered{gone}"]) + "\n"


def _answered(one: AnsweredRequest) -> str:
    request = one.request
    of = (safe(request.subject, 120), safe(request.address, 300), safe(request.what, 300))
    return f"  row {one.row}: {request.kind} of {', '.join(filter(None, of))}: {safe(one.text, 300)}"


def grants_to_json(grants: Grants, written: bool) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
    return {
        "granted": grants.granted,
        "moved": {subject: str(address) for subject, address in grants.addresses.items()},
        "noted": list(map(_answered_json, grants.noted)),
        "refused": list(map(_answered_json, grants.refused)),
        "mend": [{"row": flaw.row, "what": flaw.what, "do": flaw.do} for flaw in grants.flaws],
        "unanswered": grants.unanswered,
        "gone": grants.gone,
        "written": written,
    }


def _answered_json(one: AnsweredRequest) -> dict[str, Any]:
    return {"row": one.row, "kind": str(one.request.kind), "subject": one.request.subject, "answer": one.text}
