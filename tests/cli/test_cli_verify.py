"""Tests of `netcheck verify` from the command line: text, JSON and exit codes."""

from __future__ import annotations

import json
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest

from netcheck.record.model import Run
from netcheck.record.write import Recorder
from tests import command_line
from tests.record.conftest import make_proof


def netcheck(*words: object) -> subprocess.CompletedProcess[str]:
    """Run `netcheck verify`."""
    return command_line.netcheck("verify", *words)


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """Write a complete record of one proof and return its path."""
    path = tmp_path / "run.jsonl"
    run = Run(plan="Tarn Hollow creamery", revision="C", sha256="11" * 32, version="0.1.0")
    with Recorder.open(path, run, {}, lambda: datetime(2026, 11, 2, tzinfo=UTC)) as recorder:
        recorder.proof(make_proof("pasteuriser-plc/cpu"))
        recorder.end({"proven": 1})
    return path


def seal_of(path: Path) -> str:
    """Return the hash of the last line, read as plain JSON."""
    return str(json.loads(path.read_bytes().splitlines()[-1])["hash"])


def test_an_intact_record(record: Path) -> None:
    """An intact record gives exit 0, and the seal is printed with what to do with it."""
    result = netcheck(record)
    assert (result.returncode, result.stderr) == (0, "")
    assert result.stdout == (
        f"{record}: intact: 3 lines fit\n"
        "  plan: Tarn Hollow creamery, revision C\n"
        "  proofs: 1 (1 proven)\n"
        f"  seal: {seal_of(record)}\n"
        "  Write the seal on the signed paper. The chain shows that no line was changed, added or removed; "
        "only the seal on paper shows that the whole file was not rewritten.\n"
    )


def test_a_record_without_end_is_intact_with_a_note(record: Path) -> None:
    """A record without its last line is intact, with a note that the run stopped."""
    record.write_bytes(b"".join(record.read_bytes().splitlines(keepends=True)[:2]))
    result = netcheck(record)
    assert result.returncode == 0
    assert "note: it has no `end` line" in result.stdout


def test_a_changed_line_is_named(record: Path) -> None:
    """A changed line gives exit 1 with its number, and no seal is printed."""
    record.write_bytes(record.read_bytes().replace(b"192.0.2.61", b"192.0.2.62"))
    result = netcheck(record)
    assert result.returncode == 1
    assert "broken: line 2 (n 1) does not fit: its `hash` does not belong to its content" in result.stdout
    assert "seal:" not in result.stdout


def test_a_torn_record_gives_exit_1(record: Path) -> None:
    """A torn record gives exit 1, the word `torn`, and the seal of the intact lines."""
    record.write_bytes(record.read_bytes()[:-5])
    result = netcheck(record)
    assert result.returncode == 1
    assert "torn: the last line, 3 (n 2), is torn" in result.stdout
    assert f"seal: {json.loads(record.read_bytes().splitlines()[1])['hash']}" in result.stdout


def test_one_record_gives_an_object_and_several_a_list(record: Path, tmp_path: Path) -> None:
    """The exit code is the highest of all records."""
    result = netcheck("--format", "json", record)
    assert result.returncode == 0
    assert json.loads(result.stdout) == {
        "record": str(record),
        "state": "intact",
        "lines": 3,
        "proofs": 1,
        "verdicts": {"proven": 1},
        "ended": True,
        "line": None,
        "n": None,
        "reason": None,
        "seal": seal_of(record),
        "notes": [],
        "plan": {"name": "Tarn Hollow creamery", "revision": "C"},
    }
    broken = tmp_path / "broken.jsonl"
    broken.write_bytes(record.read_bytes().replace(b"192.0.2.61", b"192.0.2.62"))
    result = netcheck("--format", "json", record, broken)
    assert result.returncode == 1
    first, second = json.loads(result.stdout)
    assert (first["state"], second["state"]) == ("intact", "broken")
    assert (second["line"], second["n"], second["seal"]) == (2, 1, None)
    assert "hash" in second["reason"]


def test_files_that_cannot_be_read(record: Path, tmp_path: Path) -> None:
    """An unreadable file gives exit 2 after the result of the readable file."""
    result = netcheck(tmp_path / "none.jsonl", record, tmp_path)
    assert result.returncode == 2
    assert "intact" in result.stdout
    assert "none.jsonl: the file is not there" in result.stderr
    assert "folder" in result.stderr
    assert "Traceback" not in result.stderr


def test_hostile_names_do_not_reach_the_terminal(tmp_path: Path) -> None:
    """Escape sequences and bidirectional controls in a record or its name are shown as escapes."""
    path = tmp_path / "a\x1b]0;x\x07.jsonl"
    run = Run(plan="site \x1b[31m\u202e", revision="C", sha256="11" * 32, version="0.1.0")
    Recorder.open(path, run, {}, lambda: datetime(2026, 11, 2, tzinfo=UTC)).close()
    result = netcheck(path)
    assert result.returncode == 0
    assert "\x1b" not in result.stdout + result.stderr
    assert "site \\x1b[31m\\u202e" in result.stdout


@pytest.mark.parametrize("content", [b"", b"Dear all,\n", b"{}\n", b"\0" * 100], ids=["empty", "text", "json", "zeros"])
def test_a_file_that_is_not_a_record_is_broken(content: bytes, tmp_path: Path) -> None:
    """A file that is not a record is broken at line 1."""
    path = tmp_path / "letter.txt"
    path.write_bytes(content)
    result = netcheck(path)
    assert result.returncode == 1
    assert "line 1 (n 0) does not fit" in result.stdout


def test_help_shows_an_example() -> None:
    """`--help` shows an example."""
    result = netcheck("--help")
    assert result.returncode == 0
    assert "netcheck verify tarn-hollow-2026-11-02.jsonl" in result.stdout
