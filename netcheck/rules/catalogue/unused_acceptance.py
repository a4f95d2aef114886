"""The rule on accepted entries that match no finding."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from netcheck.plan.model import Accepted
from netcheck.rules.examples import one
from netcheck.rules.finding import Breach, Severity
from netcheck.rules.rule import Rule
from netcheck.rules.scene import Scene


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
    why="The finding has been resolved, or the entry names something else than intended. If it stays in the plan, it "
    "can later hide a finding that nobody accepted. Remove or correct the entry.",
    bad=one('address = "10.62.20.61"', _ACCEPTED),
    good=one('address = "10.62.21.61"', _ACCEPTED),
    source="our own rule, because a leftover entry can hide a finding that nobody accepted",
    check=_unused,
)
