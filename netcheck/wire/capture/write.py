"""Writes frames to a pcapng file, which any packet analyser reads: draft-ietf-opsawg-pcapng.

The file has one section, an interface block for each adapter, and an enhanced packet block for each frame. Each block
is written in one call, so that a process that dies leaves a readable file. Comments pass through `safe`, since they may
contain text from outside.
"""

from __future__ import annotations

import os
import struct
import sys
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from netcheck import __version__
from netcheck.errors import NetcheckError, UsageError
from netcheck.text import safe
from netcheck.wire.capture import pcapng
from netcheck.wire.link import Adapter

LIMIT = 1 << 30  # bytes of file, after which frames are counted and left out
LONGEST = 1 << 16  # bytes kept of a frame

_NANOSECONDS = 9  # as a power of ten


class CaptureWriter:
    """A capture file that is being written.

    `left_out` counts the frames that were not written; `problem` is why writing ended early (such as a full disk), ""
    if it did not. A capture that fails never ends a proof."""

    def __init__(self, path: Path, adapters: Sequence[Adapter], limit: int = LIMIT) -> None:
        """Create the file; UsageError if it exists or cannot be created."""
        self.left_out = 0
        self.problem = ""
        self._limit = limit
        self._size = 0
        self._file = _created(path)
        self._write(_head(adapters))
        if self.problem:
            self.close()
            raise UsageError.of(f"the capture cannot be written: {self.problem}", where=safe(str(path)))

    def frame(self, at_unix_seconds: float, adapter: int, frame: bytes, outbound: bool, comment: str = "") -> None:
        """Add a frame, with its time on the wall clock and a comment."""
        block = _packet(at_unix_seconds, adapter, frame, outbound, comment)
        if self._file < 0 or self._size + len(block) > self._limit:
            self.left_out += 1
        else:
            self._write(block)

    def _write(self, block: bytes) -> None:
        """Write a block; if that fails, remove the incomplete block and write no more."""
        try:
            if os.write(self._file, block) == len(block):
                self._size += len(block)
                return
            self.problem = "the disk is full"
        except OSError as error:
            self.problem = error.strerror or str(error)
        self.left_out += 1
        try:
            os.ftruncate(self._file, self._size)
        finally:
            self.close()

    def close(self) -> None:
        """Write the file to the disk and close it; safe to call twice."""
        if self._file >= 0:
            file, self._file = self._file, -1
            try:
                os.fsync(file)
            except OSError as error:
                self.problem = self.problem or error.strerror or str(error)
            finally:
                os.close(file)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _created(path: Path) -> int:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
    try:
        return os.open(path, flags, 0o644)
    except FileExistsError as error:
        raise _refused(path, "the capture file exists already, and is not overwritten", "Name another one") from error
    except FileNotFoundError as error:
        raise _refused(
            path, "the folder of the capture does not exist", "Create it first, or name another one"
        ) from error
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _refused(path, f"the capture file cannot be created: {why}", "Name another one") from error


def _refused(path: Path, what: str, do: str) -> NetcheckError:
    return UsageError.of(what, where=safe(str(path)), do=do)


def _block(kind: int, body: bytes, options: bytes) -> bytes:
    """Return a block: type, length, body, options, and the length again, in the byte order of this machine."""
    length = 12 + len(body) + len(options)
    return struct.pack("=II", kind, length) + body + options + struct.pack("=I", length)


def _option(code: int, value: bytes) -> bytes:
    return struct.pack("=HH", code, len(value)) + _filled(value)


def _filled(value: bytes) -> bytes:
    """Return the value, filled up to a multiple of four bytes."""
    return value + b"\0" * (-len(value) % 4)


def _head(adapters: Sequence[Adapter]) -> bytes:
    section = struct.pack("=IHHq", pcapng.BYTE_ORDER, 1, 0, -1)  # version 1.0, length not known
    options = _option(pcapng.APPLICATION, f"netcheck {__version__}".encode()) + _option(pcapng.END, b"")
    return _block(pcapng.SECTION, section, options) + b"".join(map(_interface, adapters))


def _interface(adapter: Adapter) -> bytes:
    options = _option(pcapng.NAME, safe(adapter.name, 60).encode()) + _option(
        pcapng.MAC, adapter.mac.to_bytes(6, "big")
    )
    options += _option(pcapng.RESOLUTION, bytes([_NANOSECONDS]))
    for address, length in adapter.addresses:
        mask = 0xFFFFFFFF << (32 - length) & 0xFFFFFFFF
        options += _option(pcapng.IPV4, address.to_bytes(4, "big") + mask.to_bytes(4, "big"))
    return _block(
        pcapng.INTERFACE, struct.pack("=HHI", pcapng.ETHERNET, 0, LONGEST), options + _option(pcapng.END, b"")
    )


def _packet(at: float, adapter: int, frame: bytes, outbound: bool, comment: str) -> bytes:
    stamp = max(0, round(at * 1_000_000_000))
    kept = frame[:LONGEST]
    head = struct.pack("=IIIII", adapter, stamp >> 32 & 0xFFFFFFFF, stamp & 0xFFFFFFFF, len(kept), len(frame))
    options = _option(pcapng.COMMENT, safe(comment).encode()) if comment else b""
    options += _option(pcapng.FLAGS, (pcapng.OUTBOUND if outbound else pcapng.INBOUND).to_bytes(4, sys.byteorder))
    return _block(pcapng.ENHANCED_PACKET, head + _filled(kept), options + _option(pcapng.END, b""))
