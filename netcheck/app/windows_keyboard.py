"""Reads the operator's keys on Windows without blocking: single keys of a console by its own calls, lines of a pipe by
a thread.

The standard library's msvcrt is enough for that; a terminal library would bring screen and line editing as well.
"""

from __future__ import annotations

import sys

assert sys.platform == "win32", "for Windows only"

import ctypes  # noqa: E402  # the type checker reads the rest for Windows only
import msvcrt  # noqa: E402
import os  # noqa: E402
import queue  # noqa: E402
import threading  # noqa: E402
from collections.abc import Callable  # noqa: E402

from netcheck.proof.events import Event, Press  # noqa: E402

FUNCTION_KEY = ("\x00", "\xe0")  # an arrow, page or function key: a second character says which
CTRL_C = "\x03"
MOST = 4096  # characters of one line that are kept, and keys taken in one call
Meaning = Callable[[str], Press | None]  # of a character, or of a line without its end; None for no key


def is_console(handle: int) -> bool:
    """Return whether a descriptor is a console's input; the null device is a terminal for Python, and is none."""
    mode = ctypes.c_ulong()
    return bool(ctypes.windll.kernel32.GetConsoleMode(msvcrt.get_osfhandle(handle), ctypes.byref(mode)))


class ConsoleKeys:
    """Reads single keys of a console."""

    ended = False

    def __init__(self, meaning: Meaning) -> None:
        self._meaning = meaning

    def pressed(self) -> list[Press]:
        """Return the keys since the last call; KeyboardInterrupt for Ctrl-C."""
        keys: list[Press] = []
        for _ in range(MOST):
            if not msvcrt.kbhit():
                break
            character = msvcrt.getwch()
            if character == CTRL_C:
                raise KeyboardInterrupt
            if character in FUNCTION_KEY:
                if msvcrt.kbhit():
                    msvcrt.getwch()
            elif (key := self._meaning(character)) is not None:
                keys.append(key)
        return keys

    def told(self, event: Event) -> None:
        """Ignore the event: a person reads the screen."""


class PipeKeys:
    """Reads lines of a pipe or a file in a thread. `ended` is true once no more can come."""

    def __init__(self, handle: int, meaning: Meaning) -> None:
        self.ended = False
        self._handle, self._meaning = handle, meaning
        self._line = b""
        self._chunks: queue.Queue[bytes] = queue.Queue(maxsize=16)
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        chunk = b"begun"
        while chunk:
            try:
                chunk = os.read(self._handle, 256)
            except OSError:  # the other end was closed
                chunk = b""
            self._chunks.put(chunk)

    def pressed(self) -> list[Press]:
        """Return the keys since the last call."""
        keys: list[Press] = []
        while not self.ended and not self._chunks.empty() and len(keys) < MOST:
            chunk = self._chunks.get()
            self.ended = not chunk
            *lines, self._line = (self._line + chunk)[-MOST:].split(b"\n")
            if self.ended and self._line:  # the last line may have no line break
                lines, self._line = [*lines, self._line], b""
            meant = (self._meaning(line.decode("ascii", "ignore").strip()) for line in lines)
            keys.extend(key for key in meant if key is not None)
        return keys

    def told(self, event: Event) -> None:
        """Ignore the event: a person reads the screen."""
