"""Keys and output in a Windows console, and output under legacy code pages."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.windows.build import ROOT
from tests.windows.console import Console, Screens
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
            for key in keys.pressed():
                found.append(key)
                print("key", key, flush=True)
            time.sleep(0.02)
            if Key.QUIT in found or keys.ended:
                break
    except KeyboardInterrupt:
        print("interrupted", flush=True)
print([str(key) for key in found], flush=True)
"""
DEMO, CORRECTED = ROOT / "plans" / "tarn-hollow", ROOT / "plans" / "tarn-hollow-mended"


@pytest.fixture
def teller(computer: Windows) -> Iterator[Console]:
    """Yield a console with a program that prints the keys that it got."""
    console = Console(computer, "-c", TELLER)
    assert console.wait_for(b"ConsoleKeys"), console.said
    yield console
    console.close()


def test_single_keys_count_and_arrows_do_not(teller: Console) -> None:
    """Letters, digits and Enter count at once, arrow and function keys do not."""
    for keys, said in ((b"s", b"key s"), (b"\x1b[A3", b"key 3"), (b"\x1bOP\r", b"key enter"), (b"q", b"key q")):
        teller.type(keys)
        assert teller.wait_for(said), teller.said
    assert teller.wait_for(b"['s', '3', 'enter', 'q']"), teller.said


def test_ctrl_c_interrupts(teller: Console) -> None:
    """Ctrl-C in the console is an interruption, and the keys pressed before it count."""
    teller.type(b"2")
    assert teller.wait_for(b"key 2"), teller.said
    teller.type(b"\x03")
    assert teller.wait_for(b"interrupted"), teller.said
    assert teller.wait_for(b"['2']"), teller.said


def test_lines_of_a_pipe_are_keys(computer: Windows) -> None:
    """A complete line is a key, and the end of the input is noticed."""
    ended = computer.run("-c", TELLER, typed=b"\r\ns\r\nhello\n2\nq")
    said = ended.stdout.decode().split("\r\n")
    assert (said[0], said[-2]) == ("PipeKeys", "['enter', 's', '2', 'q']"), ended.stderr


PAGES = ("cp437", "cp850", "cp1252", "cp932", "utf-8", "ascii")
IN_EACH_PAGE = """
import io, json, sys
from netcheck.cli.main import run
said = {}
for page in sys.argv[2].split(","):
    for command in ("check", "map"):
        written = io.BytesIO()
        sys.argv[1:], sys.stdout = [command, sys.argv[-1]], io.TextIOWrapper(written, page)
        try:
            run()
        except SystemExit as ended:
            said[page + " " + command] = (ended.code, written.getvalue().decode(page))
sys.__stdout__.write(json.dumps(said))
"""


def test_legacy_code_pages_cause_no_error(computer: Windows, tmp_path: Path) -> None:
    """In a pipe or a file, characters that the code page lacks become escapes; no command ends with an error."""
    ended = computer.run("-c", IN_EACH_PAGE, "", ",".join(PAGES), windows_path(DEMO), cwd=tmp_path)
    assert (ended.returncode, ended.stderr) == (0, b"")
    said = json.loads(ended.stdout)
    assert said.keys() == {f"{page} {command}" for page in PAGES for command in ("check", "map")}
    for page in PAGES:
        (checked, findings), (drawn, picture) = said[f"{page} check"], said[f"{page} map"]
        assert (checked, drawn) == (1, 0)
        assert "10.62.20.61" in findings
        assert "10.62.20.0/24" in picture


@pytest.mark.parametrize(("old", "page"), [(False, 1252), (True, 437)], ids=["of Windows 10", "older"])
def test_a_rehearsal_in_a_console_draws_its_screen(computer: Windows, old: bool, page: int, tmp_path: Path) -> None:
    """The live screen shows the plan's ports, and Ctrl-C ends it with 130, also without escape sequences."""
    screens = Screens(tmp_path / "screens", page, old=old)
    words = ("-m", "netcheck", "rehearse", windows_path(CORRECTED), "--only", "pasteuriser-panel/lan")
    console = Console(computer, *words, cwd=tmp_path, **screens.settings)
    try:
        console.wait_until(lambda: "pull" in screens.now().lower(), 60)
        print(screens.now())
        assert "pasteuriser-panel/lan:1" in screens.now()
        assert "10.62.20.71" in screens.now()
        console.type(b"\x03")
        assert console.wait_for(b"interrupted"), console.said[-2000:]
        assert console.process.wait(30) == 130
    finally:
        console.close()
