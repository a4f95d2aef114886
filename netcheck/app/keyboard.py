"""Reads the operator's keys without blocking: single keys on a terminal, lines elsewhere.

On Windows the C runtime's console calls read a console, and a thread reads a pipe, because `select` accepts only
sockets there. No library is used: libraries for keys (prompt_toolkit, textual, blessed) also control the screen, and
readchar and click block until a key is pressed.
"""

from __future__ import annotations

import os
import queue
import re
import select
import sys
import threading
from codecs import getincrementaldecoder
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Protocol

from netcheck.proof.events import Event, Key, LineKey, Press, TypedLine

if sys.platform != "win32":
    import termios
    import tty

KEYS: dict[str, Press] = {
    **dict.fromkeys(("", "\n", "\r"), Key.ENTER),
    "s": Key.SKIP,
    "S": Key.SKIP,
    "r": Key.AGAIN,
    "R": Key.AGAIN,
    "q": Key.QUIT,
    "Q": Key.QUIT,
}
LINES = {letter: key for key in LineKey for letter in (key.value, key.value.upper())}  # keys that begin a line
PROMPTS = {LineKey.NEXT: "Next port", LineKey.REMARK: "Remark"}
ESCAPE, CLEAR = "\x1b", "\x15"
LONGEST_LINE = 300  # characters of a typed line
DIGITS = "0123456789"
BACKSPACE = ("\x7f", "\x08")
MOST_DIGITS = 4  # digits of the number of a row
MOST = 4096  # characters of one line that are kept, and bytes or keys that one call reads
FUNCTION_KEY = ("\x00", "\xe0")  # begins an arrow, page or function key of a Windows console; a second one follows
CTRL_C = "\x03"
# Arrow, page and function keys: control sequences (ECMA-48 section 5.4), and SS3 or Escape with one letter.
_SEQUENCE = re.compile(rb"\x1b(?:\[[0-?]*[ -/]*[@-~]|O[ -~]|[ -~])?")


class KeySource(Protocol):
    """The source of key presses: the keyboard, a script on the rig, or no source."""

    ended: bool

    def pressed(self) -> Iterable[Press]:
        """Return the keys since the last call, without waiting."""

    def told(self, event: Event) -> None:
        """Receive an event."""


class LineKeys:
    """Turns the bytes of a pipe into keys; each line is one key."""

    def __init__(self) -> None:
        self.rest = b""

    def keys(self, data: bytes, ended: bool) -> list[Press]:
        """Return the keys of the complete lines; the last line of the input may have no line break."""
        *lines, self.rest = (self.rest + data)[-MOST:].split(b"\n")
        if ended and self.rest:
            lines, self.rest = [*lines, self.rest], b""
        words = [
            line.decode("utf-8", "replace").strip() for line in lines
        ]  # an undecodable line must not become an empty one, which is Enter
        return [key for word in words if (key := self._key(word)) is not None]

    @staticmethod
    def _key(word: str) -> Press | None:
        if word.isascii() and word.isdecimal() and len(word) <= MOST_DIGITS:
            return int(word) or None
        letter, _, text = word.partition(" ")
        if letter in LINES and text.strip():
            return TypedLine(LINES[letter], text.strip()[:LONGEST_LINE])
        return KEYS.get(word)


class SingleKeys:
    """Turns the characters of a terminal into keys, and digits into the number of a row of the screen.

    A digit counts at once if no longer row number begins with it; with up to nine rows every number is one key.
    Otherwise a second digit or Enter completes the number, and any other key discards it. `typed` are the digits so
    far. A key of `LINES` begins a line of text; Enter ends it, Escape discards it.
    """

    def __init__(self, rows: int = 9) -> None:
        """*rows* is the number of rows on the screen."""
        self.rows, self.typed = rows, ""
        self._line: LineKey | None = None  # the line that is being typed
        self._text = ""

    @property
    def prompt(self) -> str:
        """The line that is being typed, with its purpose; empty if no line is being typed."""
        return "" if self._line is None else f"{PROMPTS[self._line]}: {self._text}"

    def key(self, character: str) -> Press | None:
        """Return the key that a character completes, or None."""
        if self._line is not None:
            return self._of_line(self._line, character)
        if character in LINES:
            self._line, self._text, self.typed = LINES[character], "", ""
            return None
        typed, self.typed = self.typed, ""
        if character in DIGITS:
            typed += character
            if int(typed) * 10 <= self.rows and len(typed) < len(str(self.rows)):
                self.typed = typed
                return None
            return int(typed) or None
        if typed and KEYS.get(character) is Key.ENTER:
            return int(typed) or None
        return None if typed and character in BACKSPACE else KEYS.get(character)

    def _of_line(self, key: LineKey, character: str) -> Press | None:
        """Add a character to the line; return the line if it is complete and not empty, else None."""
        if KEYS.get(character) is Key.ENTER or character == ESCAPE:
            text, self._line, self._text = self._text.strip(), None, ""
            return TypedLine(key, text) if text and character != ESCAPE else None
        if character in BACKSPACE:
            self._text = self._text[:-1]
        elif character == CLEAR:
            self._text = ""
        elif character.isprintable() and len(self._text) < LONGEST_LINE:
            self._text += character
        return None


class Keyboard(SingleKeys):
    """Reads keys from standard input on systems whose `select` can wait for it. `ended` is True at the end of input."""

    def __init__(self, handle: int, terminal: bool, rows: int = 9) -> None:
        super().__init__(rows)
        self.handle, self.terminal, self.ended = handle, terminal, False
        self._lines = LineKeys()
        self._decoder = getincrementaldecoder("utf-8")("ignore")  # a character may arrive in two parts

    if sys.platform != "win32":

        def take_terminal(self) -> None:
            """Deliver single keys without a line end, at the start and after a stop (Ctrl-Z)."""
            if self.terminal:
                self._before = termios.tcgetattr(self.handle)
                tty.setcbreak(self.handle)

        def leave_terminal(self) -> None:
            """Restore the terminal's mode, at the end and before a stop."""
            if self.terminal:
                termios.tcsetattr(self.handle, termios.TCSADRAIN, self._before)

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
        if not self.terminal:
            return self._lines.keys(data, self.ended)
        data = _SEQUENCE.sub(lambda found: found[0] if found[0] == b"\x1b" else b"", data)  # Escape alone is a key
        return [key for character in self._decoder.decode(data) if (key := self.key(character)) is not None]

    def told(self, event: Event) -> None:
        """Ignore the event: a person reads the screen."""


class PipeKeys:
    """Reads lines of a pipe or a file in a thread. `ended` is True at the end of input."""

    def __init__(self, handle: int) -> None:
        self.ended = False
        self._handle, self._lines = handle, LineKeys()
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
            keys.extend(self._lines.keys(chunk, self.ended))
        return keys

    def told(self, event: Event) -> None:
        """Ignore the event: a person reads the screen."""


if sys.platform == "win32":
    import ctypes
    import msvcrt

    class ConsoleKeys(SingleKeys):
        """Reads single keys of a Windows console."""

        ended = False
        _interrupted = False

        def pressed(self) -> list[Press]:
            """Return the keys since the last call; raise KeyboardInterrupt for Ctrl-C after the keys before it."""
            keys: list[Press] = []
            for _ in range(MOST):
                if self._interrupted or not msvcrt.kbhit():
                    break
                character = msvcrt.getwch()
                if character == CTRL_C:
                    self._interrupted = True
                if character in FUNCTION_KEY:
                    if msvcrt.kbhit():
                        msvcrt.getwch()
                elif (key := self.key(character)) is not None:
                    keys.append(key)
            if self._interrupted and not keys:
                self._interrupted = False
                raise KeyboardInterrupt
            return keys

        def told(self, event: Event) -> None:
            """Ignore the event: a person reads the screen."""

    def _is_console(handle: int) -> bool:
        """Return whether a descriptor is the input of a console.

        The null device is not, although Python takes it for a terminal.
        """
        mode = ctypes.c_ulong()
        return bool(ctypes.windll.kernel32.GetConsoleMode(msvcrt.get_osfhandle(handle), ctypes.byref(mode)))


class NoKeys:
    """A source without keys."""

    ended = True

    def pressed(self) -> list[Press]:
        """Return no keys."""
        return []

    def told(self, event: Event) -> None:
        """Ignore the event."""


@contextmanager
def keyboard(wanted: bool, rows: int = 9) -> Iterator[KeySource]:
    """Read single keys within the context, for a screen with *rows* rows; restore the terminal's mode afterwards."""
    if not wanted or sys.stdin is None or sys.stdin.closed:
        yield NoKeys()
        return
    handle = sys.stdin.fileno()
    if sys.platform == "win32":
        yield ConsoleKeys(rows) if _is_console(handle) else PipeKeys(handle)
    elif not os.isatty(handle):
        yield Keyboard(handle, terminal=False)
    else:
        keys = Keyboard(handle, True, rows)
        keys.take_terminal()
        try:
            yield keys
        finally:
            keys.leave_terminal()
