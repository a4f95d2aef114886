"""Defines the table of findings that a reviewer fills in: its columns, the cells of a finding, and the decisions.

The table is a contract between every writer (report, workbook, the page in a browser) and `read`. Columns are found by
title, in any order and among other columns; titles are compared without case, and spaces count as hyphens. A row needs
`key`, or `rule`, `subjects` and `address`, to identify the finding. The reviewer fills in:

- `decision`: one of the texts of `Decision`. The column `choices` has those that the finding permits.
- `change-to`: the value for *change it to*, which is an address or `interface=address; interface=address`.
- `remark`: the reason of an acceptance, or the text of a question or a change.
- `by`: who decided. `until`: the last day of an acceptance, as 2026-12-31.

`number` counts the findings of one report; `earlier-answers` has the earlier answers of the site, and the replies. Both
are for people and are not read.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from netcheck.plan.model import SiteRemark
from netcheck.rules.finding import AcceptedFinding, Finding
from netcheck.tables.delimited import guarded
from netcheck.text import Pattern, safe

PLAN_COLUMN = "plan-sha256"  # the hash of the plan that the reviewer saw; the page of a report writes it
# Rules whose findings no site can accept: the value cannot be used at all, or is the gateway's own address.
NEVER_ACCEPTED = frozenset({"unreadable-value", "mask-broken", "unusable-address", "is-gateway"})
# Rules about the plan's own entries of decisions: the remedy is to correct or to withdraw the entry.
ON_ENTRIES = frozenset({"accepted-unused", "accepted-too-wide", "question-without-reply"})

_WITHDRAWABLE = frozenset({"accepted-unused", "accepted-too-wide"})  # findings whose entry can be withdrawn


class Decision(StrEnum):
    """A decision; the value is its text in every report."""

    PROPOSAL = "use the proposal"  # the proposed address goes into the plan
    LIVE = "live with it as it is"  # the finding is accepted
    CHANGE = "change it to"  # the reviewer's value goes into the plan
    QUESTION = "question"  # not decided yet
    WITHDRAW = "withdraw"  # the acceptance ends: its entry leaves the plan


class Decided(NamedTuple):
    """A decision, and the value that follows `change it to`."""

    decision: Decision
    value: str = ""


# Spellings of people whose program offers no list, compared without case and final punctuation.
_SPELLINGS = {
    **dict.fromkeys(
        ("use the proposal", "use proposal", "proposal", "use the proposed address", "use proposed address", "use it"),
        Decision.PROPOSAL,
    ),
    **dict.fromkeys(
        ("live with it as it is", "live with it", "as it is", "leave it as it is", "accept it as it is"), Decision.LIVE
    ),
    **dict.fromkeys(("question", "?"), Decision.QUESTION),
    **dict.fromkeys(
        ("withdraw", "withdrawn", "withdraw it", "withdraw the acceptance", "no longer accepted"), Decision.WITHDRAW
    ),
}
# These words mean either the proposal or the present state; without a proposal they mean the present state.
_EITHER = frozenset({"agreed", "agree", "accepted", "accept"})
_CHANGE = Pattern(r"chang(?:e|ed)(?: it)?(?: to)?(?:\s*[:\u2026]|\s*\.\.\.)?(?:\s+(?P<value>.*))?", re.IGNORECASE)


class Ambiguous(ValueError):
    """A word that means either the proposal or the present state."""


def decision_from(text: str, finding: Finding | None = None) -> Decided | None:
    """Return the decision written in a cell, or None for an empty cell.

    Raises ValueError for other words, and Ambiguous for words such as `agreed` on a finding that has a proposal.
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


def choices_of(finding: Finding, *, accepted: bool = False) -> tuple[Decision, ...]:
    """Return the decisions that an open finding permits, or a finding that the site has *accepted*.

    A finding without a proposal does not permit to use it, and an unusable value cannot be accepted. An acceptance can
    be withdrawn, or given again with another reason or day.
    """
    if accepted:
        return Decision.LIVE, Decision.WITHDRAW
    left_out = {Decision.WITHDRAW} if finding.rule not in _WITHDRAWABLE else set()
    if finding.fix is None:
        left_out.add(Decision.PROPOSAL)
    if finding.rule in NEVER_ACCEPTED | ON_ENTRIES:
        left_out.add(Decision.LIVE)
    return tuple(each for each in Decision if each not in left_out)


def box_of(decision: Decision) -> str:
    """Return the text of a decision's box; an ellipsis marks the place for a value."""
    return f"{decision} \u2026" if decision is Decision.CHANGE else str(decision)


def boxes_of(finding: Finding) -> tuple[str, ...]:
    """Return the texts of the boxes of a finding."""
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
REPORT_COLUMNS = (*COLUMNS, "number", "earlier-answers")  # a report also has the earlier answers
LONGEST_CELL = 8000  # characters; a workbook's cell holds 32,767


def cells_of(finding: Finding) -> tuple[str, ...]:
    """Return the cells of a finding for a file: without control characters, and no cell begins like a formula."""
    return tuple(guarded(safe(cell, LONGEST_CELL)) for cell in row_of(finding))


def row_of(finding: Finding) -> tuple[str, ...]:
    """Return the cells of a finding in the order of `COLUMNS`; the cells of `TO_ANSWER` are empty."""
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


def report_row(
    number: str, finding: Finding, accepted: AcceptedFinding | None = None, remarks: Sequence[SiteRemark] = ()
) -> tuple[str, ...]:
    """Return the cells of a finding in the order of `REPORT_COLUMNS`, with its earlier answers."""
    cells = row_of(finding)
    if accepted is not None:
        at = COLUMNS.index("choices")
        cells = (*cells[:at], " / ".join(choices_of(finding, accepted=True)), *cells[at + 1 :])
    return (*cells, number, earlier_answers(accepted, remarks))


def earlier_answers(accepted: AcceptedFinding | None, remarks: Sequence[SiteRemark]) -> str:
    """Return the earlier answers of the site, and the replies, in words."""
    words = list(map(remark_words, remarks))
    if accepted is not None:
        until = f", until {accepted.until}" if accepted.until else ""
        day = f" on {accepted.decided}" if accepted.decided else ""
        words.append(f"accepted by {accepted.by}{day}{until}: {accepted.because}")
    return "; ".join(words)


def remark_words(remark: SiteRemark) -> str:
    """Return one remark of the site with its reply."""
    decision = " ".join(filter(None, (remark.decision, remark.change_to)))
    who = f" by {remark.by}" if remark.by else ""
    day = f" on {remark.decided}" if remark.decided else ""
    said = f": {remark.remark}" if remark.remark else ""
    return f"{decision}{who}{day}{said}; reply: {remark.reply or 'none yet'}"


def fix_text(finding: Finding) -> str:
    """Return the fix for one cell: an address, or `subject=address` for each of several subjects, joined by `; `."""
    pairs = finding.fix.addresses if finding.fix else ()
    if len(finding.subjects) == 1:
        return "; ".join(str(address) for _, address in pairs)
    return "; ".join(f"{subject}={address}" for subject, address in pairs)
