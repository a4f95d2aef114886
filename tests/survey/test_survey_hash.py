"""The plan's hash covers the parsed bytes of the plan, its tables, its surveys and included zone files."""

from __future__ import annotations

import ast
import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from netcheck.files import HashedFiles
from netcheck.plan.read import read_draft, read_plan
from netcheck.survey.read import read_site

PLAN = 'format = 1\n[site]\nname = "Tarn Hollow creamery"\n[[survey]]\nfile = "zones/site.zone"\n'
DEMO = Path(__file__).parents[2] / "plans" / "tarn-hollow"
# Prints how often each file of a plan was opened, counted by the interpreter's audit event `open`.
OPENED = """
import sys
from collections import Counter
opened = Counter()
sys.addaudithook(lambda event, args: opened.update([str(args[0])]) if event == "open" else None)
from netcheck.survey.read import read_site
read_site(sys.argv[1])
print({path: count for path, count in opened.items() if path.startswith(sys.argv[1])})
"""


def plan_in(folder: Path, zone: str) -> str:
    """Return the hash of a plan with this zone."""
    (folder / "zones").mkdir(exist_ok=True)
    (folder / "plan.toml").write_text(PLAN)
    (folder / "zones" / "site.zone").write_text(zone)
    return read_site(folder).plan.sha256


def test_the_hash_covers_included_files(tmp_path: Path) -> None:
    """The hash is that of the output of `cat` for plan, zone and included files; it changes with an included file."""
    (tmp_path / "zones").mkdir()
    parts = {"one two": "$include deep\n", "deep": "a A 192.0.2.5\n", "three": "b A 192.0.2.6\n"}
    for name, text in parts.items():
        (tmp_path / "zones" / name).write_text(text)
    zone = '$ORIGIN example.\n$INCLUDE one\\032two\n$INCLUDE "three" sub.example. ; both\n$INCLUDE deep\n'
    found = plan_in(tmp_path, zone)
    texts = (PLAN, zone, parts["one two"], parts["three"], parts["deep"])
    assert found == hashlib.sha256("".join(texts).encode()).hexdigest()
    (tmp_path / "zones" / "deep").write_text("a A 192.0.2.9\n")
    assert plan_in(tmp_path, zone) != found


@pytest.mark.parametrize("name", ["../secret", "/etc/hostname", "link", "site.zone", "missing", "\\000", "."])
def test_nothing_outside_the_folder_is_included(tmp_path: Path, name: str) -> None:
    """Paths and symbolic links out of the folder, loops, and names that are no regular file do not change the hash."""
    (tmp_path / "secret").write_text("x A 192.0.2.9\n")
    zone = f"$INCLUDE {name}\ny.example. A 192.0.2.5\n"
    found = plan_in(tmp_path, zone)
    (tmp_path / "zones" / "link").symlink_to(tmp_path / "secret")
    assert found == plan_in(tmp_path, zone) == hashlib.sha256((PLAN + zone).encode()).hexdigest()


def test_the_demo_plan_has_the_hash_of_its_files() -> None:
    """The hash is that of `cat` of the files in the order in which they are named, with and without surveys."""
    plan, surveys = read_site(DEMO)
    names = ("plan.toml", "interfaces.csv", *(survey.file for survey in surveys))
    expected = hashlib.sha256(b"".join((DEMO / name).read_bytes() for name in names)).hexdigest()
    assert plan.sha256 == read_plan(DEMO).sha256 == expected


@pytest.mark.skipif(sys.platform != "linux", reason="file descriptors count as opens elsewhere")
def test_every_file_is_opened_once(tmp_path: Path) -> None:
    """The plan, its table and a survey of each text kind are opened once to be read and hashed."""
    texts = {
        "plan.toml": PLAN.replace("[site]", 'subnets = "nets.csv"\n[site]')
        + '[[survey]]\nfile = "hosts"\n[[survey]]\nfile = "arp.txt"\n[[survey]]\nfile = "list.csv"\n',
        "nets.csv": "name,prefix\nprocess,192.0.2.0/24\n",
        "zones/site.zone": "$ORIGIN example.\n$INCLUDE more\n",
        "zones/more": "a A 192.0.2.5\n",
        "hosts": "192.0.2.5 a b\n",
        "arp.txt": '[{"dst":"192.0.2.5","lladdr":"00:00:5e:00:53:14","state":["STALE"]}]',
        "list.csv": "address,name\n192.0.2.5,a\n",
    }
    (tmp_path / "zones").mkdir()
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    command = [sys.executable, "-c", OPENED, str(tmp_path)]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    assert ast.literal_eval(run.stdout) == {str(tmp_path / name): 1 for name in texts}


def test_a_plan_that_changes_while_it_is_read(tmp_path: Path) -> None:
    """A plan or survey that is replaced between parsing and hashing does not enter the hash."""
    (tmp_path / "hosts.csv").write_text("address\n192.0.2.5\n")
    old = 'format = 1\n[site]\nname = "x"\n[[survey]]\nfile = "hosts.csv"\n'
    (tmp_path / "plan.toml").write_text(old)
    draft = read_draft(tmp_path)
    (tmp_path / "plan.toml").write_text(old.replace('"x"', '"y"'))
    with draft.files.reading(tmp_path / "hosts.csv") as file:
        parsed = file.open().read()
        (tmp_path / "new").write_text("address\n192.0.2.6\n")
        os.replace(tmp_path / "new", tmp_path / "hosts.csv")
    plan = draft.finished()
    assert (plan.name, plan.sha256) == ("x", hashlib.sha256(old.encode() + parsed).hexdigest())


def test_a_file_that_grows_while_it_is_read(tmp_path: Path) -> None:
    """The hash covers the bytes of the last reading, not those of an earlier one."""
    path = tmp_path / "list"
    path.write_bytes(b"old\n" * 3)
    files = HashedFiles()
    with files.reading(path) as file:
        assert file.open().read(4) == b"old\n"
        path.write_bytes(b"new\n" * 200_000)
        stream = file.open()
        assert stream.read(4) == b"new\n"
    assert files.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
