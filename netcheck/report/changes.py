"""What changed between two revisions of a plan: findings new, gone and remaining, and interfaces. Pure.

A finding is the same where its key is: rule, subjects, address and other party, whatever its message says.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from netcheck.plan.model import Cell, Interface
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding

# An interface's values, and their names as the plan's file has them.
_VALUES = (
    ("kind", "kind"), ("where", "place"), ("subnet", "subnet"), ("slot", "slot"), ("address", "address"),
    ("mask", "mask"), ("gateway", "gateway"), ("mac", "mac"), ("host_name", "host-name"), ("ports", "ports"),
    ("switch_port", "switch-port"), ("behind", "behind"), ("granted", "granted"), ("address6", "address6"),
    ("mask6", "mask6"), ("gateway6", "gateway6"), ("subnet6", "subnet6"),
)  # fmt: skip


class Turn(StrEnum):
    """What became of an interface."""

    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class Difference:
    """One value of an interface, as it was and as it is; empty where there was or is none."""

    what: str
    before: str
    now: str


@dataclass(frozen=True, slots=True)
class Changed:
    """One interface that is new, gone, or has other values."""

    subject: str
    turn: Turn
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class Changes:
    """Findings and interfaces of a plan against those of an earlier revision, checked on the same day.

    Open findings are new or remaining now, and were gone, agreed or remaining before; `agreed` are those that still
    stand and have been accepted since."""

    before: Checked
    new: tuple[Finding, ...]
    gone: tuple[Finding, ...]
    agreed: tuple[Finding, ...]
    remaining: tuple[Finding, ...]
    interfaces: tuple[Changed, ...]


def changes_of(before: Checked, now: Checked) -> Changes:
    """Compare two checks of two revisions of one plan."""
    remaining, new = _parted(now.findings, before.findings)
    _, closed = _parted(before.findings, now.findings)
    agreed, gone = _parted(closed, (each.finding for each in now.accepted))
    return Changes(before, new, gone, agreed, remaining, tuple(_interfaces(before, now)))


def _parted(findings: Iterable[Finding], others: Iterable[Finding]) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Those that the others have too, each as often as these have it, and the rest."""
    left = Counter(finding.key for finding in others)
    both: list[Finding] = []
    alone: list[Finding] = []
    for finding in findings:
        (both if left[finding.key] > 0 else alone).append(finding)
        left[finding.key] -= 1
    return tuple(both), tuple(alone)


def _interfaces(before: Checked, now: Checked) -> Iterator[Changed]:
    old, new = before.plan.interface_named, now.plan.interface_named
    for subject, interface in new.items():
        if subject not in old:
            yield Changed(subject, Turn.ADDED, tuple(_differences(None, interface)))
        elif differences := tuple(_differences(old[subject], interface)):
            yield Changed(subject, Turn.CHANGED, differences)
    for subject, interface in old.items():
        if subject not in new:
            yield Changed(subject, Turn.REMOVED, tuple(_differences(interface, None)))


def _differences(old: Interface | None, new: Interface | None) -> Iterator[Difference]:
    for value, name in _VALUES:
        before, now = (_text(getattr(one, value)) if one else "" for one in (old, new))
        if before != now and not (value == "ports" and {before, now} == {"", "1"}):
            yield Difference(name, before, now)


def _text(value: Any) -> str:
    """A value as the plan means it: `/24` and 255.255.255.0 are one mask, two spellings of a MAC one MAC."""
    match value:
        case None:
            return ""
        case Cell():
            return value.text if value.value is None else str(value.value)
        case tuple():
            return ", ".join(map(str, value))
    return str(value)
