"""Plays the sounds of a run, and speaks its words with the system's speech program.

Nothing here makes the prober wait. The terminal's bell rings at the next turn. Windows tones and speech each have a
thread with a short queue; if the queue is full, its oldest entry is dropped.
"""

from __future__ import annotations

import queue
import shutil
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import TextIO

from netcheck.report.live.signals import LOW, PATTERNS, Sound

BELL_GAP, PAUSE = 0.18, 0.5  # seconds from one bell to the next, and for a pause in the pattern
BETWEEN = 0.9  # seconds between two patterns
MOST_BELLS = 24  # bells that wait; if there are more, older bells are dropped, because they are out of date
HIGH_PITCH, LOW_PITCH, TONE = 1760, 440, 90  # hertz and milliseconds: two octaves apart
WAITING = 3  # tones, or texts to speak, that may wait
LONGEST = 30.0  # seconds that speaking one text may take
WINDOWS_SPEECH = (
    "Add-Type -AssemblyName System.Speech; "
    "(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak([Console]::In.ReadToEnd())"
)
# The programs that speak, best first, by system. Each reads the text from its standard input, never from a shell.
PROGRAMS: Mapping[str, Sequence[Sequence[str]]] = {
    "darwin": [("say", "-f", "-")],
    "win32": [("powershell", "-NoProfile", "-NonInteractive", "-Command", WINDOWS_SPEECH)],
    "linux": [("espeak-ng", "--stdin"), ("espeak", "--stdin"), ("spd-say", "--wait", "--pipe-mode")],
}


class NewestTexts:
    """A thread that processes texts one after the other; if too many wait, it skips the oldest."""

    def __init__(self, work: Callable[[str], None]) -> None:
        """*work* is called in the thread with each text."""
        self._queue: queue.Queue[str] = queue.Queue(maxsize=WAITING)
        self._work = work
        threading.Thread(target=self._run, daemon=True).start()

    def put(self, text: str) -> None:
        """Add a text; if too many wait, the oldest is dropped."""
        while True:
            try:
                return self._queue.put_nowait(text)
            except queue.Full:
                try:
                    self._queue.get_nowait()
                except queue.Empty:
                    continue

    def _run(self) -> None:
        while True:
            self._work(self._queue.get())


class Bells:
    """The bell of a terminal: `ring` adds a pattern, `tick` rings the bell when it is due."""

    def __init__(self, stream: TextIO, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream, self._clock = stream, clock
        self._due: deque[float] = deque()

    def ring(self, sound: Sound) -> None:
        """Add the bells of a sound to the bells that wait."""
        at = max(self._clock(), self._due[-1] + BETWEEN if self._due else 0.0)
        for point in PATTERNS[sound]:
            if point == " ":
                at += PAUSE - BELL_GAP
            else:
                self._due.append(at)
                at += BELL_GAP
        while len(self._due) > MOST_BELLS:
            self._due.popleft()

    def tick(self) -> None:
        """Ring the bell if it is due."""
        if self._due and self._due[0] <= self._clock():
            self._due.popleft()
            self._stream.write("\a")
            self._stream.flush()


class Tones:
    """Tones of two pitches by the Windows sound call; it returns after the tone, so a thread calls it."""

    def __init__(self) -> None:
        self._played = NewestTexts(_play)

    def ring(self, sound: Sound) -> None:
        """Play a sound after the sounds that wait."""
        self._played.put(sound)

    def tick(self) -> None:
        """Do nothing: the thread plays."""


def _play(sound: str) -> None:
    """Play the tones of a sound on Windows, and wait until they are over."""
    if sys.platform == "win32":
        import winsound

        pitch = LOW_PITCH if sound in LOW else HIGH_PITCH
        for point in PATTERNS[Sound(sound)]:
            if point == " ":
                time.sleep(PAUSE - BELL_GAP)
            else:
                try:
                    winsound.Beep(pitch, TONE)
                except RuntimeError:  # no sound device
                    return
                time.sleep(BELL_GAP - TONE / 1000)


def sounds_for(stream: TextIO) -> Bells | Tones:
    """Return the sounds of this system."""
    return Tones() if sys.platform == "win32" else Bells(stream)


class Speaker:
    """Speaks texts one after the other with a program of the system, and stops at the end of the run."""

    def __init__(self, command: Sequence[str]) -> None:
        """*command* reads the text from its standard input.

        `process` is the newest speech process. After `close` nothing is spoken.
        """
        self._command = tuple(command)
        self._lock = threading.Lock()
        self.process: subprocess.Popen[bytes] | None = None
        self.closed = False
        self._spoken = NewestTexts(self._speak)

    def say(self, text: str) -> None:
        """Speak a text after the texts that wait."""
        self._spoken.put(text)

    def close(self) -> None:
        """Stop speaking."""
        with self._lock:
            self.closed = True
            if self.process is not None:
                self.process.kill()

    def _speak(self, text: str) -> None:
        """Start the speech program with a text, and wait at most `LONGEST` seconds for its end."""
        with self._lock:
            if self.closed:
                return
            try:
                self.process = subprocess.Popen(
                    self._command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
                )
            except OSError:  # the program was removed after the run began
                self.closed = True
                return
        try:
            self.process.communicate(f"{text}.\n".encode(), timeout=LONGEST)
        except (subprocess.TimeoutExpired, OSError):
            self.process.kill()
            self.process.wait()


def speech_command(system: str = sys.platform) -> Sequence[str] | None:
    """Return the command that speaks on this system; None if there is none."""
    return next((command for command in PROGRAMS.get(system, ()) if shutil.which(command[0])), None)


def speech_programs(system: str = sys.platform) -> list[str]:
    """Return the names of the programs that `speech_command` looks for."""
    return [command[0] for command in PROGRAMS.get(system, ())]
