"""Judges the recorded evidence again: a valid chain does not show that the proofs follow from their counts.

A record holds less than the judge knew during the run. Every value that is not recorded is assumed in favour of the
proof. Only a contradiction is reported, never a doubt.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from math import isclose

from netcheck.proof.result import PASSED, Phase, Proof, Verdict
from netcheck.proof.targets import Target
from netcheck.proof.verdict.judge import verdict
from netcheck.proof.verdict.names import UNKNOWN
from netcheck.proof.verdict.observation import Observation, Owner, Silence
from netcheck.proof.verdict.silence_rule import Confirmed, lossy, luck, unheard
from netcheck.record.chain import LineKind, RecordLine, proof_of
from netcheck.record.model import RESUMED, Run

MOST = 20  # contradictions that are listed; the others are only counted
LEAST_SILENCE = 4.9  # seconds: the shortest silence that the rule accepts, less the rounding
LARGEST_LUCK = 0.5  # the largest limit that the command line accepts
SLACK = 10.0  # seconds that phases may exceed the time between two time stamps
SAME = 1e-6  # relative difference of figures that were rounded or computed elsewhere


def contradictions(proof: Proof) -> Iterator[str]:
    """Yield a sentence for each value of a proof that does not follow from its own counts."""
    yield from _verdict(proof)
    yield from _unheard(proof)
    yield from _luck(proof)


def _verdict(proof: Proof) -> Iterator[str]:
    """Judge a proof again; for `silent` also check that no request was answered."""
    said = str(proof.verdict)
    if proof.verdict in PASSED:
        again, why = verdict(observed(proof), UNKNOWN)
        if again is not proof.verdict:
            yield f"the verdict {said} does not follow from the counts, which give {again}: {why}"
    elif proof.verdict is Verdict.SILENT and any(_answered(proof, phase) for phase in Phase):
        yield f"the verdict {said} does not follow from the counts: requests were answered"


def _answered(proof: Proof, phase: Phase) -> int:
    seen = dict(proof.phases).get(phase)
    return 0 if seen is None else seen.arp.answered + seen.echo.answered


def observed(proof: Proof) -> Observation:
    """Return the observation that a proof records; a value that is not recorded is as `proven` needs it."""
    address = _address(proof.address)
    owners = [Owner(o.mac, Phase(o.phase)) for o in proof.others if o.address == address and o.phase in list(Phase)]
    negatives = tuple((o.address, o.mac) for o in proof.others if o.address != address)
    if proof.mac is not None:
        owners += [Owner(proof.mac, phase) for phase in Phase if _answered(proof, phase)]
    device = proof.interface.split("/")[0]
    planned = proof.mac if proof.identity == "planned" else None
    out = dict(proof.phases).get(Phase.OUT)
    silences: tuple[Silence, ...] = ()
    if out is not None:
        confirmed = Confirmed.CARRIER if proof.cable == "carrier" else Confirmed.OPERATOR
        missed = out.arp.sent - out.arp.answered, out.echo.sent - out.echo.answered
        silences = (Silence(confirmed=confirmed, lasted=out.seconds, needed=LEAST_SILENCE, missed=missed),)
    return Observation(
        target=Target(
            interface=proof.interface,
            port=proof.port,
            device=device,
            address=address,
            address_text=proof.address,
            subnet="",
            mac=planned,
        ),
        mac=proof.mac,
        phases=proof.phases,
        owners=tuple(owners),
        cable=proof.cable,
        connector=proof.connector or "assumed",
        silences=silences,
        requests_needed=0,
        controls=1,
        negatives=negatives,
        answers_now=bool(_answered(proof, Phase.BACK)),
        hears_all=proof.unheard is not None,
        evidence=proof.evidence,
        luck_limit=LARGEST_LUCK,
    )


def _address(text: str) -> int:
    parts = text.split(".")
    if len(parts) != 4 or not all(part.isascii() and part.isdigit() and int(part) < 256 for part in parts):
        return -1
    return int.from_bytes(bytes(map(int, parts)), "big")


def _unheard(proof: Proof) -> Iterator[str]:
    asked = sum(seen.arp.sent for _, seen in proof.phases)
    if proof.unheard is not None and not isclose(proof.unheard, unheard(asked), rel_tol=SAME):
        yield f"unheard is {proof.unheard:.1e}, but {asked} broadcast requests give {unheard(asked):.1e}"


def _luck(proof: Proof) -> Iterator[str]:
    """Compare the luck figure with the least that the counts allow.

    A record has only the sum of the misses of several silences. Their product is smallest if the misses are distributed
    evenly.
    """
    phases = dict(proof.phases)
    before, out = phases.get(Phase.IN), phases.get(Phase.OUT)
    if proof.luck is None or before is None or out is None:
        return
    pulls = dict(proof.evidence).get("pulls", "")
    silences = pulls.count(";") + 1
    kinds = ((before.arp, out.arp), (before.echo, out.echo))
    least = [
        luck(seen.sent, seen.answered, -(-missed.sent // silences)) ** silences
        for seen, missed in kinds
        if seen.answered
    ]
    by_keys = not pulls and not lossy(before)  # the operator confirmed both movements: echo alone may count
    smallest = (min if by_keys else max)(least, default=0.0)
    if proof.luck < smallest * (1 - SAME):
        yield f"luck is {proof.luck:.1e}, but the counts give at least {smallest:.1e}"


class EvidenceCheck:
    """Collects contradictions line by line; its memory is bounded, except for one verdict a port."""

    def __init__(self) -> None:
        self._first: list[str] = []
        self._count = 0
        self._run: Run | None = None
        self._began = ""
        self._verdicts: dict[str, Verdict] = {}

    def check(self, line: RecordLine) -> None:
        """Check the next valid line of the chain."""
        if line.kind is LineKind.START:
            self._start(line, Run.from_json(line.fields))
        elif line.kind is LineKind.EVENT and line.fields.get("event") == RESUMED:
            facts = line.fields.get("facts")
            self._start(line, Run.from_json(facts if isinstance(facts, dict) else {}))
        elif line.kind is LineKind.PROOF:
            try:
                self._proof(line, proof_of(line))
            except ValueError:
                return  # the verification notes a proof that cannot be read
        elif line.kind is LineKind.END:
            self._end(line)

    def found(self) -> tuple[str, ...]:
        """Return the first `MOST` contradictions, each with its line, and the number of the others."""
        more = [f"{self._count - MOST} more contradictions"] if self._count > MOST else []
        return (*self._first, *more)

    def _add(self, line: RecordLine, what: str) -> None:
        self._count += 1
        if self._count <= MOST:
            self._first.append(f"line {line.n + 1}: {what}")

    def _start(self, line: RecordLine, run: Run) -> None:
        if self._run is not None and run.plan != self._run.plan:
            self._add(line, f"the run is of plan {run.plan!r}, but the record is of plan {self._run.plan!r}")
        if self._run is not None and run.simulated != self._run.simulated:
            self._add(line, "a simulated and a real run are in one record")
        self._run, self._began, self._verdicts = run, line.at, {}

    def _proof(self, line: RecordLine, proof: Proof) -> None:
        if proof.verdict.replaces(self._verdicts.get(proof.subject)):
            self._verdicts[proof.subject] = proof.verdict
        for what in contradictions(proof):
            self._add(line, f"{proof.subject}: {what}")
        if self._run is not None and not self._run.simulated:  # a simulated bench has its own time
            spent, passed = sum(seen.seconds for _, seen in proof.phases), _between(self._began, line.at)
            if passed is not None and 0 <= passed < spent - SLACK:
                what = f"its phases last {spent:.0f} s, but only {passed:.0f} s passed since the start of the run"
                self._add(line, f"{proof.subject}: {what}")

    def _end(self, line: RecordLine) -> None:
        """Compare the summary with the proofs.

        A stopped run counts ports without recording them, but never as `proven`.
        """
        summary = line.fields.get("summary")
        if not isinstance(summary, dict):
            return
        counts = Counter(self._verdicts.values())
        for word in Verdict:
            said = summary.get(str(word), 0)
            wrong = said != counts[word] if word is Verdict.PROVEN else said < counts[word]
            if isinstance(said, int) and wrong:
                self._add(line, f"the summary counts {said} {word}, but the run has {counts[word]} such proofs")


def _between(began: str, at: str) -> float | None:
    try:
        return (datetime.fromisoformat(at) - datetime.fromisoformat(began)).total_seconds()
    except (ValueError, TypeError):
        return None
