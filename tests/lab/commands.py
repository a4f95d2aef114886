"""Runs a netcheck command in a namespace: reads its lines, passes requests to a technician, and types keys."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from tests.lab.netns import Lab, LabError
from tests.lab.technician import Request, Technician, request_in

NETCHECK = [sys.executable, "-m", "netcheck"]
Process = subprocess.Popen[bytes]
NOBODY = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")
NO_RIGHTS = ("setpriv", "--bounding-set=-all", "--inh-caps=-all")


@cache
def as_a_user() -> tuple[str, ...]:
    """Return the words in front of a command that remove its rights.

    They make it run as another user, or as root without capabilities if that user cannot read this Python.
    """
    trial = subprocess.run([*NOBODY, sys.executable, "-c", "import netcheck"], capture_output=True)
    return NO_RIGHTS if trial.returncode else NOBODY


def run(lab: Lab, space: str, *words: str | Path) -> subprocess.CompletedProcess[str]:
    """Run netcheck in a namespace to its end."""
    return lab.run(space, [*NETCHECK, *map(str, words)], timeout=120)


def begun(process: Process) -> None:
    """Wait until netcheck reports that it listens."""
    assert process.stderr is not None
    assert process.stderr.readline().startswith(b"listening on eth0")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of standard error; `at` is the time when it was read, in seconds of the wall clock."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class Result:
    """The result of a command; times are those of the wall clock."""

    code: int
    out: str
    lines: tuple[Line, ...]
    began: float
    ended: float

    @property
    def shape(self) -> dict[str, Any]:
        """The JSON on standard output."""
        assert self.out.startswith(("{", "[")), f"exit code {self.code}, no JSON:\n{self.text}"
        shape: dict[str, Any] = json.loads(self.out)
        return shape

    @property
    def proofs(self) -> dict[str, dict[str, Any]]:
        """The proofs by port."""
        return {f"{proof['interface']}:{proof['port']}": proof for proof in self.shape["proofs"]}

    @property
    def verdicts(self) -> dict[str, str]:
        """The verdicts by port."""
        return {port: proof["verdict"] for port, proof in self.proofs.items()}

    @property
    def text(self) -> str:
        """Everything on standard error."""
        return "\n".join(line.text for line in self.lines)

    def when(self, beginning: str) -> float:
        """Return the time when the first line with this beginning was read."""
        return next(line.at for line in self.lines if line.text.startswith(beginning))


class Command:
    """A started command. One thread reads its lines; another passes its requests to the technician, one at a time."""

    def __init__(
        self,
        lab: Lab,
        namespace: str,
        words: Sequence[str],
        folder: Path,
        *,
        technician: Technician | None = None,
        keys: bool = False,
        wrapper: Sequence[str] = (),
        environment: Mapping[str, str] | None = None,
    ) -> None:
        """Start `netcheck WORDS` in this folder; with `keys` its standard input is a pipe."""
        self._lines: list[Line] = []
        self._news = threading.Condition()
        self._requests: queue.Queue[Request | None] = queue.Queue()
        self._technician = technician
        self._ended = threading.Event()
        self._began = time.time()
        self.process = lab.start(
            namespace,
            [*wrapper, sys.executable, "-m", "netcheck", *words],
            stdin=subprocess.PIPE if keys else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "HOME": str(folder), **(environment or {})},
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
                self._lines.append(Line(time.time(), text))
                self._news.notify_all()
            if (request := request_in(text)) is not None:
                self._requests.put(request)
        self._ended.set()
        self._requests.put(None)
        with self._news:
            self._news.notify_all()

    def _work(self) -> None:
        while (request := self._requests.get()) is not None:
            if self._technician is None:
                continue
            try:
                self._technician(request)
            except (LabError, OSError):  # after the end of the command the laboratory may be closed
                if not self._ended.is_set():
                    raise

    def wait_for(self, wanted: Callable[[str], bool], seconds: float, since: int = 0) -> bool:
        """Wait for a line after the first *since* lines; return False if it does not come in time."""
        until = time.monotonic() + seconds
        with self._news:
            while not any(wanted(line.text) for line in self._lines[since:]):
                if (left := until - time.monotonic()) <= 0 or self.process.poll() is not None:
                    return False
                self._news.wait(min(left, 0.5))
        return True

    @property
    def line_count(self) -> int:
        """The number of lines read so far."""
        return len(self._lines)

    def pause(self, seconds: float) -> None:
        """Wait for these seconds, or until the command ends."""
        self._ended.wait(seconds)

    def press(self, line: str = "") -> float:
        """Type a line, empty for Enter, and return the time. The line is lost if the command or its input has ended."""
        assert self.process.stdin is not None
        with suppress(BrokenPipeError, ValueError):  # ValueError: the input was closed before
            os.write(self.process.stdin.fileno(), line.encode() + b"\n")
        return time.time()

    def hang_up(self) -> None:
        """Close the command's standard input."""
        assert self.process.stdin is not None
        self.process.stdin.close()

    def signal(self, number: signal.Signals) -> float:
        """Send a signal to the command and return the time."""
        at = time.time()
        self.process.send_signal(number)
        return at

    def end(self, seconds: float = 300) -> Result:
        """Wait until the command ends, and return its result; kill it after these seconds."""
        watchdog = threading.Timer(seconds, self.process.kill)
        watchdog.start()
        assert self.process.stdout is not None
        out = self.process.stdout.read().decode(errors="replace")
        code = self.process.wait()
        ended = time.time()
        watchdog.cancel()
        for thread in self._threads:
            thread.join(30)
        return Result(code, out, tuple(self._lines), self._began, ended)
