"""Writes the verification of a record as text and as JSON."""

from __future__ import annotations

from typing import Any, assert_never

from netcheck.record.read import ChainBreak, Torn
from netcheck.record.verify import State, Verification
from netcheck.text import safe

PAPER = (
    "Write the seal on the signed paper. The chain shows that no line was changed, added or removed; "
    "only the seal on paper shows that the whole file was not rewritten."
)

CONTRADICTED = (
    "The chain is intact, but the evidence contradicts itself: the record was not written by a proof like this. Keep "
    "the file unchanged, ask who had it, and prove the ports again."
)


def to_text(name: str, verification: Verification) -> str:
    """Return several lines, the state on the first; *name* is the record as the user named it."""
    mark = " (SIMULATED: not a proof of a site)" if verification.simulated else ""
    lines = [f"{safe(name)}: {_headline(verification)}{mark}"]
    lines += [f"  DOES NOT FIT: {safe(each, 1000)}" for each in verification.contradictions]
    if verification.plan:
        lines.append(f"  plan: {safe(verification.plan)}, revision {safe(verification.revision) or 'none'}")
    verdicts = ", ".join(f"{count} {verdict}" for verdict, count in verification.verdicts)
    lines.append(f"  proofs: {verification.proofs}" + (f" ({verdicts})" if verdicts else ""))
    lines += [f"  note: {safe(note)}" for note in notes(verification)]
    if verification.seal:
        lines.append(f"  seal: {verification.seal}")
    lines.append(f"  {what_to_do(verification)}")
    return "\n".join(lines)


def _headline(verification: Verification) -> str:
    count = f"{verification.lines} lines fit" if verification.lines != 1 else "1 line fits"
    match verification.flaw:
        case None:
            return f"intact: {count}"
        case Torn() as torn:
            return f"torn: {torn}; {count} before it"
        case ChainBreak() as fault:
            return f"broken: {safe(str(fault))}; {count} before it"
        case other:
            assert_never(other)


def notes(verification: Verification) -> tuple[str, ...]:
    """Return notes on the record in addition to the state of its chain."""
    ended = verification.ended or verification.state is not State.INTACT
    return (*(() if ended else ("it has no `end` line: the run did not finish",)), *verification.notes)


def what_to_do(verification: Verification) -> str:
    """Return what to do about the state, in one or two sentences."""
    match verification.state:
        case State.INTACT if verification.contradictions:
            return CONTRADICTED
        case State.INTACT:
            return PAPER
        case State.TORN:
            return (
                "Writing stopped in the middle of a line. Run the proof again with this record: it sets the torn bytes "
                "aside and continues. The seal is that of the intact lines."
            )
        case State.BROKEN:
            return (
                "That line and all lines after it are not evidence. Keep the file unchanged, ask who had it, and "
                "compare it with another copy or with the seal on the signed paper."
            )
        case other:
            assert_never(other)


def to_json(name: str, verification: Verification) -> dict[str, Any]:
    """Return one object; `line` counts from 1 and `n` is that line's own number, both null for an intact record."""
    flaw = verification.flaw
    return {
        "record": name,
        "state": str(verification.state),
        "lines": verification.lines,
        "proofs": verification.proofs,
        "verdicts": dict(verification.verdicts),
        "ended": verification.ended,
        **({"simulated": True} if verification.simulated else {}),
        "line": flaw.line if flaw else None,
        "n": flaw.line - 1 if flaw else None,
        "reason": _reason(flaw),
        "seal": verification.seal or None,
        **({"contradictions": list(verification.contradictions)} if verification.contradictions else {}),
        "notes": list(notes(verification)),
        "plan": {"name": verification.plan, "revision": verification.revision},
    }


def _reason(flaw: ChainBreak | Torn | None) -> str | None:
    if flaw is None:
        return None
    return flaw.reason if isinstance(flaw, ChainBreak) else str(flaw)
