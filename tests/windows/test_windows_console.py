"""Keys and output in a Windows console, and output under legacy code pages."""

from __future__ import annotations

import fcntl
import os
import select
import struct
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.windows.build import ROOT
from tests.windows.wine import Windows, windows_path

TELLER = """
import sys, time
from netcheck.app.keyboard import keyboard
from netcheck.proof.events import Key
found = []
with keyboard(True) as keys:
    print(type(keys).__name__, flush=True)
    until = time.monotonic() + 30
    try:
        while time.monotonic() < until:
            found += keys.pressed()
            time.sleep(0.02)
            if Key.QUIT in found or keys.ended:
                break
    except KeyboardInterrupt:
        print("interrupted", flush=True)
print([str(key) for key in found], flush=True)
"""
DEMO, CORRECTED = ROOT / "plans" / "tarn-hollow", ROOT / "plans" / "tarn-hollow-mended"


class Console:
    """A program in a console of its own: a pseudo-terminal, which Wine's console draws on."""

    def __init__(self, computer: Windows, *words: str, cwd: Path | None = None) -> None:
        self._master, terminal = os.openpty()
        fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))
        self.said = b""
        own = ("setsid", "--ctty")
        self.process = computer.start(*words, before=own, cwd=cwd, stdin=terminal, stdout=terminal, stderr=terminal)
        os.close(terminal)

    def type(self, keys: bytes) -> None:
        """Type keys."""
        os.write(self._master, keys)

    def wait_for(self, text: bytes, seconds: float = 30) -> bool:
        """Read until a text was printed; False where it does not come."""
        until = time.monotonic() + seconds
        while text not in self.said and time.monotonic() < until:
            if select.select([self._master], [], [], 0.2)[0]:
                try:
                    self.said += os.read(self._master, 65536)
                except OSError:  # the program ended
                    break
        return text in self.said

    def close(self) -> None:
        """End the program."""
        self.process.kill()
        self.process.wait()
        os.close(self._master)


@pytest.fixture
def teller(computer: Windows) -> Iterator[Console]:
    """A console whose program tells the keys that it got."""
    console = Console(computer, "-c", TELLER)
    assert console.wait_for(b"ConsoleKeys"), console.said
    yield console
    console.close()


def test_single_keys_count_and_arrows_do_not(teller: Console) -> None:
    """Letters, digits and Enter count at once, arrow and function keys do not."""
    for keys in (b"s", b"\x1b[A", b"3", b"\x1bOP", b"\r", b"q"):
        teller.type(keys)
        time.sleep(0.2)
    assert teller.wait_for(b"['s', '3', 'enter', 'q']"), teller.said


def test_ctrl_c_interrupts(teller: Console) -> None:
    """Ctrl-C in the console is an interruption, and what was pressed before it is kept."""
    teller.type(b"2")
    time.sleep(0.3)
    teller.type(b"\x03")
    assert teller.wait_for(b"interrupted"), teller.said
    assert teller.wait_for(b"['2']"), teller.said


def test_lines_of_a_pipe_are_keys(computer: Windows) -> None:
    """Lines count when they are whole, and the end of the input is noticed."""
    ended = computer.run("-c", TELLER, typed=b"\r\ns\r\nhello\n2\nq")
    assert ended.stdout.decode().split("\r\n")[:2] == ["PipeKeys", "['enter', 's', '2', 'q']"], ended.stderr


@pytest.mark.parametrize("code_page", ["cp437", "cp1252", "cp932", "ascii"])
def test_legacy_code_pages_break_no_output(computer: Windows, code_page: str, tmp_path: Path) -> None:
    """Characters that the code page lacks are written as escapes; nothing ends with an error."""
    for command, shown in (("check", "10.62.20.61"), ("map", "10.62.20.0/24")):
        ended = computer.netcheck(command, windows_path(DEMO), cwd=tmp_path, PYTHONIOENCODING=code_page)
        assert ended.returncode in (0, 1), ended.stderr
        assert b"Traceback" not in ended.stderr
        assert shown in ended.stdout.decode(code_page)


@pytest.mark.parametrize("kind", ["", "old"], ids=["of Windows 10", "older"])
def test_a_rehearsal_in_a_console_draws_its_screen(
    computer: Windows, kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The live screen shows the plan's ports, and Ctrl-C ends it with 130; also where escape sequences are unknown."""
    monkeypatch.setitem(computer.environment, "LABORATORY_CONSOLE", kind)
    console = Console(computer, "-m", "netcheck", "rehearse", windows_path(CORRECTED), cwd=tmp_path)
    try:
        assert console.wait_for(b"10.62.20.", 60), console.said[-2000:]
        time.sleep(1)
        console.type(b"\x03")
        assert console.wait_for(b"interrupted"), console.said[-2000:]
        assert console.process.wait(30) == 130
    finally:
        console.close()
