"""A finding: a rule that one or more subjects break, with severity, reason, source and, if there is one, a fix."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from enum import StrEnum
from hashlib import sha256
from typing import NamedTuple

from netcheck.addr import Address
from netcheck.plan.model import Interface, Position


class Severity(StrEnum):
    """The severity of a finding, the most severe first."""

    CONFLICT = "conflict"  # do not install as drafted
    RISK = "risk"  # may work; agree on it with the site
    NOTE = "note"


class Breach(NamedTuple):
    """A finding without the values of its rule; `others` are names of the other party, the best one first."""

    subjects: tuple[str, ...]
    message: str
    where: str
    address: str | None = None
    others: tuple[str, ...] = ()


def places(several: Iterable[Position], most: int = 4) -> str:
    """Return several positions as one text; positions in excess of `most` are only counted."""
    texts = list(dict.fromkeys(map(str, several)))
    more = [f"{len(texts) - most} more"] if len(texts) > most else []
    return "; ".join(texts[:most] + more)


def breach(message: str, *interfaces: Interface, others: Iterable[str] = ()) -> Breach:
    """Return a breach of these interfaces, with their address if all of them have the same one."""
    addresses = {interface.address.value if interface.address else None for interface in interfaces}
    address = addresses.pop() if len(addresses) == 1 else None
    subjects = tuple(interface.subject for interface in interfaces)
    names = tuple(dict.fromkeys(filter(None, others)))
    where = places(interface.position for interface in interfaces)
    return Breach(subjects, message, where, str(address) if address else None, names)


class Fix(NamedTuple):
    """Free addresses that resolve a finding, by subject; a subject that keeps its address is not in it."""

    addresses: tuple[tuple[str, Address], ...]


class Finding(NamedTuple):
    """A breach with its rule's slug, severity and source, and a fix that fits all other fixes of the run."""

    rule: str
    severity: Severity
    subjects: tuple[str, ...]
    address: str | None
    message: str
    source: str
    fix: Fix | None
    where: str
    others: tuple[str, ...] = ()

    @property
    def other(self) -> str:
        """Return the value for `with` of an accepted entry: the other subjects, or the name of the other party."""
        return ", ".join(self.subjects[1:]) or next(iter(self.others), "")

    @property
    def key(self) -> str:
        """Return an identifier of a finding that is the same in every run; `answers` finds the finding by it."""
        parts = "\n".join((self.rule, *self.subjects, self.address or "", self.other))
        return f"{self.rule}-{sha256(parts.encode('utf-8', 'surrogatepass')).hexdigest()[:12]}"


class AcceptedFinding(NamedTuple):
    """A finding that the site has accepted: the person, the reason and the last day."""

    finding: Finding
    by: str
    because: str
    until: date | None
    decided: date | None = None
