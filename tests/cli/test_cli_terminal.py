"""Tests of a run in a real terminal (pty): a stop by the shell, and a terminal that cannot place text."""

from __future__ import annotations

import json
import os
import pty
import select
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

PLAN = Path(__file__).parents[2] / "plans" / "tarn-hollow-mended"
NETCHECK = f'"{sys.executable}" -m netcheck rehearse "{PLAN}" --only reception-plc/cpu --quiet --record run.jsonl'
# `set -m` starts the program in a new process group, like an interactive shell.
JOB = f"set -m; {NETCHECK}; echo STOPPED; stty -a | tr ' ' '\\n' | grep icanon; sleep 0.3; fg >/dev/null; echo ENDED"


class Terminal:
    """A shell in a new pseudo-terminal."""

    def __init__(self, script: str, folder: Path, term: str) -> None:
        self.said = b""
        environment = {**os.environ, "TERM": term, "COLUMNS": "80", "LINES": "24"}
        self.process, self.master = pty.fork()
        if self.process == 0:
            os.chdir(folder)
            os.execvpe("bash", ["bash", "-c", script], environment)

    def wait_for(self, text: bytes, seconds: float = 30.0) -> None:
        """Wait for a text in the output since the last call, and discard the output before it."""
        until = time.monotonic() + seconds
        while text not in self.said:
            assert time.monotonic() < until, (text, self.said[-2000:])
            if select.select([self.master], [], [], 0.1)[0]:
                self.said += os.read(self.master, 65536)
        self.said = self.said[self.said.index(text) + len(text) :]

    def type(self, keys: bytes) -> None:
        """Type keys."""
        os.write(self.master, keys)

    def close(self) -> None:
        """End the shell and its programs."""
        os.close(self.master)
        os.waitpid(self.process, 0)


@pytest.fixture
def terminal(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Terminal]:
    """Return a shell that runs a rehearsal."""
    script, term = request.param
    shell = Terminal(script, tmp_path, term)
    yield shell
    shell.close()


@pytest.mark.parametrize("terminal", [(JOB, "xterm")], indirect=True, ids=["xterm"])
def test_after_a_stop_by_the_shell_screen_and_keys_work(terminal: Terminal, tmp_path: Path) -> None:
    """Ctrl-Z restores the terminal's mode and its normal screen.

    After `fg` the screen is drawn again, and the keys work without Enter.
    """
    terminal.wait_for(b"\x1b[?1049h")
    terminal.wait_for(b"Plug in the cable of reception-plc/cpu:1")
    terminal.type(b"\x1a")
    terminal.wait_for(b"\x1b[?1049l")
    terminal.wait_for(b"STOPPED")
    terminal.wait_for(b"icanon")
    terminal.wait_for(b"\x1b[?1049h")
    terminal.wait_for(b"reception-plc/cpu:1")
    terminal.type(b"s")
    terminal.wait_for(b"reception-plc/cpu:2   ")
    terminal.type(b"q")
    terminal.wait_for(b"ENDED")
    lines = [json.loads(line) for line in (tmp_path / "run.jsonl").read_text().splitlines()]
    assert any("skipped" in str(line) for line in lines)


DUMB = f"{NETCHECK}; echo ENDED"


@pytest.mark.parametrize("terminal", [(DUMB, "dumb")], indirect=True, ids=["dumb"])
def test_a_dumb_terminal_has_every_instruction_as_a_line(terminal: Terminal) -> None:
    """With TERM=dumb every instruction is a line without control codes, and single keys work."""
    terminal.wait_for(b"do       reception-plc/cpu:1: Plug in the cable of reception-plc/cpu:1")
    assert b"\x1b" not in terminal.said
    terminal.type(b"s")
    terminal.wait_for(b"do       reception-plc/cpu:2: Move the cable from port 1 to reception-plc/cpu:2")
    terminal.type(b"q")
    terminal.wait_for(b"ENDED")


# A program with the name of a speech program; it writes its text to a file.
MUTE = "mkdir bin; printf '#!/bin/sh\\ncat >>spoken\\n' >bin/espeak-ng; chmod +x bin/espeak-ng"
SAYS = f'{MUTE}; PATH="$PWD/bin:$PATH"; {NETCHECK} --say; echo ENDED'


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have other programs")
@pytest.mark.parametrize("terminal", [(SAYS, "xterm")], indirect=True, ids=["xterm"])
def test_a_rehearsal_speaks_each_change(terminal: Terminal, tmp_path: Path) -> None:
    """With `--say` the first request and the next one are spoken, as in `prove`."""
    terminal.wait_for(b"Plug in the cable of reception-plc/cpu:1")
    terminal.type(b"\r")
    terminal.wait_for(b"Pull the cable of reception-plc/cpu:1")
    until = time.monotonic() + 30
    while (said := spoken(tmp_path)) is None or "Pull. reception plc cpu port 1" not in said:
        assert time.monotonic() < until, said
        time.sleep(0.1)
    assert said.startswith("Plug in. reception plc cpu port 1")
    terminal.type(b"q")
    terminal.wait_for(b"ENDED")


def spoken(folder: Path) -> str | None:
    """Return the text that was spoken so far."""
    file = folder / "spoken"
    return file.read_text() if file.exists() else None


DRAFT = PLAN.with_name("tarn-hollow")
PROSE = (
    f'suggest "{DRAFT}"',
    "carve 10.62.0.0/22 --need process:40 --need packing:120",
    f'rehearse "{PLAN}" --walk',
    f'check "{DRAFT}/absent/plan.toml"',
)


@pytest.mark.parametrize(
    ("terminal", "words"),
    [((f'"{sys.executable}" -m netcheck {words}; echo ENDED', "xterm"), words) for words in PROSE],
    indirect=["terminal"],
    ids=[words.split()[0] for words in PROSE],
)
def test_a_terminal_breaks_no_word_of_a_sentence(terminal: Terminal, words: str) -> None:
    """In 80 columns no line of words is longer than the terminal, which would break it in the middle of a word."""
    said = b""
    while not said.endswith(b"ENDED"):
        before = terminal.said
        if select.select([terminal.master], [], [], 30.0)[0]:
            terminal.said += os.read(terminal.master, 65536)
        assert terminal.said != before, words
        said = terminal.said.rstrip()
    lines = said.decode().splitlines()
    assert len(lines) > 1
    assert [line for line in lines if len(line) > 80 and " " in line[:80].strip()] == []
