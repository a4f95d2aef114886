"""A rule of the catalogue, its words and its check; the examples are the rule's own tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum

from netcheck.rules.finding import Breach, Severity
from netcheck.rules.scene import Scene


class Readdress(Enum):
    """Whether another address mends a finding."""

    NONE = "no address mends it"
    EACH = "a new address for each subject"
    ALL_BUT_FIRST = "a new address for all subjects but the first, which keeps the one it has"
    PRIVATE = "a new address for private use, where the subnet has any"


@dataclass(frozen=True, slots=True)
class Example:
    """A small plan: the text of its plan.toml, and of a site-hosts.csv beside it where `hosts` is not empty."""

    plan: str
    hosts: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `what` is one sentence; `why` says why it matters on a plant; `good` is `bad` mended."""

    slug: str
    severity: Severity
    what: str
    why: str
    bad: Example
    good: Example
    source: str
    check: Callable[[Scene], Iterable[Breach]]
    readdress: Readdress = Readdress.NONE
