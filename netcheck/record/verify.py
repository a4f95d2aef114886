"""Verifies records, and reads them for reports. `verify_steps` is pure; `verify` and `read_record` open the file."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from netcheck.errors import RecordError
from netcheck.files import open_plain, refused_by_system
from netcheck.proof.result import Proof, Verdict
from netcheck.record.chain import ChainBreak, LineKind, RecordLine, Step, Torn, proof_of, raw_lines, read_chain
from netcheck.record.evidence import EvidenceCheck
from netcheck.record.model import MOST_ATTACHED, Attachment, Content, Run, attachment_of

SIZE_LIMIT = 32 << 20  # bytes of a record that is read into memory, some 10,000 proofs; `verify` has no limit
MOST_ATTEMPTS = 100_000  # proofs of a record that are named when several records are verified together

# The verifier that a report prints: ten lines that use only the standard library. A line's hash covers its canonical
# JSON without `hash`; `prev` is the hash of the line before, 64 zeros for the first.
VERIFIER = """\
import hashlib, json, sys
seal, n, form = "0" * 64, 0, {"sort_keys": True, "separators": (",", ":"), "ensure_ascii": False}
try:
    for n, raw in enumerate(open(sys.argv[1], "rb"), 1):
        line = dict(json.loads(raw))
        seen = json.dumps(line, **form).encode() + b"\\n", line.pop("hash"), line["n"], line["prev"]
        real = hashlib.sha256(json.dumps(line, **form).encode()).hexdigest()
        seal = real if seen == (raw, real, n - 1, seal) else sys.exit(f"line {n} does not fit")
    print("intact, seal", seal) if n else sys.exit("the file is empty: it is no record")
except Exception as error: sys.exit(f"line {n} is torn, or is no line of a record ({error!r})")
"""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One recorded proof of a port: its subject, its verdict, its UTC time as text and its line, from 1."""

    subject: str
    verdict: Verdict
    at: str
    line: int


class State(StrEnum):
    """The state of a record's chain."""

    INTACT = "intact"
    BROKEN = "broken"
    TORN = "torn"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """The result of verifying a record.

    `lines` is the number of valid lines. `seal` is the hash of the last valid line, "" if the chain is broken or empty.
    `plan` and `revision` are those of the first line.
    """

    lines: int = 0
    proofs: int = 0
    verdicts: tuple[tuple[str, int], ...] = ()
    ended: bool = False
    seal: str = ""
    flaw: ChainBreak | Torn | None = None
    plan: str = ""
    revision: str = ""
    notes: tuple[str, ...] = ()
    simulated: bool = False
    attachments: tuple[Attachment, ...] = ()  # the first `MOST_ATTACHED` files that belong to the record
    attempts: tuple[Attempt, ...] = ()  # the first `MOST_ATTEMPTS` attempts
    contradictions: tuple[str, ...] = ()  # proofs and summaries that do not follow from the counts

    @property
    def state(self) -> State:
        """Whether the chain is intact, broken or torn."""
        if self.flaw is None:
            return State.INTACT
        return State.TORN if isinstance(self.flaw, Torn) else State.BROKEN

    @property
    def passes(self) -> bool:
        """Whether every byte of the record is valid."""
        return self.flaw is None and not self.contradictions


@dataclass(frozen=True, slots=True)
class VerifiedRecord:
    """A record that was read: its path as given, the content of its valid lines, and the verification of its chain."""

    path: str
    content: Content
    verification: Verification


def verify_steps(steps: Iterable[Step]) -> Verification:
    """Return the verification of a record's lines, in bounded memory."""
    count: Counter[LineKind] = Counter()
    verdicts: Counter[str] = Counter()
    attachments: dict[Attachment, None] = {}
    attempts: list[Attempt] = []
    faults, evidence = _Faults(), EvidenceCheck()
    first: Run | None = None
    last: RecordLine | None = None
    flaw: ChainBreak | Torn | None = None
    for step in steps:
        if not isinstance(step, RecordLine):
            flaw = step
            break
        count[step.kind] += 1
        first = first or Run.from_json(step.fields)
        if (proof := faults.check(step, last)) is not None:
            verdicts[str(proof.verdict)] += 1
            if len(attempts) < MOST_ATTEMPTS:
                attempts.append(Attempt(proof.subject, proof.verdict, step.at, step.n + 1))
        if len(attachments) < MOST_ATTACHED and (attached := attachment_of(step)) is not None:
            attachments[attached] = None
        evidence.check(step)
        last = step
    if last is None and flaw is None:
        flaw = ChainBreak(1, "the file is empty; a record starts with a `start` line")
    return Verification(
        lines=count.total(),
        proofs=count[LineKind.PROOF],
        verdicts=tuple((str(verdict), verdicts[verdict]) for verdict in Verdict if verdicts[verdict]),
        ended=last is not None and last.kind is LineKind.END and flaw is None,
        seal=last.hash if last is not None and not isinstance(flaw, ChainBreak) else "",
        flaw=flaw,
        plan=first.plan if first else "",
        revision=first.revision if first else "",
        simulated=first.simulated if first else False,
        attachments=tuple(attachments),
        attempts=tuple(attempts),
        contradictions=evidence.found(),
        notes=faults.notes(),
    )


class _Faults:
    """Counts two faults that do not break a chain: a clock that was set back, and a proof that cannot be read."""

    def __init__(self) -> None:
        self.back = 0  # the first line with a time before that of the previous line
        self.unread = 0  # the line of the first proof that cannot be read
        self.unread_count = 0

    def check(self, line: RecordLine, last: RecordLine | None) -> Proof | None:
        """Note the faults of a line; return its proof, if it has one."""
        if last is not None and line.at < last.at:
            self.back = self.back or line.n + 1
        if line.kind is not LineKind.PROOF:
            return None
        try:
            return proof_of(line)
        except ValueError:
            self.unread = self.unread or line.n + 1
            self.unread_count += 1
            return None

    def notes(self) -> tuple[str, ...]:
        """Return the faults as sentences."""
        back = f"the time of line {self.back} is before the time of the previous line: the clock was set back"
        unread = f"valid lines whose proof cannot be read: {self.unread_count}; the first is line {self.unread}"
        return (*([back] if self.back else []), *([unread] if self.unread else []))


@dataclass(frozen=True, slots=True)
class MergedPort:
    """A port in several records: every attempt, with the name of its record.

    The attempt that counts is first; the others read_chain, newest first.
    """

    subject: str
    attempts: tuple[tuple[str, Attempt], ...]


def merged(records: Iterable[tuple[str, Verification]]) -> tuple[MergedPort, ...]:
    """Return the ports of several records of one plan, in the order in which they were first tried.

    An attempt that two records contain (one can be an older copy of the other) counts once.
    """
    ports: dict[str, dict[tuple[Verdict, str], tuple[str, Attempt]]] = {}
    all_of = ((name, attempt) for name, verification in records for attempt in verification.attempts)
    for name, attempt in sorted(all_of, key=lambda each: each[1].at):
        ports.setdefault(attempt.subject, {}).setdefault((attempt.verdict, attempt.at), (name, attempt))
    return tuple(_merged_port(subject, list(several.values())) for subject, several in ports.items())


def _merged_port(subject: str, several: list[tuple[str, Attempt]]) -> MergedPort:
    counting = several[0]
    for each in several[1:]:
        if each[1].verdict.replaces(counting[1].verdict):
            counting = each
    others = [each for each in reversed(several) if each is not counting]
    return MergedPort(subject, (counting, *others))


def verify(path: Path) -> Verification:
    """Verify the record at `path` without reading it into memory; raise FileError if it cannot be read."""
    with closing(open_plain(path)) as stream:
        return verify_steps(_reading(path, read_chain(raw_lines(stream))))


def _reading(path: Path, steps: Iterator[Step]) -> Iterator[Step]:
    try:
        yield from steps
    except OSError as error:
        raise refused_by_system(error, path) from error


def read_record(path: Path) -> VerifiedRecord:
    """Read a record for a report; raise RecordError if it is too large or its first line is invalid.

    If a later line is invalid, the content ends before it, and `verification` names the line.
    """
    with closing(open_plain(path)) as stream:
        size = os.fstat(stream.fileno()).st_size
        if size > SIZE_LIMIT:
            raise RecordError.of(
                f"the record has {size} bytes; at most {SIZE_LIMIT} are read",
                where=str(path),
                do="Check it with `netcheck verify`",
            )
        steps = tuple(_reading(path, read_chain(raw_lines(stream))))
    verification = verify_steps(steps)
    if not verification.lines:
        reason = str(verification.flaw)
        raise RecordError.of(f"this is not a record: {reason}", where=str(path), do="Name a file that `prove` wrote")
    return VerifiedRecord(
        str(path), Content.from_lines(step for step in steps if isinstance(step, RecordLine)), verification
    )
