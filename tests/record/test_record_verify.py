"""Verifying and reading records: which records pass, and which part of a damaged record is kept."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.errors import RecordError
from netcheck.files import FileError
from netcheck.proof.result import Verdict
from netcheck.record.chain import GENESIS, ChainBreak, LineKind, Torn, raw_lines, read_chain, to_line
from netcheck.record.model import Run
from netcheck.record.verify import SIZE_LIMIT, Attempt, State, Verification, read_record, verify, verify_steps
from netcheck.record.write import Recorder
from tests.record.conftest import make_proof

AT = "2026-11-02T09:14:03.120Z"
RUN = Run(plan="Tarn Hollow creamery", revision="C", sha256="11" * 32, version="0.1.0")


def chained(*parts: tuple[LineKind, dict[str, object]], at: tuple[str, ...] = ()) -> bytes:
    """Return lines in order, chained."""
    data, prev = b"", GENESIS
    for n, (kind, fields) in enumerate(parts):
        line, prev = to_line(n, kind, at[n] if at else AT, fields, prev)
        data += line
    return data


PROOF = make_proof("pasteuriser-plc/cpu").to_json()
SOUND = chained(
    (LineKind.START, RUN.to_json()),
    (LineKind.EVENT, {"event": "x", "text": "y"}),
    (LineKind.PROOF, {"proof": PROOF, "row": "aaaa"}),
    (LineKind.END, {"summary": {"proven": 1}}),
)


def verified(data: bytes) -> Verification:
    """Return the verification of bytes."""
    return verify_steps(read_chain(raw_lines(io.BytesIO(data))))


def test_an_intact_record(finished: Path) -> None:
    """Lines, proofs and verdicts are counted; the end and the seal are returned."""
    verification = verify(finished)
    seal = json.loads(finished.read_bytes().splitlines()[-1])["hash"]
    assert verification == Verification(
        lines=5,
        proofs=2,
        verdicts=(("silent", 1), ("proven", 1)),
        ended=True,
        seal=seal,
        plan="Tarn Hollow creamery",
        revision="C",
        attempts=(
            Attempt("pasteuriser-plc/cpu:1", Verdict.PROVEN, "2026-11-02T09:14:05.122Z", 3),
            Attempt("line-panel/lan:1", Verdict.SILENT, "2026-11-02T09:14:06.123Z", 4),
        ),
    )
    assert (verification.state, verification.passes) == (State.INTACT, True)


def test_only_the_seal_shows_that_lines_were_removed_from_the_end() -> None:
    """The chain is valid, but the record has no `end`, and its seal differs from the one on paper."""
    cut = SOUND[: SOUND.rindex(b"\n", 0, -1) + 1]
    assert (verified(cut).passes, verified(cut).ended) == (True, False)
    assert verified(cut).seal != verified(SOUND).seal


LINES = SOUND.splitlines(keepends=True)
DAMAGED = [
    pytest.param(b"", 1, id="empty"),
    pytest.param(SOUND[:-1], 4, id="no-final-newline"),
    pytest.param(SOUND + b"\n", 5, id="blank-line-behind"),
    pytest.param(SOUND.replace(b"\n", b"\n\n", 1), 2, id="blank-line-between"),
    pytest.param(SOUND.replace(b"\n", b"\r\n"), 1, id="carriage-returns"),
    pytest.param(b"\xef\xbb\xbf" + SOUND, 1, id="byte-order-mark"),
    pytest.param(b"".join(LINES[1:]), 1, id="first-line-gone"),
    pytest.param(b"".join([LINES[0], *LINES[2:]]), 2, id="second-line-gone"),
    pytest.param(b"".join([LINES[0], LINES[1], *LINES[1:]]), 3, id="line-twice"),
    pytest.param(b"".join([LINES[0], LINES[2], LINES[1], LINES[3]]), 2, id="lines-swapped"),
    pytest.param(SOUND + SOUND, 5, id="file-twice"),
    pytest.param(SOUND.replace(b'"verdict":"proven"', b'"verdict":"silent"'), 3, id="verdict-changed"),
    pytest.param(SOUND + b"x" * (1 << 20) + b"\n", 5, id="line-at-the-limit-is-read"),
    pytest.param(SOUND + b"x" * ((1 << 20) + 1) + b"\n", 5, id="line-above-the-limit"),
    pytest.param(SOUND + b"x" * 5_000_000, 5, id="no-end-above-the-limit"),
]


@pytest.mark.parametrize(("data", "line"), DAMAGED)
def test_a_damaged_record_names_the_line(data: bytes, line: int) -> None:
    """The record does not pass, and the first invalid line is named by its number."""
    flaw = verified(data).flaw
    assert flaw is not None
    assert flaw.line == line
    assert f"(n {line - 1})" in str(flaw)


@pytest.mark.parametrize("end", [b"\n", b""], ids=["with-end", "without-end"])
def test_a_long_line_is_refused_with_its_size(end: bytes) -> None:
    """The message has the size and the limit, and the line is not kept in memory."""
    flaw = verified(SOUND + b"x" * 5_000_001 + end).flaw
    assert isinstance(flaw, ChainBreak)
    assert "5000001 bytes" in flaw.reason
    assert "at most 1048576" in flaw.reason


def test_a_torn_record_is_torn_and_not_broken() -> None:
    """An empty battery is not a forgery, so the state is `torn`; the seal is that of the complete lines."""
    verification = verified(SOUND + b'{"at":"2026-11')
    assert verification.state is State.TORN
    assert verification.flaw == Torn(5, b'{"at":"2026-11')
    assert verification.seal == verified(SOUND).seal
    assert not verification.ended


def test_a_forged_line_with_a_new_hash_breaks_the_next_line() -> None:
    """A changed line with a new hash breaks the chain at the next line's `prev`."""
    shape = json.loads(LINES[1])
    del shape["hash"]
    shape["text"] = "z"
    digest = hashlib.sha256(json.dumps(shape, sort_keys=True, separators=(",", ":")).encode()).hexdigest()
    forged = json.dumps({**shape, "hash": digest}, sort_keys=True, separators=(",", ":")).encode() + b"\n"
    flaw = verified(b"".join([LINES[0], forged, *LINES[2:]])).flaw
    assert flaw == ChainBreak(3, "its `prev` is not the hash of the line before: lines were replaced, added or moved")


@given(at=st.integers(0, len(SOUND) - 1), byte=st.integers(0, 255))
def test_any_changed_byte_is_noticed(at: int, byte: int) -> None:
    """A record with one changed byte never passes."""
    mutated = SOUND[:at] + bytes([byte]) + SOUND[at + 1 :]
    assert verified(mutated).passes == (mutated == SOUND)


@given(at=st.integers(0, len(SOUND)), more=st.binary(min_size=1, max_size=40))
def test_any_added_bytes_are_noticed(at: int, more: bytes) -> None:
    """A record with added bytes never passes."""
    assert not verified(SOUND[:at] + more + SOUND[at:]).passes


@given(start=st.integers(0, len(SOUND) - 1), length=st.integers(1, 200))
def test_any_removed_bytes_are_noticed(start: int, length: int) -> None:
    """A record with removed bytes never passes, unless they are complete lines at the end."""
    cut = SOUND[:start] + SOUND[start + length :]
    whole = SOUND.startswith(cut) and cut.endswith(b"\n")
    assert verified(cut).passes == whole


@given(st.binary(max_size=300))
def test_random_bytes_are_refused(data: bytes) -> None:
    """Random bytes are not a record and raise no unexpected error."""
    assert not verified(data).passes


@given(st.text(alphabet='{}[]",:0123456789.eE+-tfn \\u\n', max_size=200))
def test_text_like_json_is_refused(text: str) -> None:
    """Text that looks like JSON is not a record and raises no unexpected error."""
    assert not verified(text.encode()).passes


UNREAD = [
    pytest.param({}, id="no-proof"),
    pytest.param({"proof": None}, id="null"),
    pytest.param({"proof": []}, id="list"),
    pytest.param({"proof": {**PROOF, "verdict": "splendid"}}, id="unknown-verdict"),
    pytest.param({"proof": {**PROOF, "mac": 5}}, id="mac-a-number"),
    pytest.param({"proof": {**PROOF, "luck": "nan"}}, id="luck-not-a-number"),
    pytest.param({"proof": {**PROOF, "luck": 10**300 * 10**50}}, id="luck-too-large"),
    pytest.param({"proof": {**PROOF, "phases": {"in": [1]}}}, id="phases-wrong"),
    pytest.param({"proof": {**PROOF, "evidence": []}}, id="evidence-a-list"),
    pytest.param({"proof": {**PROOF, "others": [{"mac": "00-00-5E-00-53-01", "address": "1.2.3.4.5"}]}}, id="others"),
    pytest.param({"proof": {**PROOF, "why": {"a": 1}}}, id="why-no-text"),
]


@pytest.mark.parametrize("fields", UNREAD)
def test_a_proof_that_cannot_be_read_is_left_out(fields: dict[str, object], tmp_path: Path) -> None:
    """The chain is intact, a note names the line, and the proof is left out."""
    path = tmp_path / "run.jsonl"
    path.write_bytes(chained((LineKind.START, RUN.to_json()), (LineKind.PROOF, fields)))
    record = read_record(path)
    assert record.verification.passes
    assert record.verification.notes == ("valid lines whose proof cannot be read: 1; the first is line 2",)
    assert record.content.proofs == ()


def test_a_clock_set_back_is_noted() -> None:
    """A time that goes back does not break the chain; a note reports it."""
    at = (AT, "2026-11-02T09:14:03.119Z")
    verification = verified(chained((LineKind.START, {}), (LineKind.END, {}), at=at))
    assert verification.passes
    assert verification.notes == ("the time of line 2 is before the time of the previous line: the clock was set back",)


def test_proofs_behind_a_broken_line_are_not_read(finished: Path) -> None:
    """Proofs before the first invalid line are kept, later ones are not."""
    lines = finished.read_bytes().splitlines(keepends=True)
    finished.write_bytes(b"".join([*lines[:3], lines[3].replace(b"silent", b"proven"), *lines[4:]]))
    record = read_record(finished)
    assert record.verification.state is State.BROKEN
    assert (record.verification.seal, record.verification.ended) == ("", False)
    assert [p.proof.subject for p in record.content.proofs] == ["pasteuriser-plc/cpu:1"]


def test_fields_of_other_types_read_as_empty(tmp_path: Path) -> None:
    """Fields of unexpected types raise no error; a value that is not a text becomes empty."""
    path = tmp_path / "run.jsonl"
    strange: dict[str, object] = {"plan": {"name": 5, "sha256": [1]}, "station": None, "permit": {}}
    path.write_bytes(
        chained((LineKind.START, strange), (LineKind.EVENT, {"event": 1, "facts": []}), (LineKind.EVENT, {}))
    )
    content = read_record(path).content
    assert content.runs == (Run(plan="", revision="", sha256="", version=""),)
    assert [(event.kind, event.text, event.facts) for event in content.events] == [("", "", {}), ("", "", {})]


def test_a_file_that_cannot_be_read_as_a_record(finished: Path, tmp_path: Path) -> None:
    """A missing file, a folder, another file and a file that is too large each give a message, not a traceback."""
    with pytest.raises(FileError, match="not there"):
        verify(tmp_path / "none.jsonl")
    with pytest.raises(FileError, match="folder"):
        read_record(tmp_path)
    (tmp_path / "letter.txt").write_text("Dear all,\n")
    with pytest.raises(RecordError, match="not a record: line 1"):
        read_record(tmp_path / "letter.txt")
    with finished.open("r+b") as stream:
        stream.truncate(SIZE_LIMIT + 1)
    with pytest.raises(RecordError, match=f"{SIZE_LIMIT + 1} bytes; at most {SIZE_LIMIT}"):
        read_record(finished)


def test_rows_survive_writing_and_reading(recorder: Callable[..., Recorder], finished: Path) -> None:
    """Each proof has its line, its time, and the hashes of the plan and of the row."""
    first = read_record(finished).content.proofs[0]
    assert (first.line, first.at, first.sha256, first.row) == (3, "2026-11-02T09:14:05.122Z", "11" * 32, "aaaa")
    assert first.is_current("11" * 32, {"pasteuriser-plc/cpu": "other"})
    assert first.is_current("22" * 32, {"pasteuriser-plc/cpu": "aaaa"})
    assert not first.is_current("22" * 32, {"pasteuriser-plc/cpu": "other"})
    assert not first.is_current("11" * 32, {})
