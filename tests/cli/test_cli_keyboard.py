"""Tests of keys from a pipe and from a terminal."""

from __future__ import annotations

import os
import subprocess
import sys
import termios
import time

import pytest

from netcheck.app.keyboard import Keyboard, PipeKeys
from netcheck.proof.events import Key, Press


def ended(keys: Keyboard) -> bool:
    """Return whether the input has ended; a function, because the type checker would keep the first value."""
    return keys.ended


def test_lines_of_a_pipe_are_keys_and_its_end_is_noticed() -> None:
    """Each line of a pipe is a key, an empty line is Enter, other words are ignored, and a line may arrive in parts."""
    reading, writing = os.pipe()
    keys = Keyboard(reading, terminal=False)
    os.write(writing, b"\ns\nhello\nq")
    assert keys.pressed() == [Key.ENTER, Key.SKIP]
    assert ended(keys) is False
    os.write(writing, b"\n2\r\n")
    os.close(writing)
    assert keys.pressed() == [Key.QUIT, 2]
    assert keys.pressed() == []
    assert ended(keys) is True
    os.close(reading)


def test_a_flood_of_bytes_neither_blocks_nor_grows() -> None:
    """A flood of bytes is read in small parts and does not block."""
    reading, writing = os.pipe()
    keys = Keyboard(reading, terminal=False)
    os.write(writing, b"x" * 60000)
    for _ in range(20):
        assert keys.pressed() == []
    assert len(keys._lines.rest) <= 4096
    os.close(reading)
    os.close(writing)


def test_a_thread_reads_the_same_lines() -> None:
    """Windows uses the thread, because `select` cannot wait for a pipe there: nothing blocks, and the end is seen."""
    reading, writing = os.pipe()
    keys, found = PipeKeys(reading), list[Press]()
    assert keys.pressed() == []
    os.write(writing, b"\ns\nhello\n2\r\nq")
    os.close(writing)
    until = time.monotonic() + 10
    while not keys.ended and time.monotonic() < until:
        found += keys.pressed()
    assert found == [Key.ENTER, Key.SKIP, 2, Key.QUIT]
    os.close(reading)


TELLER = """
import time
from netcheck.app.keyboard import keyboard
from netcheck.proof.events import Key
found = []
with keyboard(wanted=True) as keys:
    print("ready", flush=True)
    until = time.monotonic() + 20
    while Key.QUIT not in found and time.monotonic() < until:
        found += keys.pressed()
        time.sleep(0.02)
print([str(key) for key in found], flush=True)
"""


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals on this system")
def test_single_keys_of_a_terminal() -> None:
    """On a terminal each letter counts at once, and the settings of the terminal are restored."""
    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    with subprocess.Popen([sys.executable, "-c", TELLER], stdin=slave, stdout=subprocess.PIPE, text=True) as teller:
        assert teller.stdout is not None
        assert teller.stdout.readline() == "ready\n"
        os.write(master, b"s3\nq")
        assert teller.stdout.readline() == "['s', '3', 'enter', 'q']\n"
    assert termios.tcgetattr(slave)[3] == before[3]
    os.close(master)
    os.close(slave)
