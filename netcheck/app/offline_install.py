"""Makes a folder that installs netcheck on a Windows laptop without internet.

    python -m netcheck.app.offline_install FOLDER [--python 3.11 --python 3.12 ...]

Run it in a clone of the repository, on any system with internet. The folder then has netcheck and all packages that it
needs, as wheels for 64-bit Windows, and `install.cmd`, which makes a virtual environment in the folder and installs
netcheck there. The Python of the laptop must be one of the named versions.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import zipfile
from collections.abc import Iterable, Sequence
from email.parser import Parser
from pathlib import Path

from netcheck.errors import NetcheckError, UsageError
from netcheck.text import listed, safe

ROOT = Path(__file__).parents[2]
VERSIONS = ("3.11", "3.12", "3.13", "3.14")
INSTALL = """@echo off
rem Installs netcheck from this folder, without internet. Double-click it, or run it in a console.
cd /d "%~dp0"
py -3 --version >nul 2>&1 && (py -3 -m venv netcheck-env) || (python -m venv netcheck-env)
if errorlevel 1 (echo Install Python first, one of: {versions}. & pause & exit /b 1)
netcheck-env\\Scripts\\python -m pip install --no-index --find-links . netcheck
if errorlevel 1 (echo netcheck was not installed: see the lines above. & pause & exit /b 1)
netcheck-env\\Scripts\\netcheck --version
echo Run it as: "%~dp0netcheck-env\\Scripts\\netcheck"
"""


def make_folder(folder: Path, versions: Sequence[str], source: Path = ROOT) -> list[str]:
    """Fill a folder for these Python versions and return the names of its wheels; raise UsageError if this fails.

    pip evaluates the conditions of requirements for the system on which it runs. Therefore requirements for Windows are
    read from the wheels and downloaded too, until no package is missing.
    """
    if not (source / "pyproject.toml").exists():
        raise UsageError.of("this is not a clone of the repository", where=str(source), do="Run it in a clone")
    if folder.exists() and any(folder.iterdir()):
        raise UsageError.of("the folder is not empty", where=safe(str(folder)), do="Name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    _pip("wheel", "--no-deps", "--wheel-dir", str(folder), str(source))
    for version in versions:
        _download(folder, version)
    (folder / "install.cmd").write_text(INSTALL.format(versions=listed(list(versions), joint="or")), newline="\r\n")
    return sorted(path.name for path in folder.glob("*.whl"))


def _download(folder: Path, version: str) -> None:
    """Download for one version until no wheel requires a further package."""
    asked: set[str] = set()
    while missing := sorted(set(requirements_on_windows(folder.glob("*.whl"), version)) - asked):
        asked |= set(missing)
        target = ("--platform", "win_amd64", "--python-version", version, "--implementation", "cp")
        _pip("download", "--quiet", "--only-binary", ":all:", *target, "--dest", str(folder), *missing)


def requirements_on_windows(wheels: Iterable[Path], version: str) -> list[str]:
    """Return the requirements of wheels on 64-bit Windows with this Python version, without their conditions.

    Optional parts ("extras") of a package are included if a requirement names them.
    """
    from pip._vendor.packaging.requirements import Requirement
    from pip._vendor.packaging.utils import canonicalize_name

    stated = {_name(path): list(map(Requirement, _required(path))) for path in wheels}
    wanted = {(name, "") for name in stated}
    while True:
        environments = [(name, _windows(version, extra)) for name, extra in sorted(wanted)]
        holding = [
            one
            for name, environment in environments
            for one in stated.get(name, [])
            if one.marker is None or one.marker.evaluate(environment)
        ]
        more = {(canonicalize_name(one.name), extra) for one in holding for extra in one.extras}
        if more <= wanted:
            break
        wanted |= more
    for one in holding:
        one.marker = None
    return [str(one) for one in holding]


def _name(path: Path) -> str:
    from pip._vendor.packaging.utils import parse_wheel_filename

    return str(parse_wheel_filename(path.name)[0])


def _required(path: Path) -> list[str]:
    """Return the lines `Requires-Dist` of a wheel's metadata (PEP 566)."""
    with zipfile.ZipFile(path) as wheel:
        name = next(name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
        return Parser().parsestr(wheel.read(name).decode("utf-8")).get_all("Requires-Dist") or []


def _windows(version: str, extra: str) -> dict[str, str]:
    """Return the environment in which conditions are evaluated (PEP 508)."""
    return {
        "os_name": "nt", "sys_platform": "win32", "platform_system": "Windows", "platform_machine": "AMD64",
        "platform_python_implementation": "CPython", "implementation_name": "cpython", "python_version": version,
        "python_full_version": f"{version}.0", "extra": extra,
    }  # fmt: skip


def _pip(*words: str) -> None:
    command = [sys.executable, "-m", "pip", *words, "--disable-pip-version-check"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        said = (done.stderr.strip() or done.stdout.strip()).splitlines()
        last = safe(said[-1], 500) if said else "nothing"
        raise UsageError.of(f"pip failed and says: {last}", do="Check the connection to the internet, then try again")


def main(words: Sequence[str] | None = None) -> int:
    """Read the command line, make the folder, and return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m netcheck.app.offline_install", description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="a new folder, to copy to the laptop")
    parser.add_argument(
        "--python", action="append", metavar="VERSION", help="Python version of the laptop; default: all that fit"
    )
    given = parser.parse_args(words)
    try:
        wheels = make_folder(given.folder, given.python or VERSIONS)
    except NetcheckError as error:
        for problem in error.problems:
            print(f"netcheck: {problem}", file=sys.stderr)
        return error.exit_code
    print(f"{given.folder}: {len(wheels)} wheels and install.cmd")
    return 0


if __name__ == "__main__":
    sys.exit(main())
