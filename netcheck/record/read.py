"""Reads a record as a stream of valid lines, up to its end or to the first fault.

Everything but `raw_lines` is pure. Lines are numbered from 1 here, as editors count them; a line's own `n` is one less.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import BinaryIO

from netcheck.proof.result import Proof
from netcheck.record.chain import GENESIS, LINE_LIMIT, RecordLine, from_line

# Every line starts like this, since its keys are sorted: it tells a torn first line from a file that is not a record.
_HEAD = b'{"at":"'


@dataclass(frozen=True, slots=True)
class TooLong:
    """A line longer than the limit: its size in bytes. Its content is not kept."""

    size: int


@dataclass(frozen=True, slots=True)
class ChainBreak:
    """The first invalid line, counted from 1, and the reason. Nothing after it is read."""

    line: int
    reason: str

    def __str__(self) -> str:
        return f"line {self.line} (n {self.line - 1}) does not fit: {self.reason}"


@dataclass(frozen=True, slots=True)
class Torn:
    """A last line that was not written completely: its number, counted from 1, and its bytes."""

    line: int
    data: bytes = field(repr=False)

    def __str__(self) -> str:
        return f"the last line, {self.line} (n {self.line - 1}), is torn: {len(self.data)} bytes without an end"


Step = RecordLine | ChainBreak | Torn


def raw_lines(stream: BinaryIO) -> Iterator[bytes | TooLong]:
    """Yield lines with their ends; never hold more of one than the limit."""
    while raw := stream.readline(LINE_LIMIT + 1):
        if len(raw) <= LINE_LIMIT or raw.endswith(b"\n"):
            yield raw
            continue
        size = len(raw)
        while (more := stream.readline(LINE_LIMIT)) and not more.endswith(b"\n"):
            size += len(more)
        yield TooLong(size + len(more.removesuffix(b"\n")))


def follow(raws: Iterable[bytes | TooLong]) -> Iterator[Step]:
    """Yield the valid lines, then a `ChainBreak` or a `Torn` if there is one."""
    source = iter(raws)
    n, prev = 0, GENESIS
    for raw in source:
        step = _step(raw, n, prev)
        if isinstance(step, ChainBreak) and isinstance(raw, bytes) and b"\0" in raw and next(source, None) is None:
            # A block that was never written to the disk reads as zeros; JSON contains no such byte.
            step = _torn(raw, n)
        yield step
        if not isinstance(step, RecordLine):
            return
        n, prev = n + 1, step.hash


def _step(raw: bytes | TooLong, n: int, prev: str) -> Step:
    if isinstance(raw, TooLong):
        return ChainBreak(n + 1, f"it has {raw.size} bytes; a record line has at most {LINE_LIMIT}")
    if not raw.endswith(b"\n"):
        return _torn(raw, n)
    try:
        return from_line(raw.removesuffix(b"\n"), n, prev)
    except ValueError as error:
        return ChainBreak(n + 1, str(error))


def _torn(raw: bytes, n: int) -> ChainBreak | Torn:
    if n or raw.startswith(_HEAD) or _HEAD.startswith(raw):
        return Torn(n + 1, raw)
    return ChainBreak(1, "it is not the first line of a record")


def proof_of(line: RecordLine) -> Proof:
    """Return the proof in a line; ValueError if the object is not a proof, although the chain is valid."""
    shape = line.fields.get("proof")
    try:
        proof = Proof.from_json(shape)  # type: ignore[arg-type]  # a wrong type ends in one of the errors below
        back = proof.to_json()
        same = isinstance(shape, dict) and all(shape[key] == value for key, value in back.items())
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise ValueError(f"line {line.n + 1} contains a proof that cannot be read") from error
    if not same:
        raise ValueError(f"line {line.n + 1} contains a proof with a value that cannot be read")
    return proof
