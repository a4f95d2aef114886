"""Tests of the lines that verify a record without netcheck, taken from the page and run as a reader runs them."""

from __future__ import annotations

import html
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from netcheck.record.verify import read_record
from netcheck.report.html.page import to_html
from tests.report.made import report_from


@pytest.fixture
def verifier(plan_folder: Path, record_path: Path, tmp_path: Path) -> Path:
    """Return the program of the page, saved as verify.py."""
    page = to_html(report_from(plan_folder, record_path)).decode("utf-8")
    found = re.search(r'<pre class="lines" id="verify-snippet"[^>]*><code>(.*?)</code></pre>', page, re.DOTALL)
    assert found is not None
    path = tmp_path / "verify.py"
    path.write_text(html.unescape(found.group(1)), encoding="utf-8")
    return path


def run(verifier: Path, record: Path) -> tuple[int, str]:
    """Run it in isolated mode with only the standard library, and return the exit code and the output."""
    words = [sys.executable, "-I", "-S", str(verifier), str(record)]
    ended = subprocess.run(words, capture_output=True, text=True, check=False)
    return ended.returncode, ended.stdout


def test_it_is_ten_lines_of_the_standard_library(verifier: Path) -> None:
    """The program has ten lines, none wider than a sheet of paper, and imports only the standard library."""
    lines = verifier.read_text("utf-8").splitlines()
    assert len(lines) == 10
    assert max(map(len, lines)) <= 100
    assert [line for line in lines if "import" in line] == ["import hashlib, json, sys"]


def test_a_good_record_gives_its_seal(verifier: Path, record_path: Path) -> None:
    """The program prints `intact` and the seal that netcheck finds."""
    assert run(verifier, record_path) == (0, f"intact, seal {read_record(record_path).verification.seal}\n")


BREAKS: dict[str, Callable[[list[bytes]], list[bytes]]] = {
    "a changed verdict": lambda lines: [lines[0], lines[1].replace(b"impostor", b"proven"), *lines[2:]],
    "a line taken out": lambda lines: [*lines[:3], *lines[4:]],
    "a line put in twice": lambda lines: [*lines[:3], lines[2], *lines[3:]],
    "two lines exchanged": lambda lines: [lines[0], lines[2], lines[1], *lines[3:]],
    "a first line taken out": lambda lines: lines[1:],
    "a torn last line": lambda lines: [*lines[:-1], lines[-1][:-20]],
    "a last line without its end": lambda lines: [*lines[:-1], lines[-1][:-1]],
    "a space put in": lambda lines: [lines[0], lines[1].replace(b":", b": ", 1), *lines[2:]],
    "a key twice": lambda lines: [lines[0], lines[1].replace(b"{", b'{"at":"",', 1), *lines[2:]],
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_broken_record_does_not_pass(verifier: Path, record_path: Path, name: str) -> None:
    """The program does not print `intact`, and its exit code is not 0."""
    lines = record_path.read_bytes().splitlines(keepends=True)
    broken = BREAKS[name](lines)
    assert broken != lines
    record_path.write_bytes(b"".join(broken))
    code, said = run(verifier, record_path)
    assert (code, "intact" in said) == (1, False)


def test_a_torn_record_gives_a_message(verifier: Path, record_path: Path) -> None:
    """The program prints a message without a traceback for cut JSON, another value, or bytes that are not text."""
    whole = record_path.read_bytes()
    for line in (whole.splitlines()[-1][:40], b"[1]\n", b"7\n", b"\xff\xfe\n", b"{}\n"):
        record_path.write_bytes(whole + line)
        words = [sys.executable, "-I", "-S", str(verifier), str(record_path)]
        ended = subprocess.run(words, capture_output=True, text=True, check=False)
        assert (ended.returncode, ended.stdout) == (1, "")
        assert re.fullmatch(r"line \d+ (is torn, or is no line of a record .*|does not fit)\n", ended.stderr)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"a":"\\ud800","hash":"","n":0,"prev":""}\n',
        b"[]\n",
        b"{}\n",
        b"1" * 5000,
        None,
    ],
    ids=["empty", "no-utf-8", "deep", "surrogate", "list", "no-keys", "digits", "no-file"],
)
def test_any_file_gives_a_message(data: bytes | None, verifier: Path, tmp_path: Path) -> None:
    """A file that is not a record is never intact, and no file gives a traceback."""
    record = tmp_path / "other.jsonl"
    if data is not None:
        record.write_bytes(data)
    words = [sys.executable, "-I", "-S", str(verifier), str(record)]
    ended = subprocess.run(words, capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stdout) == (1, "")
    assert len(ended.stderr.splitlines()) == 1
    assert ended.stderr.startswith(("line 0 is torn, or", "line 1 is torn, or", "the file is empty"))
