"""Tests of keys that send several bytes, input that ends within a line, and terminals that disappear."""

from __future__ import annotations

import os
import subprocess
import sys
import termios
import tty
from collections.abc import Iterator

import pytest

from netcheck.app.keyboard import Keyboard, NoKeys, keyboard
from netcheck.proof.events import Key, LineKey, Press, TypedLine

# The bytes that keys send on common terminals: ECMA-48 section 5.4 for the form; the assignment is from memory.
SEQUENCES = {
    "arrow up": b"\x1b[A", "arrow up, application": b"\x1bOA", "home": b"\x1b[1~", "delete": b"\x1b[3~",
    "page up": b"\x1b[5~", "page down": b"\x1b[6~", "F1": b"\x1bOP", "F5": b"\x1b[15~", "ctrl-right": b"\x1b[1;5C",
    "alt-s": b"\x1bs", "alt-q": b"\x1bq", "escape": b"\x1b", "mouse": b"\x1b[<64;12;3M", "paste": b"\x1b[200~",
}  # fmt: skip


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    """Return both ends of a pipe."""
    reading, writing = os.pipe()
    yield reading, writing
    for end in (reading, writing):
        try:
            os.close(end)
        except OSError:
            assert end == writing  # the test may have closed it


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    """Return a pseudo-terminal in single-key mode: the master, and the end of the program."""
    master, slave = os.openpty()
    tty.setcbreak(slave)
    yield master, slave
    os.close(slave)
    try:
        os.close(master)
    except OSError:
        assert master > 2  # the test may have closed it


def typed(terminal: tuple[int, int], data: bytes) -> list[Press]:
    """Return the keys read from *data* typed at a terminal."""
    master, slave = terminal
    os.write(master, data)
    return Keyboard(slave, terminal=True).pressed()


@pytest.mark.parametrize("data", SEQUENCES.values(), ids=SEQUENCES.keys())
def test_keys_that_send_sequences_are_not_numbers(data: bytes, terminal: tuple[int, int]) -> None:
    """A key that sends a sequence names no port and skips no port, and a key before it counts."""
    assert typed(terminal, b"2" + data) == [2]


def test_keys_after_a_sequence_count(terminal: tuple[int, int]) -> None:
    """The keys after a sequence count."""
    assert typed(terminal, b"\x1b[5~q\x1b[Cs\n3") == [Key.QUIT, Key.SKIP, Key.ENTER, 3]


@pytest.mark.parametrize("data", [b"0", b"\t", b"x", b"\xc3\xa4", b"\xff\xfe", b"\x00"], ids=repr)
def test_other_keys_are_ignored(data: bytes, terminal: tuple[int, int]) -> None:
    """Other letters and bytes are ignored."""
    assert typed(terminal, data) == []


def test_a_terminal_that_disappears_ends_the_input(terminal: tuple[int, int]) -> None:
    """If the terminal disappears, no error is raised, and the run knows that the input has ended."""
    master, slave = terminal
    keys = Keyboard(slave, terminal=True)
    os.close(master)
    assert keys.pressed() == []
    assert keys.ended


def line(key: LineKey, text: str) -> TypedLine:
    """Return a typed line."""
    return TypedLine(key, text)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"npress-2\n", [line(LineKey.NEXT, "press-2")]),
        (b"N 12\n", [line(LineKey.NEXT, "12")]),
        (b"mlabel missing\rq", [line(LineKey.REMARK, "label missing"), Key.QUIT]),
        (b"mqs\x7f\x7fno plug\n", [line(LineKey.REMARK, "no plug")]),
        (b"mabc\x15x\n", [line(LineKey.REMARK, "x")]),
        (b"mT\xc3\xbcr\n", [line(LineKey.REMARK, "T\u00fcr")]),
        (b"ma\x1b[Ab\n", [line(LineKey.REMARK, "ab")]),  # an arrow key is not text
        (b"n\n\n", [Key.ENTER]),  # an empty line is discarded; the second Enter counts
        (b"n\x1bq", [Key.QUIT]),
        (b"m\t\x00x\n", [line(LineKey.REMARK, "x")]),
        (b"r", [Key.AGAIN]),
        (b"nq", []),
    ],
    ids=repr,
)
def test_a_line_is_typed_after_its_key(data: bytes, expected: list[Press], terminal: tuple[int, int]) -> None:
    """After n and m all characters are text until Enter; Escape discards the line, Backspace a character."""
    master, slave = terminal
    os.write(master, data.replace(b"\x1bq", b"\x1b"))
    keys = Keyboard(slave, terminal=True)
    pressed = keys.pressed()
    if b"\x1bq" in data:
        os.write(master, b"q")
        pressed += keys.pressed()
    assert pressed == expected
    assert keys.prompt == ("Next port: q" if data == b"nq" else "")


def test_a_character_that_arrives_in_two_parts_is_complete(terminal: tuple[int, int]) -> None:
    """The bytes of a letter may be read one by one; a line has at most 300 characters."""
    master, slave = terminal
    keys = Keyboard(slave, terminal=True)
    for part in (b"m\xc3", b"\xbc", b"\n"):
        os.write(master, part)
        pressed = keys.pressed()
    assert pressed == [line(LineKey.REMARK, "\u00fc")]
    os.write(master, b"m" + b"x" * 400 + b"\n")
    (long,) = keys.pressed()
    assert isinstance(long, TypedLine)
    assert len(long.text) == 300


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"n press-2\n", [line(LineKey.NEXT, "press-2")]),
        (b"m label missing \nr\n", [line(LineKey.REMARK, "label missing"), Key.AGAIN]),
        (b"n\nm \nnext\n", []),
    ],
    ids=repr,
)
def test_a_pipe_has_the_key_and_the_text_in_one_line(data: bytes, expected: list[Press], pipe: tuple[int, int]) -> None:
    """In a pipe the key comes before the text, with a space between them."""
    reading, writing = pipe
    os.write(writing, data)
    assert Keyboard(reading, terminal=False).pressed() == expected


@pytest.mark.parametrize(
    ("data", "expected"),
    [(b"q", [Key.QUIT]), (b"s\nq", [Key.SKIP, Key.QUIT]), (b"\n", [Key.ENTER]), (b"", []), (b"hello", [])],
    ids=repr,
)
def test_a_last_line_without_an_end_counts(data: bytes, expected: list[Press], pipe: tuple[int, int]) -> None:
    """A last line without a line end counts; the end of the input is not Enter."""
    reading, writing = pipe
    os.write(writing, data)
    os.close(writing)
    keys = Keyboard(reading, terminal=False)
    assert [*keys.pressed(), *keys.pressed()] == expected
    assert keys.ended


def test_a_pipe_without_input_neither_waits_nor_ends(pipe: tuple[int, int]) -> None:
    """An empty pipe gives no key at once, and the input has not ended."""
    keys = Keyboard(pipe[0], terminal=False)
    assert (keys.pressed(), keys.ended) == ([], False)


def test_hands_free_has_no_keys() -> None:
    """Hands-free, there are no keys, and the input has ended from the start."""
    with keyboard(wanted=False) as keys:
        assert isinstance(keys, NoKeys)
        assert (keys.pressed(), keys.ended) == ([], True)


ROWS_TYPED = [
    (9, b"7", [7], ""),
    (9, b"0", [], ""),
    (23, b"3", [3], ""),  # no longer row number begins with 3
    (23, b"1", [], "1"),
    (23, b"12", [12], ""),
    (23, b"1\n", [1], ""),
    (23, b"29", [29], ""),  # there is no such row; the walk reports it
    (23, b"1q", [Key.QUIT], ""),
    (23, b"1\x7f4", [4], ""),
    (23, b"1\x1b[A2", [12], ""),  # an arrow key is ignored
    (23, b"05", [5], ""),
    (145, b"14", [], "14"),
    (145, b"142", [142], ""),
    (145, b"14\n", [14], ""),
    (145, b"2", [], "2"),
    (145, b"20", [20], ""),
]


@pytest.mark.parametrize(("rows", "data", "expected", "left"), ROWS_TYPED, ids=repr)
def test_digits_are_the_number_of_a_row(
    rows: int, data: bytes, expected: list[Press], left: str, terminal: tuple[int, int]
) -> None:
    """A digit counts at once if no longer number begins with it; else a further digit or Enter completes it."""
    master, slave = terminal
    os.write(master, data)
    keys = Keyboard(slave, True, rows)
    assert (keys.pressed(), keys.typed) == (expected, left)


def test_a_line_is_a_whole_number(pipe: tuple[int, int]) -> None:
    """In a pipe each line is one number; a line that is too long or not ASCII is ignored."""
    reading, writing = pipe
    os.write(writing, b"12\n7\n0\n12345\n\xd9\xa3\n-3\n")
    assert Keyboard(reading, terminal=False).pressed() == [12, 7]


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
def test_the_terminal_is_restored(error: str) -> None:
    """After Ctrl-C or an error the settings of the terminal are restored."""
    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    ended = subprocess.run(
        [sys.executable, "-c", BREAKER.format(error=error)], stdin=slave, capture_output=True, text=True, timeout=60
    )
    assert ended.stdout.split() == ["Keyboard", "True", error]
    assert termios.tcgetattr(slave) == before
    os.close(master)
    os.close(slave)


def test_a_closed_standard_input_has_no_keys() -> None:
    """The input has ended from the start, and no error is raised."""
    program = "from netcheck.app.keyboard import keyboard\nwith keyboard(True) as k: print(type(k).__name__, k.ended)"
    ended = subprocess.run(
        ["sh", "-c", f'exec "{sys.executable}" -c "{program}" <&-'], capture_output=True, text=True, timeout=60
    )
    assert ended.stdout.split() == ["NoKeys", "True"], ended.stderr
