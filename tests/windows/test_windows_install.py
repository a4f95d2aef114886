"""Tests of the folder for a laptop without internet: made here, installed on a Windows computer, run there."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pip
import pytest

from netcheck import __version__
from tests.windows.build import ROOT
from tests.windows.skipping import skip_or_fail
from tests.windows.wine import Windows, windows_path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder for Python 3.11."""
    made = tmp_path_factory.mktemp("offline") / "for windows"
    words = [sys.executable, "-m", "netcheck.app.offline_install", str(made), "--python", "3.11"]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=250, check=False)
    if "Check the connection" in done.stderr:
        skip_or_fail("the package registry cannot be reached")
    assert done.returncode == 0, done.stderr
    return made


def test_the_folder_has_wheels_for_windows_alone(folder: Path) -> None:
    """Every package, also a package for Windows only, is a wheel for any system or for 64-bit Windows."""
    wheels = [path.name for path in folder.iterdir() if path.suffix == ".whl"]
    assert {path.name for path in folder.iterdir()} - {"install.cmd"} == set(wheels)
    assert all(name.endswith(("-any.whl", "-win_amd64.whl")) for name in wheels)
    assert any(name.startswith("colorama-") for name in wheels)
    assert f"netcheck-{__version__}-py3-none-any.whl" in wheels
    script = (folder / "install.cmd").read_bytes()
    assert b"--no-index --find-links . netcheck\r\n" in script


def test_it_installs_without_a_network_and_runs(computer: Windows, folder: Path, tmp_path: Path) -> None:
    """pip for Windows installs from the folder alone, and the installed program checks its own demonstration plan."""
    shutil.copytree(Path(pip.__file__).parent, tmp_path / "pip" / "pip", ignore=shutil.ignore_patterns("__pycache__"))
    target = tmp_path / "installed"
    words = ("-S", "-m", "pip", "install", "--no-index", "--find-links", windows_path(folder), "--no-compile")
    alone = windows_path(tmp_path / "pip")
    done = computer.run(*words, "--target", windows_path(target), "netcheck", PYTHONPATH=alone, timeout=250)
    assert done.returncode == 0, done.stderr[-2000:]
    standins = windows_path(ROOT / "tests" / "windows" / "standins")
    program = (
        "import sys, sitecustomize; sys.path[:] = [one for one in sys.path if 'site-packages' not in one]; "
        "import netcheck, pydantic_core; print(netcheck.__file__, pydantic_core.__file__); "
        "from netcheck.cli.main import run; run()"
    )
    search = f"{windows_path(target)};{standins}"
    ended = computer.run("-S", "-c", program, "--version", PYTHONPATH=search, cwd=tmp_path)
    assert ended.stdout.decode().count("installed") == 2, ended.stderr
    assert f"netcheck {__version__}" in ended.stdout.decode()
    ended = computer.run("-S", "-c", program, "demo", "--out", "demo", PYTHONPATH=search, cwd=tmp_path)
    assert ended.returncode == 0, ended.stderr
    assert list((tmp_path / "demo").glob("*.html"))


def test_a_folder_that_is_not_empty_is_refused(tmp_path: Path) -> None:
    """The exit code is 2, and the folder does not change."""
    (tmp_path / "mine.txt").touch()
    words = [sys.executable, "-m", "netcheck.app.offline_install", str(tmp_path)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, "is not empty" in done.stderr) == (2, True)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
