"""A program in a Windows console, and the text that a person reads there.

`standins/sitecustomize.py` keeps the program's screens in one of two ways. A console before Windows 10 is read by its
own call ReadConsoleOutputCharacterW. For a console of Windows 10 a terminal emulator draws the written text, because
Wine 8 does not interpret escape sequences.
"""

from __future__ import annotations

import fcntl
import json
import os
import struct
import termios
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pyte

from tests.windows.wine import Windows, windows_path

ROWS, COLUMNS = 24, 100


class Console:
    """A program in a new console: a pseudo-terminal on which Wine's console draws."""

    def __init__(self, computer: Windows, *words: str, cwd: Path | None = None, **settings: str) -> None:
        """Start Python with these arguments; *settings* are added to its environment."""
        self._master, terminal = os.openpty()
        fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        self.said = b""
        self._reader = threading.Thread(target=self._read, daemon=True)
        before = ("setsid", "--ctty", "env", *(f"{name}={value}" for name, value in settings.items()))
        self.process = computer.start(*words, before=before, cwd=cwd, stdin=terminal, stdout=terminal, stderr=terminal)
        os.close(terminal)
        self._reader.start()

    def _read(self) -> None:
        """Read the console's output at once, because the program waits until it is read."""
        with suppress(OSError):  # the program ended
            while drawn := os.read(self._master, 65536):
                self.said += drawn

    def type(self, keys: bytes) -> None:
        """Type keys."""
        os.write(self._master, keys)

    def wait_for(self, text: bytes, seconds: float = 30) -> bool:
        """Wait until a text is printed; return False if it is not printed in time."""
        return self.wait_until(lambda: text in self.said, seconds)

    def wait_until(self, true: Callable[[], bool], seconds: float) -> bool:
        """Wait until a condition is true; return False if it does not become true before the program ends."""
        until = time.monotonic() + seconds
        while not true() and time.monotonic() < until and self._reader.is_alive():
            time.sleep(0.1)
        return true()

    def close(self) -> None:
        """End the program."""
        self.process.kill()
        self.process.wait()
        self._reader.join(5)
        os.close(self._master)


class Screens:
    """The screens of a program in a console with a legacy code page; `old` is a console before Windows 10."""

    def __init__(self, file: Path, page: int, *, old: bool) -> None:
        self._file, self._old, self._read = file, old, 0
        self._drawn = pyte.Screen(COLUMNS, ROWS)
        self._emulator = pyte.ByteStream(self._drawn)
        self.settings = {
            "LABORATORY_CODE_PAGE": str(page),
            "LABORATORY_CONSOLE": "old" if old else "",
            "LABORATORY_SCREENS": windows_path(file),
        }

    def now(self) -> str:
        """Return the text on the screen; empty before the program has drawn anything."""
        if not self._file.exists():
            return ""
        written = self._file.read_bytes()
        if self._old:
            whole = written[: written.rfind(b"\n") + 1].splitlines()
            return str(json.loads(whole[-1])) if whole else ""
        self._emulator.feed(written[self._read :])
        self._read = len(written)
        return "\n".join(line.rstrip() for line in self._drawn.display).rstrip()
