"""Writes a record line by line, and continues an existing record.

Each line is on the disk before the run continues. The only state is the file: a process that is killed at any byte
leaves valid lines and at most one torn line after them. If a line cannot be written because a USB stick was pulled or a
disk is full, the whole record is written to a new file in another folder, and the run continues there.
"""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

from netcheck.errors import NetcheckError, Problem, RecordError
from netcheck.files import refused_by_system, sync_folder
from netcheck.proof.result import Proof
from netcheck.record.chain import (
    GENESIS,
    LINE_LIMIT,
    ChainBreak,
    LineKind,
    RecordLine,
    Step,
    Torn,
    moment_text,
    raw_lines,
    read_chain,
    to_line,
)
from netcheck.record.model import ATTACHED, MOVED, PLAN_CHANGED, REMARK, RESUMED, TORN, Attachment, Content, Run
from netcheck.record.verify import SIZE_LIMIT
from netcheck.text import listed

_FLAGS = os.O_RDWR | os.O_APPEND | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_RESCUES = 20  # file names that are tried in one folder
_KEPT = "Nothing in it was changed. Keep it, and name another --record"

Clock = Callable[[], datetime]

if sys.platform == "win32":
    import msvcrt

    _FAR = 1 << 40  # the locked byte lies beyond every record, because a lock on Windows also stops readers

    # Errors of the C runtime for a locked byte; some runtimes give no reason (0).
    _LOCKED = (errno.EACCES, errno.EDEADLK, errno.EDEADLOCK, 0)

    def _lock_file(handle: int) -> None:
        """Lock the record; raise BlockingIOError if another process has locked it."""
        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno not in _LOCKED:
                raise
            raise BlockingIOError(errno.EACCES, "locked") from error
        finally:
            os.lseek(handle, 0, os.SEEK_SET)

else:
    import fcntl

    def _lock_file(handle: int) -> None:
        """Lock the record; raise BlockingIOError if another process has locked it, another OSError if locking fails."""
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


class _Tail(NamedTuple):
    """The end of the record: its size in bytes, its number of lines, and the hash of the last line."""

    size: int
    lines: int
    hash: str


class Recorder:
    """An open record that only this process writes. Create it by `Recorder.open`; close it or use it in `with`.

    `notes` are sentences for the operator: the record is continued, torn bytes were moved to another file, the plan
    changed, or the record was moved to another folder. After a move `path` is the new file. `finished` holds the proof
    that counts for each port whose row of the plan is unchanged. All methods raise RecordError if the disk is full or
    fails and the record cannot be moved.
    """

    def __init__(
        self, path: Path, handle: int, run: Run, rows: Mapping[str, str], clock: Clock, elsewhere: Sequence[Path]
    ) -> None:
        self.path = path
        self.notes: tuple[str, ...] = ()
        self.finished: dict[str, Proof] = {}
        self._handle = handle
        self._run = run
        self._rows = rows
        self._clock = clock
        self._elsewhere = elsewhere
        self._kept = bytearray()  # all lines, if the record may be moved
        self._tail = _Tail(0, 0, GENESIS)
        self._attached: set[Attachment] = set()
        self._writing = False

    @classmethod
    def open(
        cls, path: Path, run: Run, rows: Mapping[str, str], clock: Clock, elsewhere: Sequence[Path] = ()
    ) -> Recorder:
        """Create the record at `path`, or continue it.

        `rows` are the plan's row hashes by interface (`plan.model.row_hashes`); `clock` returns aware times;
        `elsewhere` are folders to which the record may be moved if its file fails during the run. Raises RecordError if
        the file is not a record, its chain is broken, it belongs to another plan, or another process writes it.
        """
        handle = _open(path)
        recorder = cls(path, handle, run, rows, clock, elsewhere)
        try:
            recorder._continue()
        except NetcheckError:
            recorder.close()
            raise
        except OSError as error:
            recorder.close()
            raise _write_error(path, error) from error
        return recorder

    @property
    def seal(self) -> str:
        """The hash of the last line, which seals all lines before it."""
        return self._tail.hash

    def event(self, kind: str, text: str, **facts: object) -> None:
        """Write an event: its kind (one word), a sentence, and facts that JSON can represent."""
        self._append(LineKind.EVENT, {"event": kind, "text": text, **({"facts": facts} if facts else {})})

    def proof(self, proof: Proof) -> None:
        """Write the proof of a port, with the hash of its row of the plan."""
        self._append(LineKind.PROOF, {"proof": proof.to_json(), "row": self._rows.get(proof.interface, "")})
        before = self.finished.get(proof.subject)
        if proof.verdict.replaces(None if before is None else before.verdict):
            self.finished[proof.subject] = proof

    def remark(self, port: str, text: str, by: str = "") -> None:
        """Write a remark of the technician about a port, or about the run if *port* is empty."""
        self.event(REMARK, text, port=port, **({"by": by} if by else {}))

    def attach(self, file: Attachment) -> None:
        """Write name, size and SHA-256 of a file that belongs to the record, unless the record has it already."""
        if file not in self._attached:
            text = f"{file.name} belongs to this record: {file.size} bytes, SHA-256 {file.sha256}"
            self.event(ATTACHED, text, name=file.name, size=file.size, sha256=file.sha256)
            self._attached.add(file)

    def end(self, summary: Mapping[str, int]) -> None:
        """Write the end of the run, with the number of ports by verdict."""
        self._append(LineKind.END, {"summary": dict(summary)})

    def close(self) -> None:
        """Close the file and release the lock. Everything written is on the disk already."""
        if self._handle >= 0:
            with suppress(OSError):  # the drive may have been removed
                os.close(self._handle)
            self._handle = -1

    def __enter__(self) -> Recorder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _continue(self) -> None:
        """Lock the file, check its lines, and begin the record or continue it."""
        _lock(self.path, self._handle)
        steps = _steps(self.path, self._handle)
        lines = [step for step in steps if isinstance(step, RecordLine)]
        content = Content.from_lines(lines)
        _refuse(self.path, steps, content, self._run)
        torn = steps[-1] if steps and isinstance(steps[-1], Torn) else None
        if torn:
            self._move_torn_bytes(torn)
        size = os.fstat(self._handle).st_size
        self._tail = _Tail(size, len(lines), lines[-1].hash) if lines else self._tail
        if self._elsewhere:
            self._kept += _content(self._handle)
        if not lines:
            self._append(LineKind.START, self._run.to_json())
            sync_folder(self.path.parent)
        if torn:
            digest = hashlib.sha256(torn.data).hexdigest()
            self.event(TORN, self.notes[-1], bytes=len(torn.data), sha256=digest)
        if lines:
            self._note_continued(content)

    def _move_torn_bytes(self, torn: Torn) -> None:
        aside = _torn_path(self.path)
        with aside.open("ab") as stream:
            stream.write((b"\n" if stream.tell() else b"") + torn.data)
            stream.flush()
            os.fsync(stream.fileno())
        sync_folder(aside.parent)
        os.ftruncate(self._handle, os.fstat(self._handle).st_size - len(torn.data))
        os.fsync(self._handle)
        self.notes += (f"{torn}; they were moved to {aside.name}, and the record continues after the line before",)

    def _note_continued(self, content: Content) -> None:
        """Write the event of a continued record, and that of a changed plan; set `finished` and `notes`."""
        was, now = content.sha256, self._run.sha256
        self._attached = set(content.attachments)
        self.finished = {p.proof.subject: p.proof for p in content.proofs if p.is_current(now, self._rows)}
        text = f"continued; ports that have their proof: {len(self.finished)}"
        self.event(RESUMED, text, **self._run.to_json())
        self.notes += (text,)
        if was != now:
            again = [p.proof.subject for p in content.proofs if not p.is_current(now, self._rows)]
            effect = f"its row changed or is gone: {listed(again, 20)}" if again else "every proof stays valid"
            text = f"the plan changed: its SHA-256 was {was} and is now {now}; {effect}"
            self.event(PLAN_CHANGED, text, was=was, now=now, again=again)
            self.notes += (text,)

    def _append(self, kind: LineKind, fields: Mapping[str, Any]) -> None:
        """Write one line and synchronise it with the disk; if that fails, move the record to another folder."""
        tail = self._tail
        line, own = to_line(tail.lines, kind, moment_text(self._clock()), fields, tail.hash)
        if len(line) > LINE_LIMIT + 1:
            what = f"a line of {len(line) - 1} bytes cannot be written; a line of a record has at most {LINE_LIMIT}"
            raise RecordError.of(what, where=str(self.path))
        note = ""
        try:
            self._remove_incomplete()
            self._writing = True
            _write(self._handle, line)
        except OSError as failed:
            error = _with_number(failed)
            with suppress(OSError):
                self._remove_incomplete()
            # the first line of a run is written before anything is proven
            note = self._moved(line, error) if kind is not LineKind.START else ""
            if not note:
                raise _write_error(self.path, error) from error
        self._tail = _Tail(tail.size + len(line), tail.lines + 1, own)
        self._writing = False
        if self._elsewhere:
            self._kept += line
        if note:
            self.notes += (note,)
            self.event(MOVED, note)

    def _moved(self, line: bytes, error: OSError) -> str:
        """Write the whole record and this line to a file in another folder, and use that file from now on.

        Return a sentence about the move; "" if no folder accepts the file.
        """
        failed, why = self.path, _write_error(self.path, error).problems[0]
        for path in _rescue_paths(failed, self._elsewhere):
            try:
                handle = os.open(path, _FLAGS | os.O_CREAT | os.O_EXCL, 0o644)
            except OSError:
                continue
            try:
                _lock_file(handle)
                _write(handle, bytes(self._kept + line))
            except BaseException as problem:
                os.close(handle)
                with suppress(OSError):
                    path.unlink()
                if isinstance(problem, OSError):
                    continue
                raise
            self.close()
            self.path, self._handle = path, handle
            return (
                f"{why.what}: {failed}. The whole record is in {path} and continues there; "
                f"to continue later, name that file: --record {path}"
            )
        return ""

    def _remove_incomplete(self) -> None:
        """Remove a line that a full disk or Ctrl-C cut short; raise RecordError if another program wrote to it."""
        size = os.fstat(self._handle).st_size
        if size == self._tail.size:
            return
        if not self._writing:
            raise RecordError.of("another program changed the record while it was being written", where=str(self.path))
        os.ftruncate(self._handle, self._tail.size)


def _open(path: Path) -> int:
    try:
        handle = os.open(path, _FLAGS | os.O_CREAT, 0o644)
    except (OSError, ValueError) as error:
        raise _write_error(path, error) from error
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise RecordError.of("a record must be a regular file", where=str(path), do="Name another --record")
    return handle


def _rescue_paths(failed: Path, folders: Sequence[Path]) -> Iterator[Path]:
    """Yield the files to which a record may be moved: new files in these folders, except the folder of the record."""
    for folder in folders:
        if folder.absolute() != failed.absolute().parent:
            yield from (folder / f"{failed.stem}-rescued{n or ''}{failed.suffix}" for n in range(_RESCUES))


def _content(handle: int) -> bytes:
    with os.fdopen(os.dup(handle), "rb") as stream:
        stream.seek(0)
        return stream.read()


def _lock(path: Path, handle: int) -> None:
    try:
        _lock_file(handle)
    except BlockingIOError as error:
        what, do = "another process is writing this record", "Wait until it ends, or name another --record"
        raise RecordError.of(what, where=str(path), do=do) from error


def _with_number(error: OSError) -> OSError:
    """Return the error of a write with a correct number.

    The C runtime of Windows reports an error that has no number as an invalid argument.
    """
    return OSError(errno.EIO, "") if sys.platform == "win32" and error.errno == errno.EINVAL else error


def _write_error(path: Path, error: OSError | ValueError) -> RecordError:
    if isinstance(error, FileNotFoundError):
        return RecordError(
            Problem("the record cannot be written: its folder does not exist", str(path), "Create it first")
        )
    said = refused_by_system(error, path).at(str(path))
    do = f"{said.do or 'Name another place'}; run again with the same record to continue it"
    return RecordError(Problem(f"the record cannot be written: {said.what}", said.where, do))


def _steps(path: Path, handle: int) -> tuple[Step, ...]:
    size = os.fstat(handle).st_size
    if size > SIZE_LIMIT:
        raise RecordError.of(f"the file has {size} bytes; at most {SIZE_LIMIT} are read", where=str(path), do=_KEPT)
    with os.fdopen(os.dup(handle), "rb") as stream:
        stream.seek(0)
        return tuple(read_chain(raw_lines(stream)))


def _refuse(path: Path, steps: tuple[Step, ...], content: Content, run: Run) -> None:
    """Raise RecordError if a file is not a record, is broken, or belongs to another plan or another kind of run."""
    last = steps[-1] if steps else None
    if isinstance(last, ChainBreak) and last.line == 1:
        raise RecordError.of(f"this is not a record of netcheck: {last}", where=str(path), do=_KEPT)
    if isinstance(last, ChainBreak):
        raise RecordError.of(f"its chain is broken: {last}", where=str(path), do=_KEPT)
    if content.runs and content.runs[0].plan != run.plan:
        what = f"this record belongs to the plan {content.runs[0].plan!r}, not to {run.plan!r}"
        raise RecordError.of(what, where=f"{path}: line 1", do=_KEPT)
    if content.runs and content.simulated != run.simulated:
        was, now = ("a simulated", "a real") if content.simulated else ("a real", "a simulated")
        what = f"this record holds {was} run, and {now} run cannot be added to it"
        raise RecordError.of(what, where=f"{path}: line 1", do=_KEPT)


def _torn_path(path: Path) -> Path:
    return path.with_name(path.name + ".torn")


def _write(handle: int, line: bytes) -> None:
    rest = memoryview(line)
    while rest:
        rest = rest[os.write(handle, rest) :]
    os.fsync(handle)
