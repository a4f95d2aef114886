"""Defines the table of findings that a reviewer fills in: its columns, the cells of a finding, and the decisions."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import NamedTuple

from netcheck.rules.finding import Finding
from netcheck.tables.delimited import guarded
from netcheck.text import safe

# Rules whose finding no site can live with: the value is not usable at all, or is the gateway's own address.
NEVER_ACCEPTED = frozenset({"unreadable-value", "mask-broken", "unusable-address", "is-gateway"})
# Rules on the accepted entries themselves: the remedy is to correct the entry.
ON_ENTRIES = frozenset({"accepted-unused", "accepted-too-wide"})


class Decision(StrEnum):
    """A decision in the words of every report."""

    PROPOSAL = "use the proposal"  # the proposed address goes into the plan
    LIVE = "live with it as it is"  # the finding is accepted
    CHANGE = "change it to"  # the value given goes into the plan
    QUESTION = "question"  # not decided yet


class Decided(NamedTuple):
    """A decision, and the value written behind `change it to`."""

    decision: Decision
    value: str = ""


# Spellings where no list is offered, compared without case and final punctuation.
_SPELLINGS = {
    **dict.fromkeys(
        ("use the proposal", "use proposal", "proposal", "use the proposed address", "use proposed address", "use it"),
        Decision.PROPOSAL,
    ),
    **dict.fromkeys(
        ("live with it as it is", "live with it", "as it is", "leave it as it is", "accept it as it is"), Decision.LIVE
    ),
    **dict.fromkeys(("question", "?"), Decision.QUESTION),
}
# These words mean either the proposal or the present state; without a proposal only the second is left.
_EITHER = frozenset({"agreed", "agree", "accepted", "accept"})
_CHANGE = re.compile(r"chang(?:e|ed)(?: it)?(?: to)?(?:\s*[:\u2026]|\s*\.\.\.)?(?:\s+(?P<value>.*))?", re.IGNORECASE)


class Ambiguous(ValueError):
    """A word that means either the proposal or the present state."""


def decision_from(text: str, finding: Finding | None = None) -> Decided | None:
    """Return the decision written in a cell, or None for an empty cell.

    ValueError for other words; Ambiguous for `agreed` and the like on a finding that has a proposal.
    """
    plain = " ".join(text.split())
    word = plain.rstrip(".!\u2026 ").casefold() or plain
    if not word:
        return None
    if word in _SPELLINGS:
        return Decided(_SPELLINGS[word])
    if word in _EITHER:
        if finding is not None and finding.fix is not None:
            raise Ambiguous(word)
        return Decided(Decision.LIVE)
    if found := _CHANGE.fullmatch(plain):
        return Decided(Decision.CHANGE, (found["value"] or "").strip(" .!\u2026"))
    raise ValueError(text)


def choices_of(finding: Finding) -> tuple[Decision, ...]:
    """Return the decisions that a finding permits.

    Without a proposal there is none to use, and an unusable value cannot be lived with.
    """
    left_out = set()
    if finding.fix is None:
        left_out.add(Decision.PROPOSAL)
    if finding.rule in NEVER_ACCEPTED | ON_ENTRIES:
        left_out.add(Decision.LIVE)
    return tuple(each for each in Decision if each not in left_out)


def box_of(decision: Decision) -> str:
    """Return the words of a decision's box; an ellipsis stands where a value is to be written."""
    return f"{decision} \u2026" if decision is Decision.CHANGE else str(decision)


def boxes_of(finding: Finding) -> tuple[str, ...]:
    """Return the words of the boxes of a finding."""
    return tuple(map(box_of, choices_of(finding)))


COLUMNS = (
    "rule",
    "severity",
    "subjects",
    "address",
    "message",
    "source",
    "fix",
    "where",
    "key",
    "choices",
    "decision",
    "change-to",
    "remark",
    "by",
    "until",
)
TO_ANSWER = COLUMNS[-5:]
LONGEST_CELL = 8000  # characters; a workbook's cell holds 32,767


def cells_of(finding: Finding) -> tuple[str, ...]:
    """Return the cells of a finding as they are written: without control characters, and none begins as a formula."""
    return tuple(guarded(safe(cell, LONGEST_CELL)) for cell in row_of(finding))


def row_of(finding: Finding) -> tuple[str, ...]:
    """Return the cells of a finding in the order of `COLUMNS`; those of `TO_ANSWER` are empty."""
    return (
        finding.rule,
        str(finding.severity),
        "; ".join(finding.subjects),
        finding.address or "",
        finding.message,
        finding.source,
        fix_text(finding),
        finding.where,
        finding.key,
        " / ".join(choices_of(finding)),
        *("" for _ in TO_ANSWER),
    )


def fix_text(finding: Finding) -> str:
    """Return the fix in one cell: an address, or `subject=address` for each of several, joined by `; `."""
    pairs = finding.fix.addresses if finding.fix else ()
    if len(finding.subjects) == 1:
        return "; ".join(str(address) for _, address in pairs)
    return "; ".join(f"{subject}={address}" for subject, address in pairs)
