"""A rule of the catalogue: its texts, its check, and two example plans that are its first tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum

from netcheck.rules.finding import Breach, Severity
from netcheck.rules.scene import Scene


class Readdress(Enum):
    """Which subjects of a finding get a new address as its fix."""

    NONE = "no new address resolves it"
    EACH = "a new address for each subject"
    ALL_BUT_ONE = "a new address for all subjects but one, which keeps its address"
    PRIVATE = "a new address for private use, if the subnet has one"


@dataclass(frozen=True, slots=True)
class Example:
    """A small plan: the text of plan.toml, and of site-hosts.csv in the same folder if `hosts` is not empty."""

    plan: str
    hosts: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule. `what` is one sentence; `why` says what goes wrong on a plant; `good` is `bad` corrected."""

    slug: str
    severity: Severity
    what: str
    why: str
    bad: Example
    good: Example
    source: str
    check: Callable[[Scene], Iterable[Breach]]
    readdress: Readdress = Readdress.NONE
