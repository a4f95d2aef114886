"""Reads the operator's keys without blocking: single keys on a terminal, lines elsewhere."""

from __future__ import annotations

import os
import re
import select
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Protocol

from netcheck.proof.events import Event, Key, Press

KEYS: dict[str, Press] = {
    **dict.fromkeys(("", "\n", "\r"), Key.ENTER),
    "s": Key.SKIP,
    "S": Key.SKIP,
    "q": Key.QUIT,
    "Q": Key.QUIT,
    **{str(number): number for number in range(1, 10)},
}
MOST = 4096
# Arrow, page and function keys: control sequences (ECMA-48 section 5.4), and SS3 or Escape with one letter.
_SEQUENCE = re.compile(rb"\x1b(?:\[[0-?]*[ -/]*[@-~]|O[ -~]|[ -~])?")


class Hands(Protocol):
    """The source of key presses: the keyboard, nobody, or a script on the rig."""

    ended: bool

    def pressed(self) -> Iterable[Press]:
        """Return the keys since the last call without blocking."""

    def told(self, event: Event) -> None:
        """Receive an event."""


class Keyboard:
    """Reads keys from standard input. `ended` is true once no more can come."""

    def __init__(self, handle: int, terminal: bool) -> None:
        self.handle, self.terminal, self.ended = handle, terminal, False
        self._line = b""

    def pressed(self) -> list[Press]:
        """Return the keys since the last call."""
        data = b""
        while not self.ended and select.select([self.handle], [], [], 0)[0] and len(data) < MOST:
            try:
                chunk = os.read(self.handle, 256)
            except OSError:  # the terminal was closed
                chunk = b""
            self.ended = not chunk
            data += chunk
        return list(self._keys(data))

    def told(self, event: Event) -> None:
        """Ignore the event: a person reads the screen."""

    def _keys(self, data: bytes) -> Iterator[Press]:
        if self.terminal:
            words = list(_SEQUENCE.sub(b"", data).decode("ascii", "ignore"))
        else:
            *lines, self._line = (self._line + data)[-MOST:].split(b"\n")
            if self.ended and self._line:  # the last line may have no line break
                lines, self._line = [*lines, self._line], b""
            words = [line.decode("ascii", "ignore").strip() for line in lines]
        return (KEYS[word] for word in words if word in KEYS)


class NoKeys:
    """A source without keys."""

    ended = True

    def pressed(self) -> list[Press]:
        """Return no keys."""
        return []

    def told(self, event: Event) -> None:
        """Ignore the event."""


@contextmanager
def keyboard(wanted: bool) -> Iterator[Hands]:
    """Read single keys within the context; the terminal's mode is restored afterwards."""
    if not wanted or sys.stdin is None or sys.stdin.closed:
        yield NoKeys()
        return
    handle = sys.stdin.fileno()
    if sys.platform == "win32":
        from netcheck.app.windows_keyboard import ConsoleKeys, PipeKeys, is_console

        yield ConsoleKeys(KEYS.get) if is_console(handle) else PipeKeys(handle, KEYS.get)
    elif not os.isatty(handle):
        yield Keyboard(handle, terminal=False)
    else:
        import termios
        import tty

        before = termios.tcgetattr(handle)
        try:
            tty.setcbreak(handle)
            yield Keyboard(handle, terminal=True)
        finally:
            termios.tcsetattr(handle, termios.TCSADRAIN, before)
