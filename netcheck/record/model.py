"""A record as one frozen value: how it began, what happened, and the latest proof of each port."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from netcheck.proof.result import Proof
from netcheck.record.chain import LineKind, RecordLine
from netcheck.record.read import proof_of

# Kinds of event that the record itself writes; the caller has others of its own.
RESUMED, TORN, PLAN_CHANGED = "resumed", "torn", "plan-changed"


@dataclass(frozen=True, slots=True)
class Run:
    """What one run was made with: the plan (site name, revision, SHA-256), tool version, station, interface, permit."""

    plan: str
    revision: str
    sha256: str
    version: str
    station: str = ""
    interface: str = ""
    permit: str = ""

    def to_json(self) -> dict[str, Any]:
        """The fields of a `start` line, and the facts of a `resumed` event."""
        return {
            "plan": {"name": self.plan, "revision": self.revision, "sha256": self.sha256},
            "netcheck": self.version,
            "station": self.station,
            "interface": self.interface,
            "permit": self.permit,
        }

    @classmethod
    def from_json(cls, shape: Mapping[str, Any]) -> Run:
        """Read what `to_json` wrote; whatever is missing or no text is empty."""
        plan = shape.get("plan")
        named: Mapping[str, Any] = plan if isinstance(plan, dict) else {}
        return cls(
            *(_text(named.get(key)) for key in ("name", "revision", "sha256")),
            *(_text(shape.get(key)) for key in ("netcheck", "station", "interface", "permit")),
        )


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


@dataclass(frozen=True, slots=True)
class RecordedEvent:
    """Something that happened between proofs: when (UTC as written), which kind, the sentence, and its facts."""

    at: str
    kind: str
    text: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Proved:
    """One port's proof as recorded: when, in which line (from 1), and under which plan and row (see `plan.rows`)."""

    proof: Proof
    at: str
    line: int
    sha256: str
    row: str

    def stands(self, sha256: str, rows: Mapping[str, str]) -> bool:
        """Say whether the plan given by its SHA-256 and its row hashes still has the row that was proven."""
        row = rows.get(self.proof.interface)
        return row is not None and (self.sha256 == sha256 or self.row == row)


@dataclass(frozen=True, slots=True)
class Content:
    """What the lines of one record say. `sha256` is the plan's at the end; `proofs` holds the latest of each port, and
    `older` the ones before it."""

    runs: tuple[Run, ...] = ()
    sha256: str = ""
    events: tuple[RecordedEvent, ...] = ()
    proofs: tuple[Proved, ...] = ()
    older: tuple[Proved, ...] = ()

    @classmethod
    def from_lines(cls, lines: Iterable[RecordLine]) -> Content:
        """Gather lines that fit, in their order. A proof that cannot be read counts for nothing."""
        runs: list[Run] = []
        sha256 = ""
        events: list[RecordedEvent] = []
        proofs: dict[str, Proved] = {}
        older: list[Proved] = []
        for line in lines:
            if line.kind is LineKind.START:
                runs.append(Run.from_json(line.fields))
                sha256 = runs[-1].sha256
            elif line.kind is LineKind.EVENT:
                event = _event(line)
                events.append(event)
                if event.kind == RESUMED:
                    runs.append(Run.from_json(event.facts))
                if event.kind == PLAN_CHANGED:
                    sha256 = _text(event.facts.get("now"))
            elif line.kind is LineKind.PROOF and (proved := _proved(line, sha256)):
                older += [proofs[proved.proof.subject]] if proved.proof.subject in proofs else []
                proofs[proved.proof.subject] = proved
        return cls(tuple(runs), sha256, tuple(events), tuple(proofs.values()), tuple(older))


def _event(line: RecordLine) -> RecordedEvent:
    facts = line.fields.get("facts")
    kind, text = _text(line.fields.get("event")), _text(line.fields.get("text"))
    return RecordedEvent(line.at, kind, text, facts if isinstance(facts, dict) else {})


def _proved(line: RecordLine, sha256: str) -> Proved | None:
    try:
        proof = proof_of(line)
    except ValueError:
        return None
    return Proved(proof, line.at, line.n + 1, sha256, _text(line.fields.get("row")))
