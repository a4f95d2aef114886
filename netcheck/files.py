"""Files read and written at the edge: only regular ones, within limits, and never half-written.

Common ground for every layer; a refusal is a `FileError` that says what is wrong with the file and what to do.
"""

from __future__ import annotations

import errno
import hashlib
import os
import signal
import stat
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from netcheck.errors import NetcheckError, Problem

MIB = 1 << 20
LONGEST_LINE = MIB
ZIP = b"PK\x03\x04"  # how a zip archive begins, and so a workbook
_CHUNK = 1 << 18

# What a system error means to the user, by error number, and what to do about it.
_WORDS: dict[int, tuple[str, str]] = {
    errno.ENOENT: ("the file is not there", "Check its name, or put it there"),
    errno.EACCES: ("no right to use the file", "Change its permissions, or ask its owner"),
    errno.EPERM: ("no right to use the file", "Change its permissions, or ask its owner"),
    errno.EISDIR: ("it is a folder, and a file is expected", "Name a file in it"),
    errno.ENOTDIR: ("a part of its path is not a folder", "Check the path"),
    errno.ELOOP: ("its symbolic links lead in a circle", "Put the file itself there"),
    errno.ENAMETOOLONG: ("its name is too long for this system", "Shorten it"),
    errno.ENOSPC: ("the disk is full", "Make room and try again"),
    errno.EROFS: ("the disk is read-only", "Choose another folder"),
}


class FileError(NetcheckError):
    """A file cannot be read or written; holds one problem, to which the caller adds the place."""

    def at(self, where: str) -> Problem:
        """The problem, said of a place."""
        return Problem(self.problems[0].what, where, self.problems[0].do)


def _refused(what: str, do: str, path: Path) -> FileError:
    return FileError(Problem(what, str(path), do))


def refused_by_system(error: OSError | ValueError, path: Path) -> FileError:
    """Turn a system error, or Python's ValueError for a name with a NUL, into words."""
    if isinstance(error, ValueError):
        return _refused("its name holds a character that no file name can have", "Check the name", path)
    what, do = _WORDS.get(error.errno or 0, (f"the system says: {error.strerror or error}", ""))
    return _refused(what, do, path)


def open_plain(path: Path) -> BinaryIO:
    """Open a regular file for reading; folders, devices, pipes and sockets are refused without waiting on them."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
    try:
        _demand_regular(os.stat(path).st_mode, path)  # first, since opening alone can stir a device
        handle = os.open(path, flags)
    except (OSError, ValueError) as error:
        raise refused_by_system(error, path) from error
    stream = os.fdopen(handle, "rb")
    try:
        _demand_regular(os.fstat(handle).st_mode, path)
    except BaseException:
        stream.close()
        raise
    return stream


def _demand_regular(mode: int, path: Path) -> None:
    if stat.S_ISDIR(mode):
        raise _refused(*_WORDS[errno.EISDIR], path)
    if not stat.S_ISREG(mode):
        raise _refused(
            "it is a device, a pipe or a socket, and a file is expected", "Save what it gives in a file", path
        )


def read_bounded(path: Path, limit: int, text: bool = True) -> bytes:
    """Return a file's bytes; one above `limit` bytes, or a text with a line above 1 MiB, is refused with its size."""
    with open_plain(path) as stream:
        try:
            data = stream.read(limit + 1)
            size = max(len(data), os.fstat(stream.fileno()).st_size)
        except OSError as error:
            raise refused_by_system(error, path) from error
    if len(data) > limit:
        raise _refused(f"it has {size:,} bytes; at most {limit:,} ({limit // MIB} MiB) are read", "Split it", path)
    if text:
        _demand_short_lines(data, path)
    return data


def _demand_short_lines(data: bytes, path: Path) -> None:
    start = 0
    while len(data) - start > LONGEST_LINE:
        newline = data.rfind(b"\n", start, start + LONGEST_LINE + 1)
        if newline < 0:
            end = data.find(b"\n", start)
            size = (len(data) if end < 0 else end) - start
            raise _refused(long_line(data.count(b"\n", 0, start) + 1, size), "Break it into several lines", path)
        start = newline + 1


def long_line(number: int, size: int) -> str:
    """The words for a line above the limit."""
    return f"line {number} has {size:,} bytes; at most {LONGEST_LINE:,} (1 MiB) are read"


def feed(digest: hashlib._Hash, path: Path) -> None:
    """Add a regular file's bytes to a digest, in bounded memory."""
    with open_plain(path) as stream:
        try:
            while chunk := stream.read(_CHUNK):
                digest.update(chunk)
        except OSError as error:
            raise refused_by_system(error, path) from error


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees the old or the new bytes, never a part: a temporary file beside it, fsync,
    rename. An existing file keeps its permissions, and a symbolic link goes on pointing to the same file."""
    write_together([(path, data)])


def write_together(files: Iterable[tuple[Path, bytes]]) -> None:
    """Write files that belong together, each as `write_atomically` does: all lie on the disk beside their targets
    before the first is renamed, and Ctrl-C waits until the last is, so that it leaves all of them old or all new."""
    staged: list[_Staged] = []
    try:
        for path, data in files:
            staged.append(_staged(path, data))
        with _undisturbed():
            for each in staged:
                each.put()
    except BaseException:
        for each in staged:
            each.drop()
        raise


@dataclass(frozen=True, slots=True)
class _Staged:
    """New bytes on the disk, in a temporary file beside the target; `path` is what the user called it."""

    path: Path
    target: Path
    temporary: str

    def put(self) -> None:
        try:
            os.replace(self.temporary, self.target)
            sync_folder(self.target.parent)
        except OSError as error:
            raise refused_by_system(error, self.path) from error

    def drop(self) -> None:
        with suppress(OSError):
            os.unlink(self.temporary)


def _staged(path: Path, data: bytes) -> _Staged:
    try:
        target = path.resolve()
        handle, temporary = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
    except (OSError, ValueError, RuntimeError) as error:
        raise refused_by_system(_as_system(error), path) from error
    staged = _Staged(path, target, temporary)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, _mode_for(target))
    except BaseException as error:
        staged.drop()
        if isinstance(error, OSError):
            raise refused_by_system(error, path) from error
        raise
    return staged


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Let signals that end the program wait, where the system can."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows has none
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM, signal.SIGHUP})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def write_text_atomically(path: Path, text: str) -> None:
    """Write text as UTF-8, its line endings as they are, in the manner of `write_atomically`."""
    write_atomically(path, text.encode("utf-8", "surrogatepass"))


def _as_system(error: OSError | ValueError | RuntimeError) -> OSError | ValueError:
    # Path.resolve says RuntimeError for a circle of symbolic links before Python 3.13.
    return OSError(errno.ELOOP, "") if isinstance(error, RuntimeError) else error


def _mode_for(target: Path) -> int:
    try:
        return stat.S_IMODE(os.stat(target).st_mode)
    except OSError:
        mask = os.umask(0o022)
        os.umask(mask)
        return 0o666 & ~mask


def sync_folder(folder: Path) -> None:
    """Bring a folder's names onto the disk, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):  # Windows cannot open a folder
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
