"""The content of a record as one frozen value: its runs, its events, and all proofs of each port."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from netcheck.proof.result import Proof
from netcheck.record.chain import LineKind, RecordLine, proof_of

# Kinds of event that the recorder itself writes; callers write others.
RESUMED, TORN, PLAN_CHANGED, MOVED = "resumed", "torn", "plan-changed", "moved"
# Kinds of event that add to the proofs: a remark of the technician, and the hash of a file.
REMARK, ATTACHED = "remark", "attached"
MOST_ATTACHED = 1000  # files of one record that are compared


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """How one run was made: plan (site name, revision, SHA-256), tool version, station, interface and permit.

    `by` names the technician and the company, `local` is the local time of the start with its UTC offset, and
    `simulated` marks a run on the simulated bench, which proves nothing about a site.
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
        """Return the fields of a `start` line; a `resumed` event has the same fields as its facts."""
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
        """Read what `to_json` wrote; a value that is missing or is not a string becomes empty."""
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
    """An event between proofs: its UTC time as text, its kind, a sentence, and facts."""

    at: str
    kind: str
    text: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class PortRemark:
    """A remark of a technician: its UTC time as text, its port ("" for the whole run), its text and its author."""

    at: str
    port: str
    text: str
    by: str = ""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that belongs to a record, such as a photograph.

    `name` has no folders, `size` is in bytes, `sha256` is in hexadecimal.
    """

    name: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Proved:
    """A recorded proof of a port: its time, its line (from 1) and the run that made it.

    `sha256` is the hash of the plan, and `row` the hash of the plan's row, for which the port was proven.
    """

    proof: Proof
    at: str
    line: int
    sha256: str
    row: str
    run: Run | None = None

    def is_current(self, sha256: str, rows: Mapping[str, str]) -> bool:
        """Return whether a plan still has the row that was proven.

        *sha256* is the hash of the plan, and *rows* holds its row hashes by interface.
        """
        row = rows.get(self.proof.interface)
        return row is not None and (self.sha256 == sha256 or self.row == row)


@dataclass(frozen=True, slots=True)
class Content:
    """The content of a record.

    `sha256` is that of the plan in the last run. `proofs` has one proof for each port, the one that counts; `older` has
    all others.
    """

    runs: tuple[Run, ...] = ()
    sha256: str = ""
    events: tuple[RecordedEvent, ...] = ()
    proofs: tuple[Proved, ...] = ()
    older: tuple[Proved, ...] = ()
    remarks: tuple[PortRemark, ...] = ()
    attachments: tuple[Attachment, ...] = ()

    @property
    def simulated(self) -> bool:
        """Return whether any run of the record was on the simulated bench."""
        return any(run.simulated for run in self.runs)

    @classmethod
    def from_lines(cls, lines: Iterable[RecordLine]) -> Content:
        """Return the content of valid lines; proofs that cannot be read are left out."""
        runs: list[Run] = []
        sha256 = ""
        events: list[RecordedEvent] = []
        proofs: dict[str, Proved] = {}
        older: list[Proved] = []
        remarks: list[PortRemark] = []
        attachments: dict[Attachment, None] = {}
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
                if event.kind == REMARK:
                    remarks.append(_remark(event, runs[-1] if runs else None))
                if (attached := attachment_of(line)) is not None:
                    attachments[attached] = None
            elif line.kind is LineKind.PROOF and (proved := _proved(line, sha256, runs[-1] if runs else None)):
                before = proofs.get(proved.proof.subject)
                if proved.proof.verdict.replaces(None if before is None else before.proof.verdict):
                    older += [] if before is None else [before]
                    proofs[proved.proof.subject] = proved
                else:
                    older.append(proved)
        return cls(
            tuple(runs), sha256, tuple(events), tuple(proofs.values()), tuple(older), tuple(remarks), tuple(attachments)
        )


def _event(line: RecordLine) -> RecordedEvent:
    facts = line.fields.get("facts")
    kind, text = _text(line.fields.get("event")), _text(line.fields.get("text"))
    return RecordedEvent(line.at, kind, text, facts if isinstance(facts, dict) else {})


def _remark(event: RecordedEvent, run: Run | None) -> PortRemark:
    by = _text(event.facts.get("by")) or ("" if run is None else run.by)
    return PortRemark(event.at, _text(event.facts.get("port")), event.text, by)


def attachment_of(line: RecordLine) -> Attachment | None:
    """Return the file that a line attaches, or None."""
    facts = line.fields.get("facts")
    if line.kind is not LineKind.EVENT or line.fields.get("event") != ATTACHED or not isinstance(facts, dict):
        return None
    name, size, digest = _text(facts.get("name")), facts.get("size"), _text(facts.get("sha256"))
    return Attachment(name, size, digest) if name and digest and type(size) is int and size >= 0 else None


def _proved(line: RecordLine, sha256: str, run: Run | None) -> Proved | None:
    try:
        proof = proof_of(line)
    except ValueError:
        return None
    return Proved(proof, line.at, line.n + 1, sha256, _text(line.fields.get("row")), run)
