"""The chain of a record: a line's canonical bytes and hash, and the valid lines before the end or the first fault.

A stored line is the canonical JSON of one object (keys sorted, separators `,` and `:`, UTF-8, no ASCII escaping) with
`n`, `type`, `at`, `prev` and `hash`. `hash` is the SHA-256 of the same form without `hash`, in lower-case hexadecimal.
Readers raise ValueError; its text can follow "line 7 does not fit: ".

Everything but `raw_lines` is pure. Messages count lines from 1, as editors do; a line's own `n` is one less.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, BinaryIO

from netcheck.proof.result import Proof

GENESIS = "0" * 64  # `prev` of the first line
LINE_LIMIT = 1 << 20  # bytes, without the end of the line
DIGITS_LIMIT = 400  # digits of an integer; a double has at most 309 before the decimal point
# Years have four digits, seconds end at 59: RFC 3339 section 5.6, with milliseconds and Z always written.
_AT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z", re.ASCII)
_HEX = re.compile(r"[0-9a-f]{64}", re.ASCII)
_SURROGATE = re.compile("[\ud800-\udfff]")


class LineKind(StrEnum):
    """The type of a line."""

    START = "start"
    EVENT = "event"
    PROOF = "proof"
    END = "end"


@dataclass(frozen=True, slots=True)
class RecordLine:
    """A valid line: its number (from 0), its type, its UTC time as text, its other fields, and its hash."""

    n: int
    kind: LineKind
    at: str
    fields: Mapping[str, Any]
    hash: str


def canonical(shape: Mapping[str, Any]) -> bytes:
    """Return the bytes that are hashed; raise ValueError for NaN, an infinity or a lone surrogate."""
    return json.dumps(shape, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def moment_text(moment: datetime) -> str:
    """Return an aware time as UTC with milliseconds: `2026-11-02T09:14:03.120Z`."""
    if moment.tzinfo is None:
        raise ValueError("a time without a time zone cannot be recorded")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"


def to_line(n: int, kind: LineKind, at: str, fields: Mapping[str, Any], prev: str) -> tuple[bytes, str]:
    """Return the bytes of line `n`, with the end of the line, and its hash; `prev` is the hash of the line before."""
    shape = {**fields, "n": n, "type": str(kind), "at": at, "prev": prev}
    shape = _storable(shape)
    own = hashlib.sha256(canonical(shape)).hexdigest()
    return canonical({**shape, "hash": own}) + b"\n", own


def _storable(value: Any) -> Any:
    """Return a value with every lone surrogate replaced by its escape, so that it can be written as UTF-8."""
    # Arguments and host names may contain bytes that are not UTF-8; Python keeps them as lone surrogates.
    match value:
        case str():
            return _SURROGATE.sub(lambda found: f"\\u{ord(found.group()):04x}", value)
        case dict():
            return {_storable(key): _storable(inner) for key, inner in value.items()}
        case list() | tuple():
            return [_storable(inner) for inner in value]
        case _:
            return value


def from_line(raw: bytes, n: int, prev: str) -> RecordLine:
    """Read a stored line without its end; raise ValueError, which says why, if it is not valid.

    It must have the number `n`, and `prev` must be the hash of the line before.
    """
    shape = _object(raw)
    _same_bytes(raw, shape)
    own = shape.pop("hash", None)
    if not isinstance(own, str) or not _HEX.fullmatch(own):
        raise ValueError("it has no `hash` of 64 lower-case hexadecimal digits")
    if hashlib.sha256(canonical(shape)).hexdigest() != own:
        raise ValueError("its `hash` does not belong to its content: the line was changed after it was written")
    found, found_prev = shape.pop("n", None), shape.pop("prev", None)
    if type(found) is not int or found != n:
        raise ValueError(f"its number `n` is {_brief(found)}, expected {n}: lines are missing, added or moved")
    if found_prev != prev:
        raise ValueError("its `prev` is not the hash of the line before: lines were replaced, added or moved")
    return RecordLine(n, _kind(shape.pop("type", None), n), _at(shape.pop("at", None)), shape, own)


def _object(raw: bytes) -> dict[str, Any]:
    """Return the JSON object of a line; raise ValueError, which says why, if the line is not one."""
    if not raw.strip():
        raise ValueError("it is blank")
    if raw.startswith(b"\xef\xbb\xbf"):
        raise ValueError("it starts with a byte order mark")
    try:
        text = raw.decode("utf-8")
        shape = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant, parse_int=_integer)
    except UnicodeDecodeError as error:
        raise ValueError(f"byte {error.start + 1} of it is not UTF-8") from error
    except json.JSONDecodeError as error:
        raise ValueError(f"it is not JSON: {error.msg} at character {error.pos + 1}") from error
    except RecursionError as error:
        raise ValueError("it is nested too deeply") from error
    if not isinstance(shape, dict):
        raise ValueError("it is not a JSON object")
    return shape


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    shape: dict[str, Any] = {}
    for key, value in pairs:
        if key in shape:
            raise ValueError(f"the key {_brief(key)} occurs twice in it")
        shape[key] = value
    return shape


def _integer(text: str) -> int:
    # Python refuses to convert more than 4300 digits to an integer (CVE-2020-10735); settings can lower that.
    if len(text) > DIGITS_LIMIT:
        raise ValueError(f"it contains a number of {len(text)} digits; at most {DIGITS_LIMIT} are read")
    return int(text)


def _no_constant(name: str) -> None:
    raise ValueError(f"it contains {name}, which is not JSON")


def _same_bytes(raw: bytes, shape: dict[str, Any]) -> None:
    """Raise ValueError if a line is not the canonical form of its object."""
    try:
        same = canonical(shape) == raw
    except UnicodeEncodeError as error:
        raise ValueError("it contains a lone surrogate") from error
    except RecursionError as error:
        raise ValueError("it is nested too deeply") from error
    except ValueError as error:
        raise ValueError("it contains a number that is not finite") from error
    if not same:
        raise ValueError("its bytes are not in canonical form: another program rewrote it")


def _kind(value: Any, n: int) -> LineKind:
    if value not in tuple(LineKind):
        raise ValueError(f"its `type` is {_brief(value)}, expected start, event, proof or end")
    if (value == LineKind.START) != (n == 0):
        raise ValueError(f"its `type` is {value}: a record has exactly one `start`, its first line")
    return LineKind(value)


def _at(value: Any) -> str:
    try:
        if isinstance(value, str) and _AT.fullmatch(value):
            datetime.fromisoformat(value)
            return value
    except ValueError:
        pass
    raise ValueError(f"its `at` is {_brief(value)}, expected UTC such as 2026-11-02T09:14:03.120Z")


def _brief(value: Any) -> str:
    text = ascii(value) if isinstance(value, (str, int, float, bool)) or value is None else f"a {type(value).__name__}"
    return text if len(text) <= 60 else text[:60] + "…"


# Every line starts with these bytes, because its keys are sorted. They distinguish a torn first line of a record from
# a file of another kind.
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
    """Yield lines with their ends; hold at most `LINE_LIMIT` bytes of a line."""
    while raw := stream.readline(LINE_LIMIT + 1):
        if len(raw) <= LINE_LIMIT or raw.endswith(b"\n"):
            yield raw
            continue
        size = len(raw)
        while (more := stream.readline(LINE_LIMIT)) and not more.endswith(b"\n"):
            size += len(more)
        yield TooLong(size + len(more.removesuffix(b"\n")))


def read_chain(raws: Iterable[bytes | TooLong]) -> Iterator[Step]:
    """Yield the valid lines, then a `ChainBreak` or a `Torn` if the chain has a fault."""
    source = iter(raws)
    n, prev = 0, GENESIS
    for raw in source:
        step = _step(raw, n, prev)
        if isinstance(step, ChainBreak) and isinstance(raw, bytes) and b"\0" in raw and next(source, None) is None:
            # A block that was never written to the disk reads as zeros, and JSON contains no zero byte: the line is
            # torn.
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
    """Return the proof in a line; raise ValueError if its object is not a proof: a valid chain can hold any object."""
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
