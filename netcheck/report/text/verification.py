"""Writes the verification of a record as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, assert_never

from netcheck.proof.result import Verdict
from netcheck.record.chain import ChainBreak, Torn
from netcheck.record.model import Attachment
from netcheck.record.verify import Attempt, MergedPort, State, Verification
from netcheck.text import safe

PAPER = (
    "Write the seal on the signed paper. The chain shows that no line was changed, added or removed; "
    "only the seal on paper shows that the whole file was not rewritten."
)

CONTRADICTED = (
    "The chain is intact, but the evidence contradicts itself: no proof writes such a record. Keep the file unchanged, "
    "ask who had it, and prove the ports again."
)


@dataclass(frozen=True, slots=True)
class ComparedFile:
    """A file that a record names, and its comparison: `fits` is False if it differs; `found` follows its name."""

    file: Attachment
    fits: bool
    found: str


def to_text(name: str, verification: Verification, files: Sequence[ComparedFile] = ()) -> str:
    """Return several lines, the first with the state; *name* is the record as the user named it."""
    mark = " (SIMULATED: not a proof of a site)" if verification.simulated else ""
    lines = [f"{safe(name)}: {_headline(verification)}{mark}"]
    lines += [f"  DOES NOT FIT: {safe(each, 1000)}" for each in verification.contradictions]
    if verification.plan:
        lines.append(f"  plan: {safe(verification.plan)}, revision {safe(verification.revision) or 'none'}")
    proven_first = sorted(verification.verdicts, key=lambda each: each[0] != Verdict.PROVEN)
    verdicts = ", ".join(f"{count} {verdict}" for verdict, count in proven_first)
    lines.append(f"  proofs: {verification.proofs}" + (f" ({verdicts})" if verdicts else ""))
    lines += [f"  note: {safe(note)}" for note in notes(verification)]
    for one in files:
        mark = "" if one.fits else "DOES NOT FIT: "
        lines.append(f"  {mark}file {safe(one.file.name, 100)} {safe(one.found, 200)}")
    if verification.seal:
        lines.append(f"  seal: {verification.seal}")
    lines.append(f"  {what_to_do(verification)}")
    return "\n".join(lines)


def _headline(verification: Verification) -> str:
    """Return the state of the chain with the number of valid lines."""
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
                "Writing stopped in the middle of a line. Run the proof again with this record: it moves the torn "
                "bytes to another file and continues. The seal is that of the intact lines."
            )
        case State.BROKEN:
            return (
                "That line and all lines after it are not evidence. Keep the file unchanged, ask who had it, and "
                "compare it with another copy or with the seal on the signed paper."
            )
        case other:
            assert_never(other)


def merged_text(ports: Iterable[MergedPort]) -> str:
    """Return one line for each port: the attempt that counts, then the others."""
    lines = ["all attempts of these records; for each port the attempt that counts comes first:"]
    for port in ports:
        said = [f"{each.verdict} at {each.at} ({safe(name, 100)}, line {each.line})" for name, each in port.attempts]
        lines.append(f"  {safe(port.subject, 200)}: {'; '.join(said)}")
    return "\n".join(lines)


def to_json(
    name: str, verification: Verification, files: Sequence[ComparedFile] = (), *, attempts: bool = False
) -> dict[str, Any]:
    """Return one object; `line` counts from 1, `n` is that line's own number, and both are null for an intact record.

    *attempts* adds every proof, for records that are verified together.
    """
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
        **({"files": [_file_json(one) for one in files]} if files else {}),
        **({"attempts": [_attempt_json(each) for each in verification.attempts]} if attempts else {}),
        "plan": {"name": verification.plan, "revision": verification.revision},
    }


def _file_json(one: ComparedFile) -> dict[str, Any]:
    file = one.file
    return {"name": file.name, "size": file.size, "sha256": file.sha256, "fits": one.fits, "found": one.found}


def _attempt_json(each: Attempt) -> dict[str, Any]:
    return {"port": each.subject, "verdict": str(each.verdict), "at": each.at, "line": each.line}


def _reason(flaw: ChainBreak | Torn | None) -> str | None:
    if flaw is None:
        return None
    return flaw.reason if isinstance(flaw, ChainBreak) else str(flaw)
