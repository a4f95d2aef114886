"""Rules on decisions of the site: accepted entries that match no finding or too many, questions without a reply."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from netcheck.plan.model import Accepted
from netcheck.rules.finding import Breach, Severity
from netcheck.rules.rule import Rule, one
from netcheck.rules.scene import Scene
from netcheck.text import listed


def _unused(scene: Scene) -> Iterator[Breach]:
    for entry in scene.unused:
        others = (entry.rule, entry.other)
        yield Breach((entry.subject,), _message(entry, scene.run), str(entry.position), entry.address or None, others)


def _message(entry: Accepted, rules: tuple[str, ...]) -> str:
    if entry.rule not in rules:
        near = get_close_matches(entry.rule[:60], rules, 1)
        return f"there is no rule {entry.rule}" + (f"; did you mean {near[0]}?" if near else "")
    narrow = "".join(f" {key} {value}" for key, value in (("at", entry.address), ("with", entry.other)) if value)
    return f"no finding {entry.rule} of {entry.subject}{narrow} is left that this accepted entry would match"


LONGEST_KEYS = 2000  # characters; a finding can have thousands of subjects


def _too_wide(scene: Scene) -> Iterator[Breach]:
    for entry, keys in scene.wide:
        add = listed(list(keys), most=3, joint="or")
        add = add if len(add) <= LONGEST_KEYS else f"{add[:LONGEST_KEYS]}\u2026"
        message = f"the accepted entry {entry.rule} of {entry.subject} would also hide later clashes; add {add}"
        yield Breach((entry.subject,), message, str(entry.position), entry.address or None, (entry.rule, entry.other))


QUESTION = "question"  # the decision of a remark that asks for a reply


def _without_reply(scene: Scene) -> Iterator[Breach]:
    for remark in scene.pending:
        asks = "asks" if remark.decision == QUESTION else f"asks to {remark.decision} {remark.change_to}".rstrip()
        words = f": {remark.remark}" if remark.remark else ""
        day = f" on {remark.decided}" if remark.decided else ""
        others = (f"{remark.rule}: {remark.decision} {remark.change_to} {remark.remark}",)
        message = f"{remark.by or 'the site'}{day} {asks} about {remark.rule}{words}; the plan has no reply"
        yield Breach((remark.subject,), message, str(remark.position), remark.address or None, others)


_ACCEPTED = """[[accepted]]
rule = "outside-subnet"
subject = "filler-plc/cpu"
by = "site IT"
because = "routed there by hand"
"""

ACCEPTED_UNUSED = Rule(
    slug="accepted-unused",
    severity=Severity.NOTE,
    what="An accepted entry matches no finding.",
    why="The finding has been resolved, or the entry contains a mistake. If it stays in the plan, it can later hide a "
    "finding that nobody accepted.",
    do="Remove or correct the entry.",
    bad=one('address = "10.62.20.61"', _ACCEPTED),
    good=one('address = "10.62.21.61"', f'{_ACCEPTED}address = "10.62.21.61"\n'),
    source="our own rule, because a leftover entry can hide a finding that nobody accepted",
    check=_unused,
)

ACCEPTED_TOO_WIDE = Rule(
    slug="accepted-too-wide",
    severity=Severity.RISK,
    what="An accepted entry lacks the address, or the other party, of the finding that it accepts.",
    why="With rule and subject alone, the entry accepts the finding at any address and with any other party. If the "
    "interface later gets another address that also clashes, the new conflict is hidden.",
    bad=one('address = "10.62.21.61"', _ACCEPTED),
    good=one('address = "10.62.21.61"', f'{_ACCEPTED}address = "10.62.21.61"\n'),
    source="our own rule, because a short entry hides conflicts that nobody accepted",
    check=_too_wide,
)

_REMARK = """[[remark]]
rule = "outside-subnet"
subject = "filler-plc/cpu"
address = "10.62.21.61"
decision = "question"
by = "site IT"
remark = "is it to be routed?"
"""

QUESTION_WITHOUT_REPLY = Rule(
    slug="question-without-reply",
    severity=Severity.NOTE,
    what="A question of the site about a finding, or a change that it asks for, has no reply.",
    why="The next report shows the site the reply to each of its remarks. Without a reply the site has to ask again.",
    do="Carry out the change, or write the answer into the key `reply` of the remark.",
    bad=one('address = "10.62.20.61"', _REMARK),
    good=one('address = "10.62.20.61"', f'{_REMARK}reply = "No, the address was wrong and is corrected."\n'),
    source="our own rule, because a question that nobody answers delays the plan",
    check=_without_reply,
)
