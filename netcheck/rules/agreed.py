"""The rule on accepted entries that match nothing."""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.rules.examples import one
from netcheck.rules.finding import Breach, Severity
from netcheck.rules.rule import Rule
from netcheck.rules.scene import Scene


def _unused(scene: Scene) -> Iterator[Breach]:
    for entry in scene.unused:
        narrow = "".join(f" {key} {value}" for key, value in (("at", entry.address), ("with", entry.other)) if value)
        message = f"no finding {entry.rule} of {entry.subject}{narrow} is left that this accepted entry would match"
        yield Breach((entry.subject,), message, str(entry.place), entry.address or None, (entry.rule, entry.other))


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
    why="What was agreed has been mended, or the entry names something else than was meant; left in the plan it could "
    "hide a finding some day that nobody agreed to.",
    bad=one('address = "10.62.20.61"', _ACCEPTED),
    good=one('address = "10.62.21.61"', _ACCEPTED),
    source="common practice",
    check=_unused,
)
