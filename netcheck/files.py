"""Reads and writes files: only regular files, within size limits, and never in part.

Every layer may use this module. A file that is refused raises a `FileError` that says what is wrong and what to do.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import signal
import stat
import sys
import tempfile
from collections.abc import Callable, Container, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from netcheck.errors import NetcheckError, Problem

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

MIB = 1 << 20
LONGEST_LINE = MIB
ZIP = b"PK\x03\x04"  # the first bytes of a zip archive, such as a workbook
GZIP = b"\x1f\x8b\x08"  # RFC 1952 section 2.3.1
# The first bytes of captures: pcap in microseconds and in nanoseconds, each in both byte orders, and pcapng.
PCAP = (b"\xd4\xc3\xb2\xa1", b"\xa1\xb2\xc3\xd4", b"\x4d\x3c\xb2\xa1", b"\xa1\xb2\x3c\x4d")
OLD_PCAP = (b"\x34\xcd\xb2\xa1", b"\xa1\xb2\xcd\x34")  # a variant of pcap with longer record headers, from memory
PCAPNG = b"\x0a\x0d\x0d\x0a"
_CHUNK = 1 << 18

_DRIVE_FAILS = ("its drive failed, is full, or was removed", "Check the drive, or choose another folder")
# By error number: what is wrong in the user's terms, and what to do.
_WORDS: dict[int, tuple[str, str]] = {
    errno.ENOENT: ("the file is not there", "Check its name, or put it there"),
    errno.EACCES: ("permission denied", "Change its permissions, or ask its owner"),
    errno.EPERM: ("permission denied", "Change its permissions, or ask its owner"),
    errno.EISDIR: ("it is a folder, and a file is expected", "Name a file in it"),
    errno.ENOTDIR: ("a part of its path is not a folder", "Check the path"),
    errno.ELOOP: ("its symbolic links form a loop", "Replace the link with the file"),
    errno.ENAMETOOLONG: ("its name is too long for this system", "Shorten it"),
    errno.ENOSPC: ("the disk is full", "Free some space and try again"),
    errno.EROFS: ("the disk is read-only", "Choose another folder"),
    errno.EIO: _DRIVE_FAILS,
    errno.ENODEV: _DRIVE_FAILS,
    errno.ENXIO: _DRIVE_FAILS,
}
# The same by the error number of Windows (winerror.h), which is more exact than errno.
_IN_USE = ("another program has the file open", "Close it there, then run the same command again")
_DRIVE_GONE = ("the drive is not there any more", "Plug it in again, then run the same command again")
_WINDOWS_WORDS: dict[int, tuple[str, str]] = {
    5: ("Windows refuses access", "Close the file in other programs, or check its permissions and its read-only mark"),
    21: _DRIVE_GONE,  # ERROR_NOT_READY
    32: _IN_USE,  # ERROR_SHARING_VIOLATION
    33: _IN_USE,  # ERROR_LOCK_VIOLATION
    55: _DRIVE_GONE,  # ERROR_DEV_NOT_EXIST
    112: _WORDS[errno.ENOSPC],  # ERROR_DISK_FULL
    123: ("its name has a character that no file name can have on Windows", 'Leave out < > : " | ? * in the name'),
    1167: _DRIVE_GONE,  # ERROR_DEVICE_NOT_CONNECTED
}


# Names of devices; on Windows no file can have them, with any extension ("Naming Files, Paths, and Namespaces").
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{kind}{n}" for kind in ("com", "lpt") for n in range(1, 10))})


def is_reserved_on_windows(path: Path) -> bool:
    """Return whether Windows takes the last part of a path for a device, such as `con` or `nul.html`."""
    return path.name.split(".")[0].rstrip().casefold() in _DEVICES


class FileError(NetcheckError):
    """A file cannot be read or written; it has one problem without a location, which the caller adds."""

    def at(self, where: str) -> Problem:
        """Return the problem with this location."""
        return Problem(self.problems[0].what, where, self.problems[0].do)


def _refused(what: str, do: str, path: Path) -> FileError:
    return FileError(Problem(what, str(path), do))


def refused_by_system(error: OSError | ValueError, path: Path) -> FileError:
    """Return the FileError for a system error, or for Python's ValueError about a name that contains NUL."""
    if isinstance(error, ValueError):
        return _refused("its name has a character that no file name can have", "Check the name", path)
    if sys.platform == "win32" and is_reserved_on_windows(path):
        return _refused("its name is reserved for a device on Windows", "Choose another name", path)
    what, do = _WORDS.get(error.errno or 0, (f"the system says: {error.strerror or error}", ""))
    if sys.platform == "win32":  # the C runtime behind `os.open` and `os.write` gives no error number of Windows
        number = error.winerror or (5 if error.errno == errno.EACCES else 0)
        what, do = _WINDOWS_WORDS.get(number, (what, do))
    return _refused(what, do, path)


def open_plain(path: Path) -> BinaryIO:
    """Open a regular file for reading; FileError, without blocking, for folders, devices, pipes and sockets."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
    try:
        _demand_regular(os.stat(path).st_mode, path)  # check first, because opening a device can have side effects
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


def demand_readable(path: Path) -> None:
    """Raise the FileError that reading the file would raise, if that is known without opening it."""
    try:
        _demand_regular(os.stat(path).st_mode, path)
        if not os.access(path, os.R_OK):
            raise _refused(*_WORDS[errno.EACCES], path)
    except (OSError, ValueError) as error:
        raise refused_by_system(error, path) from error


def _demand_regular(mode: int, path: Path) -> None:
    if stat.S_ISDIR(mode):
        raise _refused(*_WORDS[errno.EISDIR], path)
    if not stat.S_ISREG(mode):
        raise _refused("it is a device, a pipe or a socket, and a file is expected", "Save its output to a file", path)


def read_bounded(path: Path, limit: int, text: bool = True) -> bytes:
    """Return the bytes of a file.

    FileError, with the size, for a file of more than `limit` bytes or, if `text`, a line of more than 1 MiB.
    """
    with open_plain(path) as stream:
        try:
            data = stream.read(limit + 1)
            size = max(len(data), os.fstat(stream.fileno()).st_size)
        except OSError as error:
            raise refused_by_system(error, path) from error
    _demand_size(size, len(data), limit, path)
    if text:
        _demand_short_lines(data, path)
    return data


def first_bytes(path: Path, count: int) -> bytes:
    """Return the first bytes of a regular file, at most `count`; FileError if it cannot be read."""
    with open_plain(path) as stream:
        try:
            return stream.read(count)
        except OSError as error:
            raise refused_by_system(error, path) from error


def _demand_size(size: int, read: int, limit: int, path: Path) -> None:
    if read > limit:
        raise _refused(f"it has {size:,} bytes; at most {limit:,} ({limit // MIB} MiB) are read", "Split it", path)


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
    """Return the message about a line of too many bytes."""
    return f"line {number} has {size:,} bytes; at most {LONGEST_LINE:,} (1 MiB) are read"


class HashedFiles:
    """The SHA-256 of several concatenated files, computed while the files are read.

    Each file is opened once, so the hash covers exactly the bytes that were read. It equals the hash of the output of
    `cat` for the same files in the same order.
    """

    def __init__(self) -> None:
        self.paths: list[Path] = []  # in the order of the hash
        self._sha = hashlib.sha256()
        self._kept: dict[Path, bytes] = {}

    @property
    def sha256(self) -> str:
        """Return the hash of all files read so far, in hexadecimal."""
        return self._sha.hexdigest()

    def read(self, path: Path, limit: int, text: bool = True) -> bytes:
        """Return the bytes of a file, add them to the hash and keep them for `kept`; see `read_bounded`."""
        data = read_bounded(path, limit, text)
        self._sha.update(data)
        self.paths.append(path)
        self._kept[path] = data
        return data

    def kept(self, path: Path) -> bytes | None:
        """Return the bytes that `read` returned for a file, or None for any other file."""
        return self._kept.get(path)

    def forget(self, but: Container[Path]) -> None:
        """Forget the kept bytes of all files except these."""
        self._kept = {path: data for path, data in self._kept.items() if path in but}

    @contextmanager
    def reading(self, path: Path, own: bool = False) -> Iterator[HashedFile]:
        """Open a regular file once; the end of the `with` block finishes it. With `own`, it also gets its own hash."""
        with open_plain(path) as stream:
            file = HashedFile(path, stream, (self._sha, hashlib.sha256()) if own else (self._sha,), self._add)
            yield file
            file.finish()

    def _add(self, path: Path, sha: hashlib._Hash) -> None:
        self._sha = sha
        self.paths.append(path)


class HashedFile:
    """One file that is opened once and may be read from its beginning several times.

    The hashes cover the bytes of the last reading.
    """

    def __init__(
        self,
        path: Path,
        stream: BinaryIO,
        before: tuple[hashlib._Hash, ...],
        add: Callable[[Path, hashlib._Hash], None],
    ) -> None:
        self._path, self._stream, self._before, self._add = path, stream, before, add
        self._reading = _HashingReader(stream, before)
        self._done = False

    @property
    def sha256(self) -> str:
        """Return the hash of this file alone, after it is finished."""
        return self._reading.hashes[-1].hexdigest()

    def open(self) -> BinaryIO:
        """Return the file as a stream from its beginning; the stream can be read onwards, or rewound to 0."""
        self._stream.seek(0)
        self._reading = _HashingReader(self._stream, self._before)
        return io.BufferedReader(self._reading, _CHUNK)

    def whole(self, limit: int) -> bytes:
        """Return all bytes; FileError with the size for a file of more than `limit` bytes."""
        data = self.open().read(limit + 1)
        _demand_size(max(len(data), os.fstat(self._stream.fileno()).st_size), len(data), limit, self._path)
        return data

    def finish(self) -> None:
        """Read the rest of the file and add the file to the hash of all files; a second call does nothing."""
        if self._done:
            return
        self._done = True
        try:
            self._reading.read_on()
        except OSError as error:
            raise refused_by_system(error, self._path) from error
        self._add(self._path, self._reading.hashes[0])


class _HashingReader(io.RawIOBase):
    """Reads a stream and hashes the bytes; a return to the beginning restarts the hashes."""

    def __init__(self, stream: BinaryIO, before: tuple[hashlib._Hash, ...]) -> None:
        super().__init__()
        self._stream, self._before = stream, before
        self.hashes = [each.copy() for each in before]

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._stream.tell()

    def seek(self, offset: int, whence: int = os.SEEK_SET, /) -> int:
        if (offset, whence) == (0, os.SEEK_SET):
            self.hashes = [each.copy() for each in self._before]
            return self._stream.seek(0)
        if (offset, whence) == (0, os.SEEK_CUR):
            return self._stream.tell()
        raise io.UnsupportedOperation("only a return to the beginning is possible")

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        view = memoryview(buffer)
        data = self._take(len(view))
        view[: len(data)] = data
        return len(data)

    def _take(self, size: int) -> bytes:
        data = self._stream.read(size)
        for each in self.hashes:
            each.update(data)
        return data

    def read_on(self) -> None:
        """Read and hash the rest of the stream."""
        while self._take(_CHUNK):
            pass


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees either the old or the new bytes.

    The bytes go to a temporary file in the same folder, which is synced to disk and then renamed. An existing file
    keeps its permissions, and a symbolic link keeps its target.
    """
    write_together([(path, data)])


def write_together(files: Iterable[tuple[Path, bytes]]) -> None:
    """Write several files, each of them like `write_atomically`.

    All temporary files are on disk before the first rename, and Ctrl-C waits until the last rename. Thus all files are
    old or all of them are new.
    """
    staged: list[_Staged] = []
    try:
        for path, data in files:
            staged.append(_staged(path, data))
        with _signals_blocked():
            for each in staged:
                each.put()
    except BaseException:
        for each in staged:
            each.drop()
        raise


class _Staged(NamedTuple):
    """New bytes on disk in a temporary file; `path` is the name that the user gave, `target` the resolved one."""

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
        if sys.platform == "win32" and is_reserved_on_windows(path):
            raise OSError(errno.ENOENT, "reserved")
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
def _signals_blocked() -> Iterator[None]:
    """Block the signals that end the program, if the system supports that."""
    if sys.platform == "win32":
        yield
    else:
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM, signal.SIGHUP})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


def write_text_atomically(path: Path, text: str) -> None:
    """Write a text as UTF-8 with its line ends unchanged; see `write_atomically`."""
    write_atomically(path, text.encode("utf-8", "surrogatepass"))


def _as_system(error: OSError | ValueError | RuntimeError) -> OSError | ValueError:
    # Before Python 3.13, Path.resolve raises RuntimeError for a loop of symbolic links.
    return OSError(errno.ELOOP, "") if isinstance(error, RuntimeError) else error


def _mode_for(target: Path) -> int:
    try:
        return stat.S_IMODE(os.stat(target).st_mode)
    except OSError:
        mask = os.umask(0o022)
        os.umask(mask)
        return 0o666 & ~mask


def sync_folder(folder: Path) -> None:
    """Sync the entries of a folder to disk, if the system supports that."""
    if not hasattr(os, "O_DIRECTORY"):  # Windows cannot open a folder
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
