"""Runs the command line inside the process of the tests, because starting a process takes a quarter of a second.

Tests of streams, signals, terminals and imports start a process. The result is the same as that of `subprocess.run`.
"""

from __future__ import annotations

import io
import subprocess
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from pathlib import Path

from netcheck.cli.main import run


def netcheck(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run `netcheck WORDS` in a folder; return its exit code and what it wrote, with line ends as in text files."""
    before, streams = sys.argv, tuple(io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    sys.argv = ["netcheck", *map(str, words)]
    code: object = None
    try:
        with chdir(cwd or Path()), redirect_stdout(streams[0]), redirect_stderr(streams[1]):
            run()
    except SystemExit as end:
        code = end.code
    finally:
        sys.argv = before
    assert isinstance(code, int)
    return subprocess.CompletedProcess(sys.argv, code, *map(_text, streams))


def _text(stream: io.TextIOWrapper) -> str:
    """Return what was written to a stream, as `subprocess` reads text."""
    stream.flush()
    assert isinstance(stream.buffer, io.BytesIO)
    return stream.buffer.getvalue().decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")
