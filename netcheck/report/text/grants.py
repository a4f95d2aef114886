"""Writes the outcome of answered requests as text and as JSON."""

from __future__ import annotations

from typing import Any

from netcheck.answers.grants import AnsweredRequest, Grants
from netcheck.text import safe


def to_text(grants: Grants) -> str:
    """Return what was granted, refused and must be corrected, each with its row, and the counts last."""
    granted = [
        f"  {safe(subject, 120)}: {safe(text, 300)}"
        + (f"; its address becomes {grants.addresses[subject]}" if subject in grants.addresses else "")
        for subject, text in grants.granted.items()
    ]
    parts = (
        ("Granted, for the plan", granted),
        ("Granted, not stored in the plan", list(map(_line, grants.noted))),
        ("Refused: the plan has to change", list(map(_line, grants.refused))),
        ("To correct", [f"  row {flaw.row}: {flaw.what}" for flaw in grants.flaws]),
    )
    blocks = ["\n".join([title, *lines]) for title, lines in parts if lines]
    count = len(grants.granted) + len(grants.noted)
    gone = f", {grants.gone} of requests that no longer exist" if grants.gone else ""
    sums = f"{count} granted, {len(grants.refused)} refused, {len(grants.flaws)} to correct"
    return "\n\n".join([*blocks, f"{sums}, {grants.unanswered} not answered{gone}"]) + "\n"


def _line(one: AnsweredRequest) -> str:
    request = one.request
    what = ", ".join(filter(None, (request.address, request.what)))
    return f"  row {one.row}: {request.kind} of {safe(request.subject, 120)}, {safe(what, 300)}: {safe(one.text, 300)}"


def to_json(grants: Grants, written: bool) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
    return {
        "granted": grants.granted,
        "moved": {subject: str(address) for subject, address in grants.addresses.items()},
        "noted": list(map(_shape, grants.noted)),
        "refused": list(map(_shape, grants.refused)),
        "mend": [{"row": flaw.row, "what": flaw.what, "do": flaw.do} for flaw in grants.flaws],
        "unanswered": grants.unanswered,
        "gone": grants.gone,
        "written": written,
    }


def _shape(one: AnsweredRequest) -> dict[str, Any]:
    return {"row": one.row, "kind": str(one.request.kind), "subject": one.request.subject, "answer": one.text}
