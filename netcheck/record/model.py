"""The content of a record as one frozen value: its runs, its events, and all proofs of each port."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from netcheck.proof.result import Proof
from netcheck.record.chain import LineKind, RecordLine
from netcheck.record.read import proof_of

# Kinds of event that the record itself writes; callers write others.
RESUMED, TORN, PLAN_CHANGED, MOVED = "resumed", "torn", "plan-changed", "moved"


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """How one run was made: plan (site name, revision, SHA-256), tool version, station, interface and permit.

    `by` names technician and company, `local` is the local time of the start with its offset, and `simulated` marks
    a run on the simulated bench, which proves nothing about a site.
    """

    plan: str
    revision: str
    sha256: str
    version: str
    station: str = ""
    interface: str = ""
    permit: str = ""
    by: str = ""
    local: str = ""
    simulated: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the fields of a `start` line, which are also the facts of a `resumed` event."""
        return {
            "plan": {"name": self.plan, "revision": self.revision, "sha256": self.sha256},
            "netcheck": self.version,
            "station": self.station,
            "interface": self.interface,
            "permit": self.permit,
            **{key: text for key, text in (("by", self.by), ("local", self.local)) if text},
            "simulated": self.simulated,
        }

    @classmethod
    def from_json(cls, shape: Mapping[str, Any]) -> Run:
        """Read what `to_json` wrote; a value that is missing or not a text becomes empty."""
        plan = shape.get("plan")
        named: Mapping[str, Any] = plan if isinstance(plan, dict) else {}
        interface = _text(shape.get("interface"))
        return cls(
            plan=_text(named.get("name")),
            revision=_text(named.get("revision")),
            sha256=_text(named.get("sha256")),
            version=_text(shape.get("netcheck")),
            station=_text(shape.get("station")),
            interface=interface,
            permit=_text(shape.get("permit")),
            by=_text(shape.get("by")),
            local=_text(shape.get("local")),
            # Records written before the key existed name the simulated link in their interface.
            simulated=shape.get("simulated") is True or interface.endswith("(rig)"),
        )


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


@dataclass(frozen=True, slots=True)
class RecordedEvent:
    """An event between proofs: its UTC time as written, its kind, a sentence, and facts."""

    at: str
    kind: str
    text: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Proved:
    """A recorded proof of a port: its time, its line (from 1), and the hashes of the plan and of the row it was proven
    for."""

    proof: Proof
    at: str
    line: int
    sha256: str
    row: str

    def stands(self, sha256: str, rows: Mapping[str, str]) -> bool:
        """Return whether a plan, given by its SHA-256 and its row hashes, still has the row that was proven."""
        row = rows.get(self.proof.interface)
        return row is not None and (self.sha256 == sha256 or self.row == row)


@dataclass(frozen=True, slots=True)
class Content:
    """The content of a record. `sha256` is that of the plan at the end; `proofs` is the latest proof of each port, and
    `older` holds all earlier ones."""

    runs: tuple[Run, ...] = ()
    sha256: str = ""
    events: tuple[RecordedEvent, ...] = ()
    proofs: tuple[Proved, ...] = ()
    older: tuple[Proved, ...] = ()

    @property
    def simulated(self) -> bool:
        """Return whether any run of the record was on the simulated bench."""
        return any(run.simulated for run in self.runs)

    @classmethod
    def from_lines(cls, lines: Iterable[RecordLine]) -> Content:
        """Collect valid lines in order; leave out proofs that cannot be read."""
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
