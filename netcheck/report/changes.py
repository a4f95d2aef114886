"""Compares the checks of two revisions of a plan: findings, subnets and interfaces.

Two findings are the same if their keys are equal: rule, subjects, address and other party. The message does not count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from netcheck.plan.model import Cell, Interface, Subnet
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding

# Attributes of a subnet and of an interface, with their names in the plan's files.
_OF_SUBNET = (
    ("prefix", "prefix"), ("gateway", "gateway"), ("vlan", "vlan"), ("island", "island"), ("pools", "pools"),
    ("reserved", "reserved"),
)  # fmt: skip
_OF_INTERFACE = (
    ("kind", "kind"), ("location", "place"), ("subnet", "subnet"), ("slot", "slot"), ("address", "address"),
    ("mask", "mask"), ("gateway", "gateway"), ("mac", "mac"), ("host_name", "host-name"), ("ports", "ports"),
    ("switch_port", "switch-port"), ("behind", "behind"), ("granted", "granted"), ("address6", "address6"),
    ("mask6", "mask6"), ("gateway6", "gateway6"), ("subnet6", "subnet6"),
)  # fmt: skip


class Turn(StrEnum):
    """How a subnet or an interface differs from the earlier revision."""

    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class Difference:
    """One value before and now; empty where it is not set."""

    what: str
    before: str
    now: str


@dataclass(frozen=True, slots=True)
class Changed:
    """One subnet or interface that was added, removed or changed."""

    subject: str
    turn: Turn
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class Changes:
    """Differences between a plan and its earlier revision, both checked for the same date.

    Each open finding of now is in `new` or `remaining`. Each open finding of before is in `gone`, `agreed` (accepted
    since) or `remaining`.
    """

    before: Checked
    new: tuple[Finding, ...]
    gone: tuple[Finding, ...]
    agreed: tuple[Finding, ...]
    remaining: tuple[Finding, ...]
    subnets: tuple[Changed, ...]
    interfaces: tuple[Changed, ...]


def changes_of(before: Checked, now: Checked) -> Changes:
    """Return the differences between the checks of two revisions of one plan."""
    remaining, new = _parted(now.findings, before.findings)
    _, closed = _parted(before.findings, now.findings)
    agreed, gone = _parted(closed, (each.finding for each in now.accepted))
    old, plan = before.plan, now.plan
    return Changes(
        before,
        new,
        gone,
        agreed,
        remaining,
        tuple(_changed(old.subnet_named, plan.subnet_named, _OF_SUBNET)),
        tuple(_changed(old.interface_named, plan.interface_named, _OF_INTERFACE)),
    )


def _parted(findings: Iterable[Finding], others: Iterable[Finding]) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Split findings into those that *others* contain too, counted with multiplicity, and the rest."""
    left = Counter(finding.key for finding in others)
    both: list[Finding] = []
    alone: list[Finding] = []
    for finding in findings:
        (both if left[finding.key] > 0 else alone).append(finding)
        left[finding.key] -= 1
    return tuple(both), tuple(alone)


Things = Mapping[str, Subnet] | Mapping[str, Interface]
Values = tuple[tuple[str, str], ...]


def _changed(old: Things, new: Things, values: Values) -> Iterator[Changed]:
    for subject, thing in new.items():
        differences = tuple(_differences(old.get(subject), thing, values))
        if subject not in old or differences:
            yield Changed(subject, Turn.CHANGED if subject in old else Turn.ADDED, differences)
    for subject, thing in old.items():
        if subject not in new:
            yield Changed(subject, Turn.REMOVED, tuple(_differences(thing, None, values)))


def _differences(
    old: Subnet | Interface | None, new: Subnet | Interface | None, values: Values
) -> Iterator[Difference]:
    for value, name in values:
        before, now = (_text(getattr(one, value)) if one else "" for one in (old, new))
        if before != now and not (value == "ports" and {before, now} == {"", "1"}):
            yield Difference(name, before, now)


def _text(value: Any) -> str:
    """Return a value in canonical spelling: `/24` and 255.255.255.0 are the same mask."""
    match value:
        case None:
            return ""
        case Cell():
            return value.text if value.value is None else str(value.value)
        case tuple():
            return ", ".join(map(_text, value))
    return str(value)
