"""The operator's keys, read without waiting: single keys on a terminal, lines elsewhere."""

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
# What arrow, page and function keys send: control sequences (ECMA-48 section 5.4), and SS3 or Escape with one letter.
_SEQUENCE = re.compile(rb"\x1b(?:\[[0-?]*[ -/]*[@-~]|O[ -~]|[ -~])?")


class Hands(Protocol):
    """Whoever presses the keys: the keyboard, nobody, or a script on the rig."""

    ended: bool

    def pressed(self) -> Iterable[Press]:
        """Keys since the last call; never waits."""

    def told(self, event: Event) -> None:
        """Hear of an event."""


class Keyboard:
    """Keys from standard input. `ended` is true once nothing more can come."""

    def __init__(self, handle: int, terminal: bool) -> None:
        self.handle, self.terminal, self.ended = handle, terminal, False
        self._line = b""

    def pressed(self) -> list[Press]:
        """Keys since the last call."""
        data = b""
        while not self.ended and select.select([self.handle], [], [], 0)[0] and len(data) < MOST:
            try:
                chunk = os.read(self.handle, 256)
            except OSError:  # the terminal is gone
                chunk = b""
            self.ended = not chunk
            data += chunk
        return list(self._keys(data))

    def told(self, event: Event) -> None:
        """A person reads the screen."""

    def _keys(self, data: bytes) -> Iterator[Press]:
        if self.terminal:
            words = list(_SEQUENCE.sub(b"", data).decode("ascii", "ignore"))
        else:
            *lines, self._line = (self._line + data)[-MOST:].split(b"\n")
            if self.ended and self._line:  # the last line may lack its end
                lines, self._line = [*lines, self._line], b""
            words = [line.decode("ascii", "ignore").strip() for line in lines]
        return (KEYS[word] for word in words if word in KEYS)


class NoKeys:
    """Nobody to press keys."""

    ended = True

    def pressed(self) -> list[Press]:
        """Never any."""
        return []

    def told(self, event: Event) -> None:
        """Nobody listens."""


@contextmanager
def keyboard(wanted: bool) -> Iterator[Keyboard | NoKeys]:
    """Read keys one at a time for a while; the terminal is put back as it was."""
    if not wanted or sys.stdin is None or sys.stdin.closed:
        yield NoKeys()
        return
    handle = sys.stdin.fileno()
    if not os.isatty(handle):
        yield Keyboard(handle, terminal=False)
        return
    import termios
    import tty

    before = termios.tcgetattr(handle)
    try:
        tty.setcbreak(handle)
        yield Keyboard(handle, terminal=True)
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)
