"""What a file of answers came to, as text and as JSON: pure functions of the outcome."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from netcheck.answers.apply import Flaw, Outcome, Said
from netcheck.plan.model import Accepted
from netcheck.text import safe

_MOST = 200  # lines of one kind that are printed; the rest is a count


def to_text(outcome: Outcome, file: str) -> str:
    """What is accepted, asked for, and has to be mended, each with its row in the file, and the counts last."""
    parts = (
        ("Accepted", map(_accepted, outcome.accepted)),
        ("Accepted in the plan already", map(_accepted, outcome.already)),
        ("The plan has to change", map(_said, outcome.changes)),
        ("Questions", map(_said, outcome.questions)),
        (f"To mend in {safe(file, 120)}", map(_flaw, outcome.flaws)),
    )
    blocks = ["\n".join([title, *_cut(list(lines))]) for title, lines in parts]
    return "\n\n".join([*(block for block in blocks if "\n" in block), _counts(outcome)]) + "\n"


def to_json(outcome: Outcome, written: bool) -> dict[str, Any]:
    """The object that `--format json` prints."""
    return {
        "accepted": list(map(_accepted_json, outcome.accepted)),
        "already": list(map(_accepted_json, outcome.already)),
        "change": list(map(_said_json, outcome.changes)),
        "question": list(map(_said_json, outcome.questions)),
        "mend": [{"row": flaw.row, "what": flaw.what, "do": flaw.do} for flaw in outcome.flaws],
        "unanswered": outcome.unanswered,
        "gone": outcome.gone,
        "written": written,
    }


def _cut(lines: list[str]) -> Iterable[str]:
    yield from lines[:_MOST]
    if len(lines) > _MOST:
        yield f"  and {len(lines) - _MOST:,} more"


def _accepted(entry: Accepted) -> str:
    until = f" until {entry.until}" if entry.until else ""
    return f"  {entry.position.at}: {entry.rule} of {_subject(entry)}, by {safe(entry.by, 80)}{until}: {_short(entry)}"


def _short(entry: Accepted) -> str:
    return safe(entry.because, 200)


def _subject(entry: Accepted) -> str:
    at = f" at {safe(entry.address, 60)}" if entry.address else ""
    return f"{safe(entry.subject, 120)}{at}" + (f" with {safe(entry.other, 120)}" if entry.other else "")


def _said(said: Said) -> str:
    who = f", {safe(said.by, 80)}" if said.by else ""
    words = f": {safe(said.remark, 400)}" if said.remark else ""
    return f"  row {said.row}: {said.finding.rule} of {safe(', '.join(said.finding.subjects), 200)}{who}{words}"


def _flaw(flaw: Flaw) -> str:
    return f"  row {flaw.row}: {flaw.what}" + (f". {flaw.do}" if flaw.do else "")


def _counts(outcome: Outcome) -> str:
    asked = f"{len(outcome.changes)} to change, {len(outcome.questions)} in question"
    gone = f", {outcome.gone} gone without an answer" if outcome.gone else ""
    already = f"{len(outcome.already)} already" if outcome.already else ""
    accepted = ", ".join(filter(None, (f"{len(outcome.accepted)} accepted", already)))
    return f"{accepted}, {asked}, {len(outcome.flaws)} to mend, {outcome.unanswered} not answered{gone}"


def _accepted_json(entry: Accepted) -> dict[str, Any]:
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


def _said_json(said: Said) -> dict[str, Any]:
    finding = said.finding
    return {
        "row": said.row,
        "rule": finding.rule,
        "subjects": list(finding.subjects),
        "key": finding.key,
        "remark": said.remark,
        "by": said.by,
    }
