"""Defines the report as one frozen value, the input of every writer."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from pathlib import PurePath

from netcheck.plan.model import Interface, Plan
from netcheck.proof.result import Proof, Verdict
from netcheck.record.model import PortRemark, Proved
from netcheck.record.verify import State, VerifiedRecord
from netcheck.report.changes import Changes
from netcheck.rules.engine import Checked
from netcheck.rules.rule import Rule
from netcheck.survey.model import Survey


@dataclass(frozen=True, slots=True)
class Evidence:
    """One recorded proof and the name of its record."""

    proved: Proved
    record: str

    @property
    def by(self) -> str:
        """Return who proved the port, as the run says; empty if the run names nobody."""
        return self.proved.run.by if self.proved.run else ""

    def __str__(self) -> str:
        return f"{self.proved.proof.verdict} at {self.proved.at} ({self.record}, line {self.proved.line})"


@dataclass(frozen=True, slots=True)
class PortResult:
    """One port of the plan with the proof that counts, or the reason why no proof counts.

    `earlier` are all other attempts, newest first: attempts that the proof replaced, and later attempts without a
    definite verdict. `remarks` are those of the technicians.
    """

    interface: Interface
    proof: Proof
    evidence: Evidence | None = None
    earlier: tuple[Evidence, ...] = ()
    remarks: tuple[PortRemark, ...] = ()

    @property
    def later(self) -> tuple[Evidence, ...]:
        """Return the attempts after the proof that counts; they have no definite verdict."""
        if self.evidence is None:
            return ()
        return tuple(each for each in self.earlier if each.proved.at > self.evidence.proved.at)

    @property
    def verdict(self) -> Verdict:
        """Return the verdict of the proof that counts, else `not-tested`."""
        return self.proof.verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Findings and proofs of one plan on one date.

    `ports` are in plan order, and empty without a record. `gone` are proofs of ports that are no longer planned.
    `changes` is None unless an earlier revision was named.
    """

    checked: Checked
    surveys: tuple[Survey, ...]
    rules: tuple[Rule, ...]
    records: tuple[VerifiedRecord, ...]
    ports: tuple[PortResult, ...]
    gone: tuple[Evidence, ...]
    today: date
    version: str
    changes: Changes | None = None
    reply_by: date | None = None  # the last day for the reviewer's answers
    sent_by: str = ""  # the name of the sender, or empty
    misfits: tuple[str, ...] = ()  # recorded evidence that contradicts itself or the plan
    remarks: tuple[PortRemark, ...] = ()  # remarks on whole runs, or on ports that are no longer planned

    @property
    def plan(self) -> Plan:
        """Return the plan that was checked."""
        return self.checked.plan

    @property
    def simulated(self) -> bool:
        """Return whether the records are of a simulated bench."""
        return any(record.content.simulated for record in self.records)

    @property
    def verdicts(self) -> tuple[tuple[Verdict, int], ...]:
        """Return the number of ports by verdict, `proven` first; a verdict that no port has is left out."""
        counts = Counter(port.verdict for port in self.ports)
        order = sorted(counts, key=lambda verdict: (verdict is not Verdict.PROVEN, list(Verdict).index(verdict)))
        return tuple((verdict, counts[verdict]) for verdict in order)

    @property
    def flawed(self) -> tuple[VerifiedRecord, ...]:
        """Return the records whose chain is broken or torn."""
        return tuple(record for record in self.records if record.verification.state is not State.INTACT)


def short(record: VerifiedRecord) -> str:
    """Return a record's file name without its folders."""
    return PurePath(record.path).name
