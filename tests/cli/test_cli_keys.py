"""Keys that send more than a letter, input that ends in the middle, and terminals that go away."""

from __future__ import annotations

import os
import subprocess
import sys
import termios
import tty
from collections.abc import Iterator

import pytest

from netcheck.app.keyboard import Keyboard, NoKeys, keyboard
from netcheck.proof.events import Key, Press

# What keys send on common terminals: ECMA-48 section 5.4 for the form; which key sends which, from memory.
SEQUENCES = {
    "arrow up": b"\x1b[A", "arrow up, application": b"\x1bOA", "home": b"\x1b[1~", "delete": b"\x1b[3~",
    "page up": b"\x1b[5~", "page down": b"\x1b[6~", "F1": b"\x1bOP", "F5": b"\x1b[15~", "ctrl-right": b"\x1b[1;5C",
    "alt-s": b"\x1bs", "alt-q": b"\x1bq", "escape": b"\x1b", "mouse": b"\x1b[<64;12;3M", "paste": b"\x1b[200~",
}  # fmt: skip


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    """Both ends of a pipe."""
    reading, writing = os.pipe()
    yield reading, writing
    for end in (reading, writing):
        try:
            os.close(end)
        except OSError:
            assert end == writing  # the test may have closed it


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    """A pseudo-terminal in single-key mode: the master, and the end that a program has."""
    master, slave = os.openpty()
    tty.setcbreak(slave)
    yield master, slave
    os.close(slave)
    try:
        os.close(master)
    except OSError:
        assert master > 2  # the test may have closed it


def typed(terminal: tuple[int, int], data: bytes) -> list[Press]:
    """What comes of bytes typed at a terminal."""
    master, slave = terminal
    os.write(master, data)
    return Keyboard(slave, terminal=True).pressed()


@pytest.mark.parametrize("data", SEQUENCES.values(), ids=SEQUENCES.keys())
def test_keys_that_send_sequences_are_no_numbers(data: bytes, terminal: tuple[int, int]) -> None:
    """A page key names no port, and Alt with s skips nothing; a key before it counts."""
    assert typed(terminal, b"2" + data) == [2]


def test_keys_after_a_sequence_count(terminal: tuple[int, int]) -> None:
    """What is typed next is not swallowed."""
    assert typed(terminal, b"\x1b[5~q\x1b[Cs\n3") == [Key.QUIT, Key.SKIP, Key.ENTER, 3]


@pytest.mark.parametrize("data", [b"0", b"\t", b"x", b"\xc3\xa4", b"\xff\xfe", b"\x00"], ids=repr)
def test_other_keys_are_nothing(data: bytes, terminal: tuple[int, int]) -> None:
    """Neither letters without a meaning nor bytes that are no letters."""
    assert typed(terminal, data) == []


def test_a_terminal_that_is_gone_has_no_more_keys(terminal: tuple[int, int]) -> None:
    """The far end is closed: no error, and the run is told that nobody can press anything."""
    master, slave = terminal
    keys = Keyboard(slave, terminal=True)
    os.close(master)
    assert keys.pressed() == []
    assert keys.ended


@pytest.mark.parametrize(
    ("data", "expected"),
    [(b"q", [Key.QUIT]), (b"s\nq", [Key.SKIP, Key.QUIT]), (b"\n", [Key.ENTER]), (b"", []), (b"hello", [])],
    ids=repr,
)
def test_a_last_line_without_an_end_counts(data: bytes, expected: list[Press], pipe: tuple[int, int]) -> None:
    """`printf q` is a q; the end of the input alone is no Enter."""
    reading, writing = pipe
    os.write(writing, data)
    os.close(writing)
    keys = Keyboard(reading, terminal=False)
    assert [*keys.pressed(), *keys.pressed()] == expected
    assert keys.ended


def test_a_pipe_without_input_neither_waits_nor_ends(pipe: tuple[int, int]) -> None:
    """Nothing there: nothing pressed, at once, and more may come."""
    keys = Keyboard(pipe[0], terminal=False)
    assert (keys.pressed(), keys.ended) == ([], False)


def test_nobody_at_the_keys() -> None:
    """Hands-free, no key can come, and the run is told so from the start."""
    with keyboard(wanted=False) as keys:
        assert isinstance(keys, NoKeys)
        assert (keys.pressed(), keys.ended) == ([], True)


BREAKER = """
from netcheck.app.keyboard import keyboard
try:
    with keyboard(wanted=True) as keys:
        print(type(keys).__name__, keys.terminal, flush=True)
        raise {error}
except BaseException as error:
    print(type(error).__name__, flush=True)
"""


@pytest.mark.parametrize("error", ["KeyboardInterrupt", "ValueError", "SystemExit"])
def test_the_terminal_is_put_back_however_it_ends(error: str) -> None:
    """After Ctrl-C and after an error the terminal's settings are those from before."""
    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    ended = subprocess.run(
        [sys.executable, "-c", BREAKER.format(error=error)], stdin=slave, capture_output=True, text=True, timeout=60
    )
    assert ended.stdout.split() == ["Keyboard", "True", error]
    assert termios.tcgetattr(slave) == before
    os.close(master)
    os.close(slave)


def test_no_standard_input_at_all() -> None:
    """A closed standard input is nobody at the keys."""
    program = "from netcheck.app.keyboard import keyboard\nwith keyboard(True) as k: print(type(k).__name__, k.ended)"
    ended = subprocess.run(
        ["sh", "-c", f'exec "{sys.executable}" -c "{program}" <&-'], capture_output=True, text=True, timeout=60
    )
    assert ended.stdout.split() == ["NoKeys", "True"], ended.stderr
