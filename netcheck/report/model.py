"""The report as one frozen value: what every writer gets, whatever it writes."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from pathlib import PurePath

from netcheck.plan.model import Interface, Plan
from netcheck.proof.result import Proof, Verdict
from netcheck.record.model import Proved
from netcheck.record.verify import Record, State
from netcheck.report.changes import Changes
from netcheck.rules.engine import Checked
from netcheck.rules.rule import Rule
from netcheck.survey.model import Survey


@dataclass(frozen=True, slots=True)
class Evidence:
    """One recorded proof, and the name of the record that holds it."""

    proved: Proved
    record: str

    def __str__(self) -> str:
        return f"{self.proved.proof.verdict} at {self.proved.at} ({self.record}, line {self.proved.line})"


@dataclass(frozen=True, slots=True)
class PortResult:
    """One port of the plan: the proof that counts, or why none does. `earlier` are proofs that do not count."""

    interface: Interface
    proof: Proof
    evidence: Evidence | None = None
    earlier: tuple[Evidence, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """The proof's verdict; `not-tested` where none counts."""
        return self.proof.verdict


@dataclass(frozen=True, slots=True)
class Report:
    """Findings, proofs and what they rest on, for one plan on one day. `gone` are proofs of ports no longer planned.

    `ports` are those of the plan in its order, and empty where no record was given. `changes` are those since another
    revision, None where none was named."""

    checked: Checked
    surveys: tuple[Survey, ...]
    rules: tuple[Rule, ...]
    records: tuple[Record, ...]
    ports: tuple[PortResult, ...]
    gone: tuple[Evidence, ...]
    today: date
    version: str
    changes: Changes | None = None

    @property
    def plan(self) -> Plan:
        """The plan that was checked."""
        return self.checked.plan

    @property
    def verdicts(self) -> tuple[tuple[Verdict, int], ...]:
        """How many ports have each verdict, `proven` first, verdicts that no port has left out."""
        counts = Counter(port.verdict for port in self.ports)
        order = sorted(counts, key=lambda verdict: (verdict is not Verdict.PROVEN, list(Verdict).index(verdict)))
        return tuple((verdict, counts[verdict]) for verdict in order)

    @property
    def flawed(self) -> tuple[Record, ...]:
        """Records whose chain is broken or torn."""
        return tuple(record for record in self.records if record.verification.state is not State.INTACT)


def short(record: Record) -> str:
    """A record's file name, without the folders of the computer it lies on."""
    return PurePath(record.path).name
