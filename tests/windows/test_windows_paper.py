"""Tests of the office commands on a Windows computer: the same findings, the same bytes, and files of Windows."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests.windows import paper_commands
from tests.windows.build import ROOT
from tests.windows.skipping import skip_or_fail
from tests.windows.wine import Windows, windows_path

SCRIPT = Path(paper_commands.__file__)
CORRECTED = ROOT / "plans" / "tarn-hollow-mended"
HOLDER = """
import sys, time
file = open(sys.argv[1], "r+b")
import ctypes
create = ctypes.windll.kernel32.CreateFileW
create.restype = ctypes.c_void_p
file.close()
share = {"alone": 0, "shared for reading": 1}[sys.argv[2]]  # 0, FILE_SHARE_READ
file = create(sys.argv[1], 0xC0000000, share, None, 3, 0, None)
print("held", flush=True)
time.sleep(600)
"""


def everything(folder: Path) -> dict[str, bytes]:
    """Return the bytes of all files below a folder, by name.

    A workbook is compared part by part, because another version of the compression library writes other bytes.
    """
    found: dict[str, bytes] = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as book:
                parts = (
                    part for part in book.namelist() if part != "docProps/core.xml"
                )  # it contains the time of writing
                found |= {f"{name}: {part}": book.read(part) for part in parts}
        elif path.is_file() and name != "printed.json":
            found[name] = path.read_bytes()
    return found


def printed(folder: Path) -> list[dict[str, Any]]:
    """Return the output of every command, with the path separators and line ends of Linux."""
    text = (folder / "printed.json").read_text(encoding="utf-8").replace(r"\\", "/").replace(r"\r\n", r"\n")
    commands: list[dict[str, Any]] = json.loads(text)
    return commands


def test_every_command_prints_and_writes_the_same_as_on_linux(computer: Windows, tmp_path: Path) -> None:
    """Output and exit codes are equal except for path separators; files are equal byte for byte."""
    here, there = tmp_path / "linux", tmp_path / "windows"
    for folder in (here, there):
        folder.mkdir()
    program = [sys.executable, str(SCRIPT), str(here)]
    subprocess.run(program, check=True, cwd=ROOT, env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"}, timeout=200)
    ended = computer.run(windows_path(SCRIPT), windows_path(there), timeout=250)
    assert ended.returncode == 0, ended.stderr
    for one, other in zip(printed(here), printed(there), strict=True):
        assert other == one
    ours, theirs = everything(here), everything(there)
    assert theirs.keys() == ours.keys()
    assert {name: theirs[name] for name in ours if theirs[name] != ours[name]} == {}
    print(f"{len(ours)} files and the output of {len(paper_commands.COMMANDS)} commands are the same")


@pytest.mark.parametrize("name", ["a|b.html", "what?.html"])
def test_a_name_that_windows_cannot_have_is_refused(computer: Windows, name: str, tmp_path: Path) -> None:
    """The exit code is 2, and the message says what is wrong with the name."""
    ended = computer.netcheck("report", windows_path(CORRECTED), "--out", name, cwd=tmp_path)
    assert ended.returncode == 2, ended.stdout
    assert b"Traceback" not in ended.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_workbook_that_another_program_has_open_does_not_change(computer: Windows, tmp_path: Path) -> None:
    """The message says that another program has it open; no byte of it changes, and no other file is left."""
    book = tmp_path / "plan.xlsx"
    assert computer.netcheck("new", "--xlsx", "plan.xlsx", cwd=tmp_path).returncode == 0
    before = book.read_bytes()
    pipes: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with computer.start("-c", HOLDER, windows_path(book), "alone", **pipes) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\r\n"
        ended = computer.netcheck("report", windows_path(CORRECTED), "--out", "plan.xlsx", cwd=tmp_path)
        holder.kill()
        holder.communicate()
    assert ended.returncode == 2, ended.stdout
    assert b"open" in ended.stderr or b"other programs" in ended.stderr, ended.stderr
    assert book.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["plan.xlsx"]


@pytest.mark.parametrize("how", ["alone", "shared for reading"])
def test_files_that_another_program_has_open(computer: Windows, how: str, tmp_path: Path) -> None:
    """A workbook that a spreadsheet program shares for reading is checked and does not change.

    A workbook that is not shared is refused. A record that another program has open is refused before a run begins.
    """
    assert computer.netcheck("new", "--xlsx", "plan.xlsx", cwd=tmp_path).returncode == 0
    book, before = tmp_path / "plan.xlsx", (tmp_path / "plan.xlsx").read_bytes()
    pipes: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with computer.start("-c", HOLDER, windows_path(book), how, **pipes) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\r\n"
        checked = computer.netcheck("check", "plan.xlsx", cwd=tmp_path)
        changed = computer.netcheck("suggest", "plan.xlsx", "--write", cwd=tmp_path)
        recorded = computer.netcheck("rehearse", windows_path(CORRECTED), "--record", "plan.xlsx", cwd=tmp_path)
        holder.kill()
        holder.communicate()
    for ended in (checked, changed, recorded):
        print(ended.returncode, ended.stderr.decode().strip())
        assert b"Traceback" not in ended.stderr
    refused = (recorded,) if how == "shared for reading" else (checked, changed, recorded)
    assert all(ended.returncode == 2 and b"Close the file in other programs" in ended.stderr for ended in refused)
    assert checked.returncode == (2 if how == "alone" else 0), checked.stderr
    assert book.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["plan.xlsx"]


def test_a_record_on_a_full_usb_stick_continues_in_the_home_folder(computer: Windows, tmp_path: Path) -> None:
    """A disk of 4 KiB holds only the first lines; the messages name the new file, which has every proof."""
    stick = tmp_path / "stick"
    stick.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4096", "none", str(stick)], check=False).returncode:
        skip_or_fail("no small disk can be mounted")
    only = ("--only", "pasteuriser-panel/lan", "--only", "separator-drive/lan", "--hands-free")
    try:
        ended = computer.netcheck(
            "rehearse", windows_path(CORRECTED), *only, "--record", r"stick\run.jsonl", cwd=tmp_path
        )
    finally:
        subprocess.run(["umount", str(stick)], check=True)
    named = re.search(r"full, .*: stick\\run.jsonl. The whole record is in (\S+)", ended.stderr.decode())
    assert named, ended.stderr
    assert b"2 proven" in ended.stdout, ended.stderr
    verified = computer.netcheck("verify", named[1], cwd=tmp_path)
    assert (verified.returncode, b"2 proven" in verified.stdout) == (0, True), verified.stdout


def test_two_runs_on_one_record_are_refused(computer: Windows, tmp_path: Path) -> None:
    """The lock of a record that another process writes is noticed; its path may have a drive letter."""
    program = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from netcheck.record.model import Run
from netcheck.record.write import Recorder
from netcheck.errors import NetcheckError
facts = Run(plan="p", revision="1", sha256="0" * 64, version="0", station="s", interface="i", permit="x")
path = Path(sys.argv[1])
with Recorder.open(path, facts, {}, lambda: datetime.now(UTC)) as first:
    try:
        Recorder.open(path, facts, {}, lambda: datetime.now(UTC))
    except NetcheckError as error:
        print(error)
"""
    ended = computer.run("-c", program, windows_path(tmp_path / "run.jsonl"))
    assert b"another process is writing this record" in ended.stdout, ended.stderr
    verified = computer.netcheck("verify", windows_path(tmp_path / "run.jsonl"))
    assert verified.returncode == 0, verified.stderr


@pytest.mark.parametrize("words", [("report", windows_path(CORRECTED), "--out", "nul.html"), ("new", "con")], ids=str)
def test_names_of_devices_are_refused(computer: Windows, words: tuple[str, ...], tmp_path: Path) -> None:
    """No file can have such a name on Windows, with any ending; the message says so."""
    ended = computer.netcheck(*words, cwd=tmp_path)
    assert (ended.returncode, b"reserved for a device" in ended.stderr) == (2, True), ended.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_plan_on_a_share_is_read(computer: Windows, tmp_path: Path) -> None:
    """A UNC path can name a plan."""
    server = Path(computer.environment["WINEPREFIX"], "dosdevices", "unc", "server")
    server.mkdir(parents=True)
    (server / "share").symlink_to(ROOT / "plans")
    ended = computer.netcheck("check", r"\\server\share\tarn-hollow-mended", cwd=tmp_path)
    assert (ended.returncode, ended.stderr) == (0, b"")
