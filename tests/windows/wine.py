"""One Windows computer: a separate Wine prefix with its server, in which Python for Windows runs netcheck.

Each network namespace needs a separate prefix, because Wine's services use the network of the namespace in which they
were started. The services start with the first program, and keep the standard streams of that program open. Therefore
that program gets no streams.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from tests.windows.build import ROOT, STANDINS, environment, python_folder, wine

SERVER, LOADER = "wineserver64", "wine64"
NULL: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}


def windows_path(path: Path | str) -> str:
    """Return the path of a Linux file for Wine's programs."""
    return "Z:" + str(Path(path).absolute()).replace("/", "\\")


class Windows:
    """A Windows computer in a network namespace ("" for the namespace of the tests). Use it in `with`."""

    def __init__(self, namespace: str = "") -> None:
        self._inside = ("ip", "netns", "exec", namespace) if namespace else ()
        self._folder = Path(tempfile.mkdtemp(prefix="netcheck-wine-"))
        built = python_folder()
        self.python = built / "python" / "python.exe"
        prefix = self._folder / "prefix"
        shutil.copytree(built / "prefix", prefix, symlinks=True, copy_function=_linked)
        search = ";".join(windows_path(path) for path in (STANDINS, ROOT))
        self.environment = {**environment(prefix), "PYTHONPATH": search, "PYTHONDONTWRITEBYTECODE": "1"}
        self._server: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        server = [*self._inside, str(wine(SERVER)), "-f", "-p"]
        self._server = subprocess.Popen(server, env=self.environment, **NULL)
        subprocess.run(self._command("cmd", "/c", "exit"), env=self.environment, timeout=60, check=True, **NULL)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        subprocess.run([str(wine(SERVER)), "-k"], env=self.environment, timeout=30, check=False, **NULL)
        if self._server is not None:
            self._server.wait(30)
        shutil.rmtree(self._folder, ignore_errors=True)

    @property
    def wrapper(self) -> tuple[str, ...]:
        """Return the words to put before `PYTHON -m netcheck WORDS`, so that it runs on this computer.

        They replace the first word, the Python of Linux.
        """
        settings = [f"{name}={value}" for name, value in self.environment.items() if os.environ.get(name) != value]
        unset = [
            word
            for name in os.environ
            if name.startswith("PYTHON")
            for word in ("-u", name)
            if name not in self.environment
        ]
        replace = f'shift; exec {wine(LOADER)} {self.python} "$@"'
        return ("env", *unset, *settings, "sh", "-c", replace, "sh")

    def start(self, *words: str, before: Sequence[str] = (), **popen: Any) -> subprocess.Popen[bytes]:
        """Start Python with these arguments; streams are given as for `subprocess`, and none may be a file.

        *before* are words in front of the whole command.
        """
        environment = {**self.environment, "TERM": "xterm"}
        return subprocess.Popen([*before, *self._command(str(self.python), *words)], env=environment, **popen)

    def run(
        self, *words: str, cwd: Path | None = None, typed: bytes = b"", timeout: float = 120, **extra: str
    ) -> subprocess.CompletedProcess[bytes]:
        """Run Python with these arguments and return the result; *extra* is added to its environment."""
        environment = {**self.environment, **extra}
        command = self._command(str(self.python), *words)
        return subprocess.run(
            command, input=typed, capture_output=True, env=environment, cwd=cwd, timeout=timeout, check=False
        )

    def netcheck(self, *words: str, cwd: Path | None = None, **extra: Any) -> subprocess.CompletedProcess[bytes]:
        """Run netcheck and return the result."""
        return self.run("-m", "netcheck", *words, cwd=cwd, **extra)

    def _command(self, *words: str) -> list[str]:
        return [*self._inside, str(wine(LOADER)), *words]


def _linked(source: str, target: str) -> None:
    """Link Wine's libraries instead of copying 700 MB, but copy the registry.

    Wine writes into the registry file; a linked file would change for all computers.
    """
    if source.endswith(".reg"):
        shutil.copy2(source, target)
        return
    try:
        os.link(source, target)
    except OSError:  # another file system
        shutil.copy2(source, target)
