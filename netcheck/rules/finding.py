"""A finding: one rule that one or more subjects break, with severity, reason, source and, where one exists, a fix."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from hashlib import sha256

from netcheck.addr import Address
from netcheck.plan.model import Interface, Position


class Severity(StrEnum):
    """How much a finding weighs, the gravest first."""

    CONFLICT = "conflict"  # must not be installed so
    RISK = "risk"  # may work; agree it with the site
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Breach:
    """What a rule's check finds. `others` are the names by which the other party may be called, the best one first."""

    subjects: tuple[str, ...]
    message: str
    where: str
    address: str | None = None
    others: tuple[str, ...] = ()


def places(several: Iterable[Position], most: int = 4) -> str:
    """Several places as one text; beyond `most`, the rest as a count."""
    texts = list(dict.fromkeys(map(str, several)))
    more = [f"{len(texts) - most} more"] if len(texts) > most else []
    return "; ".join(texts[:most] + more)


def breach(message: str, *interfaces: Interface, others: Iterable[str] = ()) -> Breach:
    """A breach by interfaces, at the address that all of them have, if one."""
    addresses = {interface.address.value if interface.address else None for interface in interfaces}
    address = addresses.pop() if len(addresses) == 1 else None
    subjects = tuple(interface.subject for interface in interfaces)
    names = tuple(dict.fromkeys(filter(None, others)))
    where = places(interface.position for interface in interfaces)
    return Breach(subjects, message, where, str(address) if address else None, names)


@dataclass(frozen=True, slots=True)
class Fix:
    """Free addresses that mend a finding, by subject: the first holder of a shared address keeps it and has none."""

    addresses: tuple[tuple[str, Address], ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """A breach with its rule's slug, severity and source, and the fix that goes with all other fixes of the run."""

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
        """The other party, as an accepted entry's `with` names it: further subjects, else what is clashed with."""
        return ", ".join(self.subjects[1:]) or next(iter(self.others), "")

    @property
    def key(self) -> str:
        """The same for the same clash in every run, whatever the message says; answers are found by it."""
        parts = "\n".join((self.rule, *self.subjects, self.address or "", self.other))
        return f"{self.rule}-{sha256(parts.encode('utf-8', 'surrogatepass')).hexdigest()[:12]}"


@dataclass(frozen=True, slots=True)
class AcceptedFinding:
    """A finding that the site has accepted, by whom, why and until when."""

    finding: Finding
    by: str
    because: str
    until: date | None
