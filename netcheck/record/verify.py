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
from netcheck.proof.result import Verdict
from netcheck.record.chain import LineKind, RecordLine
from netcheck.record.evidence import EvidenceCheck
from netcheck.record.model import Content, Run
from netcheck.record.read import ChainBreak, Step, Torn, follow, proof_of, raw_lines

SIZE_LIMIT = 32 << 20  # bytes of a record that is read into memory, some 10,000 proofs; `verify` has no limit


class State(StrEnum):
    """The state of a record's chain."""

    INTACT = "intact"
    BROKEN = "broken"
    TORN = "torn"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """The result of verifying a record. It counts valid lines; `seal` is the hash of the last one, "" if the chain is
    broken or empty. `plan` and `revision` are those of the first line."""

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
    contradictions: tuple[str, ...] = ()  # proofs and summaries that do not follow from what is recorded

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
    """A record that was read: the path as given, the content of its valid lines, and the state of its chain."""

    path: str
    content: Content
    verification: Verification


def verify_steps(steps: Iterable[Step]) -> Verification:
    """Return the verification of a record's lines, in bounded memory."""
    count: Counter[LineKind] = Counter()
    verdicts: Counter[str] = Counter()
    doubts, evidence = _Doubts(), EvidenceCheck()
    first: Run | None = None
    last: RecordLine | None = None
    flaw: ChainBreak | Torn | None = None
    for step in steps:
        if not isinstance(step, RecordLine):
            flaw = step
            break
        count[step.kind] += 1
        first = first or Run.from_json(step.fields)
        verdicts.update(doubts.see(step, last))
        evidence.see(step)
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
        contradictions=evidence.found(),
        notes=doubts.notes(),
    )


class _Doubts:
    """Oddities that do not break a chain: a clock that was set back, proofs that cannot be read."""

    def __init__(self) -> None:
        self.back = 0  # the first line with a time before that of the previous line
        self.unread = 0  # the line of the first proof that cannot be read
        self.unread_count = 0

    def see(self, line: RecordLine, last: RecordLine | None) -> list[str]:
        """Note oddities of a line; return its verdict, if it has one."""
        if last is not None and line.at < last.at:
            self.back = self.back or line.n + 1
        if line.kind is not LineKind.PROOF:
            return []
        try:
            return [str(proof_of(line).verdict)]
        except ValueError:
            self.unread = self.unread or line.n + 1
            self.unread_count += 1
            return []

    def notes(self) -> tuple[str, ...]:
        """Return the oddities as sentences."""
        back = f"the time of line {self.back} is before that of the previous line: the clock was set back"
        unread = f"valid lines whose proof cannot be read: {self.unread_count}; the first is line {self.unread}"
        return (*([back] if self.back else []), *([unread] if self.unread else []))


def verify(path: Path) -> Verification:
    """Verify the record at `path` as a stream; FileError if the file cannot be read."""
    with closing(open_plain(path)) as stream:
        return verify_steps(_reading(path, follow(raw_lines(stream))))


def _reading(path: Path, steps: Iterator[Step]) -> Iterator[Step]:
    try:
        yield from steps
    except OSError as error:
        raise refused_by_system(error, path) from error


def read_record(path: Path) -> VerifiedRecord:
    """Read a record for a report; RecordError if it is too large or its first line is invalid.

    If a later line is invalid, the content ends before it, and `verification` names the line."""
    with closing(open_plain(path)) as stream:
        size = os.fstat(stream.fileno()).st_size
        if size > SIZE_LIMIT:
            raise RecordError.of(
                f"the record has {size} bytes; at most {SIZE_LIMIT} are read", where=str(path), do="Verify it instead"
            )
        steps = tuple(_reading(path, follow(raw_lines(stream))))
    verification = verify_steps(steps)
    if not verification.lines:
        reason = str(verification.flaw)
        raise RecordError.of(f"this is not a record: {reason}", where=str(path), do="Name a file that `prove` wrote")
    return VerifiedRecord(
        str(path), Content.from_lines(step for step in steps if isinstance(step, RecordLine)), verification
    )
