"""A command of netcheck at work in a namespace: its plain lines as they come, keys for it, and how it ended."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from tests.lab.netns import Lab

Hand = Callable[[str, str], None]  # told (port, text) of every `do` line
NETCHECK = [sys.executable, "-m", "netcheck"]
Process = subprocess.Popen[bytes]
NOBODY = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")
NO_RIGHTS = ("setpriv", "--bounding-set=-all", "--inh-caps=-all")


@cache
def as_a_user() -> tuple[str, ...]:
    """What to put before a command so that it has no rights: another user, or root without any where that user cannot
    read this Python."""
    trial = subprocess.run([*NOBODY, sys.executable, "-c", "import netcheck"], capture_output=True)
    return NO_RIGHTS if trial.returncode else NOBODY


def run(lab: Lab, space: str, *words: str | Path) -> subprocess.CompletedProcess[str]:
    """netcheck in a namespace."""
    return lab.run(space, [*NETCHECK, *map(str, words)], timeout=120)


def begun(process: Process) -> None:
    """Wait until netcheck says that it listens."""
    assert process.stderr is not None
    assert process.stderr.readline().startswith(b"listening on eth0")


@dataclass(frozen=True, slots=True)
class Said:
    """One line on standard error and when it was read, in seconds of the wall clock."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class Ended:
    """How a command ended; times are of the wall clock."""

    code: int
    out: str
    said: tuple[Said, ...]
    began: float
    ended: float

    @property
    def shape(self) -> dict[str, Any]:
        """What it printed, read as JSON."""
        assert self.out.startswith(("{", "[")), f"exit code {self.code}, no JSON:\n{self.text}"
        shape: dict[str, Any] = json.loads(self.out)
        return shape

    @property
    def proofs(self) -> dict[str, dict[str, Any]]:
        """Its proofs by port."""
        return {f"{proof['interface']}:{proof['port']}": proof for proof in self.shape["proofs"]}

    @property
    def verdicts(self) -> dict[str, str]:
        """Its verdicts by port."""
        return {port: proof["verdict"] for port, proof in self.proofs.items()}

    @property
    def text(self) -> str:
        """Everything on standard error."""
        return "\n".join(line.text for line in self.said)

    def when(self, beginning: str) -> float:
        """When the first line that begins so was read."""
        return next(line.at for line in self.said if line.text.startswith(beginning))


class Running:
    """A started command. A thread reads its lines; another lets the hand do what they ask for, one after the other."""

    def __init__(
        self,
        lab: Lab,
        namespace: str,
        words: Sequence[str],
        folder: Path,
        *,
        hand: Hand | None = None,
        keys: bool = False,
        wrapper: Sequence[str] = (),
    ) -> None:
        """Start `netcheck WORDS` with this folder as its own; with `keys` its standard input is a pipe."""
        self._said: list[Said] = []
        self._news = threading.Condition()
        self._asked: queue.Queue[tuple[str, str] | None] = queue.Queue()
        self._hand = hand
        self._began = time.time()
        self.process = lab.start(
            namespace,
            [*wrapper, sys.executable, "-m", "netcheck", *words],
            stdin=subprocess.PIPE if keys else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "HOME": str(folder)},
            cwd=folder,
        )
        self._threads = [threading.Thread(target=task, daemon=True) for task in (self._read, self._work)]
        for thread in self._threads:
            thread.start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for raw in self.process.stderr:
            text = raw.decode(errors="replace").rstrip()
            with self._news:
                self._said.append(Said(time.time(), text))
                self._news.notify_all()
            if text.startswith("do "):
                port, _, asked = text[3:].strip().partition(": ")
                self._asked.put((port, asked) if asked else ("", port))
        self._asked.put(None)
        with self._news:
            self._news.notify_all()

    def _work(self) -> None:
        while (asked := self._asked.get()) is not None:
            if self._hand is not None:
                self._hand(*asked)

    def wait_for(self, wanted: Callable[[str], bool], seconds: float, since: int = 0) -> bool:
        """Wait for a line; those before number `since` do not count. False where it does not come."""
        until = time.monotonic() + seconds
        with self._news:
            while not any(wanted(line.text) for line in self._said[since:]):
                if (left := until - time.monotonic()) <= 0 or self.process.poll() is not None:
                    return False
                self._news.wait(min(left, 0.5))
        return True

    @property
    def lines(self) -> int:
        """How many lines there are so far."""
        return len(self._said)

    def press(self, line: str = "") -> float:
        """Type a line; an empty one is Enter. Returns the time. Nobody reads it once the command is over."""
        assert self.process.stdin is not None
        with suppress(BrokenPipeError):
            self.process.stdin.write(line.encode() + b"\n")
            self.process.stdin.flush()
        return time.time()

    def hang_up(self) -> None:
        """Let the command's input end: nobody is there to type any more."""
        assert self.process.stdin is not None
        self.process.stdin.close()

    def signal(self, number: signal.Signals) -> float:
        """Send it a signal; returns the time."""
        at = time.time()
        self.process.send_signal(number)
        return at

    def end(self, seconds: float = 300) -> Ended:
        """Wait until it ends by itself; it is killed after these seconds."""
        watchdog = threading.Timer(seconds, self.process.kill)
        watchdog.start()
        assert self.process.stdout is not None
        out = self.process.stdout.read().decode(errors="replace")
        code = self.process.wait()
        ended = time.time()
        watchdog.cancel()
        for thread in self._threads:
            thread.join(30)
        return Ended(code, out, tuple(self._said), self._began, ended)
