"""Addresses are written into a plan's files, and no other byte of them changes."""

from __future__ import annotations

import csv
import difflib
import io
import os
import signal
import stat
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address
from netcheck.errors import PlanError
from netcheck.files import FileError, write_text_atomically, write_together
from netcheck.plan.read import read_plan
from netcheck.plan.write.addresses import (
    table_with_addresses,
    text_with_addresses,
    toml_with_addresses,
    with_addresses,
    write_all,
)

DEMO = Path(__file__).parents[2] / "plans" / "tarn-hollow"
TOP = 'format = 1\n# top\n[[device]]\nname = "a"   # who\n'
NEW = {"a/b": "192.0.2.9"}


def changes(before: str, after: str) -> list[str]:
    """Return the lines that differ, as `-old` and `+new`."""
    lines = difflib.unified_diff(before.splitlines(True), after.splitlines(True), n=0)
    return [line for line in lines if not line.startswith(("---", "+++", "@@"))]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('address = "192.0.2.5"\n', 'address = "192.0.2.9"\n'),
        ("address = '192.0.2.5'\n", "address = '192.0.2.9'\n"),
        ('address   =   "192.0.2.5"   # keep # this\n', 'address   =   "192.0.2.9"   # keep # this\n'),
        ('\t address = ""\r\n', '\t address = "192.0.2.9"\r\n'),
        ('"address" = "192.0.2.05"\n', '"address" = "192.0.2.9"\n'),
        ("address = '''192.0.2.5'''\n", "address = '192.0.2.9'\n"),
    ],
)
def test_an_address_is_replaced_in_its_place(old: str, new: str) -> None:
    """Indentation, spacing, comment, quotes and line end are kept."""
    head = TOP + '  [[device.interface]]\n  name = "b"\n'
    tail = '  subnet = "s"  # in\n\n  # after\n[site]\nname = "x"\n'
    text, held = toml_with_addresses(head + old + tail, NEW)
    assert text == head + new + tail
    assert held == {"a/b"}


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('  subnet = "s"\n', '  subnet = "s"\n  address = "192.0.2.9"\n'),
        ('  subnet = "s"  # in\r\n', '  subnet = "s"  # in\r\n  address = "192.0.2.9"\r\n'),
        ('  subnet = "s"', '  subnet = "s"\n  address = "192.0.2.9"'),
        ('  subnet = "s"\n  slot = 1\n\n# end\n', '  subnet = "s"\n  address = "192.0.2.9"\n  slot = 1\n\n# end\n'),
    ],
)
def test_a_missing_address_is_added_below_the_subnet(old: str, new: str) -> None:
    """It gets the indentation and the line end of the line with the subnet."""
    head = TOP + '  [[device.interface]]\n  name = "b"\n'
    assert toml_with_addresses(head + old, NEW)[0] == head + new


APART = """format = 1
[[router]]
name = "r1"   # first
[[device]]
name = "a"
# between
[[device.interface]]
name = "b"
subnet = "s"
%s
# above the second router

[[router]]
name = "r2"
[[device]]
name = "c"
  [[device.interface]]
  name = "d"
  subnet = "s"
# last
"""


def test_tables_of_one_name_in_several_places_stay_there() -> None:
    """TOML allows entries of other tables between them; no line but that of the address changes."""
    text, held = toml_with_addresses(APART % 'address = "192.0.2.5"', NEW)
    assert text == APART % 'address = "192.0.2.9"'
    assert held == {"a/b"}
    last, held = toml_with_addresses(APART % "", {"c/d": "192.0.2.7"})
    assert changes(APART % "", last) == ['+  address = "192.0.2.7"\n']
    assert held == {"c/d"}


def test_an_interface_below_another_table_is_written_too() -> None:
    """Its device stands in another section of the file; the value is written, whatever the order of the tables is."""
    text = 'format = 1\n[[device]]\nname = "a"\n[site]\nname = "x"\n[[device.interface]]\nname = "b"\nsubnet = "s"\n'
    new, held = toml_with_addresses(text, NEW)
    assert tomllib.loads(new)["device"][0]["interface"] == [{"name": "b", "subnet": "s", "address": "192.0.2.9"}]
    assert held == {"a/b"}


def test_interfaces_in_one_line_are_written_too() -> None:
    """`interface = [{ ... }]` has the same meaning as tables."""
    text = TOP + 'interface = [{ name = "b", subnet = "s" }, { name = "c", subnet = "s", address = "192.0.2.1" }]\n'
    new, held = toml_with_addresses(text, {"a/b": "192.0.2.9", "a/c": "192.0.2.8"})
    assert new == text.replace('"s" }', '"s", address = "192.0.2.9" }').replace("2.1", "2.8")
    assert held == {"a/b", "a/c"}


HEAD = "device,interface,subnet,address,mac\n"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (HEAD + "a,b,s,192.0.2.5,x\nc,d,s,192.0.2.6,\n", HEAD + "a,b,s,192.0.2.9,x\nc,d,s,192.0.2.6,\n"),
        (HEAD + "a,b,s,,x\r\n\r\n", HEAD + "a,b,s,192.0.2.9,x\r\n\r\n"),
        (HEAD + "a,b,s\n", HEAD + "a,b,s,192.0.2.9\n"),
        (HEAD + ' a , b ,s, "192.0.2.5" ,x', HEAD + " a , b ,s, 192.0.2.9 ,x"),
        (HEAD + '"a",b,"s, ""t""","192.0.2.5",x\n', HEAD + '"a",b,"s, ""t""","192.0.2.9",x\n'),
        (HEAD + 'a,b,"s\nt",192.0.2.5,x\n', HEAD + 'a,b,"s\nt",192.0.2.9,x\n'),
        (HEAD.replace(",", ";") + "a;b;s;192.0.2.5;1,2\n", HEAD.replace(",", ";") + "a;b;s;192.0.2.9;1,2\n"),
        ("device,interface,subnet\na,b,s\nc,d,s\n", "device,interface,subnet,address\na,b,s,192.0.2.9\nc,d,s\n"),
        ("\n\nDevice\tInterface\tAddress\na\tb\t1\n", "\n\nDevice\tInterface\tAddress\na\tb\t192.0.2.9\n"),
    ],
    ids=["plain", "empty", "short", "spaces", "quotes", "lines", "semicolon", "no-column", "tab"],
)
def test_a_cell_is_replaced_in_its_place(old: str, new: str) -> None:
    """Delimiter, quotes, spaces and line ends are kept; a column is added only if it is missing."""
    assert text_with_addresses(old, NEW) == (new, {"a/b"})


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_the_encoding_stays(encoding: str) -> None:
    """The byte order mark and the code page of the file are kept."""
    text = HEAD + "a,b,Süd,192.0.2.5,x\n"
    new, _ = table_with_addresses(text.encode(encoding), NEW)
    assert new == text.replace("2.5", "2.9").encode(encoding)


def test_an_undefined_byte_stops_the_writing() -> None:
    """Windows-1252 does not define 81 hex, so the file is not changed."""
    with pytest.raises(ValueError, match="81"):
        table_with_addresses((HEAD + "a,b,s,192.0.2.5,\x81\n").encode("latin-1"), NEW)


cells = st.text(st.sampled_from('ab" ,\n1'), max_size=5)


@given(st.lists(st.tuples(cells, cells), min_size=1, max_size=5), st.integers(0, 4))
def test_other_cells_read_the_same_afterwards(rows: list[tuple[str, str]], which: int) -> None:
    """This holds for every style of quoting of the standard library's writer."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(["device", "kind", "interface", "address", "place"])
    writer.writerows([f"d{row}", kind, "x", "192.0.2.5", position] for row, (kind, position) in enumerate(rows))
    new, held = text_with_addresses(text.getvalue(), {f"d{which}/x": "192.0.2.9"})
    before, after = (list(csv.reader(io.StringIO(one, newline=""))) for one in (text.getvalue(), new))
    if which < len(rows):
        before[which + 1][3] = "192.0.2.9"
    assert after == before
    assert held == ({f"d{which}/x"} if which < len(rows) else set())


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """Return a copy of the demo plan."""
    for file in DEMO.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path


def test_the_demo_plan_takes_addresses_in_both_files(demo: Path) -> None:
    """Each change is one line in the file of the interface; the plan then has the addresses."""
    wanted = {
        "air-compressor/lan": Address.from_text("10.62.40.34"),
        "cip-plc/cpu": Address.from_text("10.62.20.74"),
        "capper-drive/lan": Address.from_text("10.62.30.72"),
    }
    before = {file.name: file.read_text() for file in demo.iterdir()}
    edits = with_addresses(demo, wanted)
    assert [edit.path.name for edit in edits] == ["plan.toml", "interfaces.csv"]
    assert changes(before["plan.toml"], edits[0].data.decode()) == [
        '-  address = "10.62.21.74"\n',
        '+  address = "10.62.20.74"\n',
        '+  address = "10.62.40.34"\n',
    ]
    assert changes(before["interfaces.csv"], edits[1].data.decode()) == [
        line.replace("X", address)
        for line, address in (
            (
                "-capper-drive,drive,filler,lan,,packing,X,255.255.255.0,10.62.30.1,00-00-5E-00-53-32,,sw-2/4,\n",
                "10.62.30.072",
            ),
            (
                "+capper-drive,drive,filler,lan,,packing,X,255.255.255.0,10.62.30.1,00-00-5E-00-53-32,,sw-2/4,\n",
                "10.62.30.72",
            ),
        )
    ]
    write_all(edits)
    plan = read_plan(demo)
    found = {subject: plan.interface_named[subject].address for subject in wanted}
    assert {subject: cell.value for subject, cell in found.items() if cell} == wanted
    assert with_addresses(demo, wanted) == ()


def test_an_unknown_subject_changes_nothing(demo: Path) -> None:
    """All addresses are written or none."""
    address = Address.from_text("10.62.20.99")
    with pytest.raises(PlanError, match="not in the plan: cip-plc/cpo"):
        with_addresses(demo, {"cip-plc/cpu": address, "cip-plc/cpo": address})


def test_writing_is_complete_and_keeps_permissions(tmp_path: Path) -> None:
    """The file has the new text and its old permissions, and no temporary file is left."""
    target = tmp_path / "plan.toml"
    target.write_text("old")
    target.chmod(0o640)
    write_text_atomically(target, "new\r\n")
    assert target.read_bytes() == b"new\r\n"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    assert [one.name for one in tmp_path.iterdir()] == ["plan.toml"]


# Sends Ctrl-C when Python is about to rename the first of two files (`sys.audit` events of the standard library).
INTERRUPTED = """
import os, signal, sys
from pathlib import Path
from netcheck.files import write_together
sent = []
def hook(event, args):
    if event == "os.rename" and not sent:
        sent.append(event)
        os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(hook)
write_together([(Path(name), b"new") for name in sys.argv[1:]])
"""


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="this system cannot let signals wait")
def test_ctrl_c_waits_until_all_files_are_renamed(tmp_path: Path) -> None:
    """Both files of a plan are old or both are new: an interrupt between the two renames is delayed."""
    names = ["plan.toml", "interfaces.csv"]
    for name in names:
        (tmp_path / name).write_text("old")
    words = [sys.executable, "-c", INTERRUPTED, *(str(tmp_path / name) for name in names)]
    run = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60)
    assert "KeyboardInterrupt" in run.stderr
    assert {one.name: one.read_text() for one in tmp_path.iterdir()} == dict.fromkeys(names, "new")


def test_no_file_is_written_if_one_cannot_be(tmp_path: Path) -> None:
    """The second file is refused before the first one is changed."""
    (tmp_path / "plan.toml").write_text("old")
    with pytest.raises(FileError, match="the file is not there"):
        write_together([(tmp_path / "plan.toml", b"new"), (tmp_path / "missing" / "interfaces.csv", b"new")])
    assert [(one.name, one.read_text()) for one in tmp_path.iterdir()] == [("plan.toml", "old")]


def test_writing_goes_through_a_symbolic_link(tmp_path: Path) -> None:
    """The link is kept, and its target changes."""
    (tmp_path / "real.toml").write_text("old")
    (tmp_path / "plan.toml").symlink_to("real.toml")
    write_text_atomically(tmp_path / "plan.toml", "new")
    assert (tmp_path / "plan.toml").is_symlink()
    assert (tmp_path / "real.toml").read_text() == "new"


def test_a_new_file_has_the_usual_permissions(tmp_path: Path) -> None:
    """Its permissions are those of any new file of the process."""
    write_text_atomically(tmp_path / "a", "x")
    (tmp_path / "b").write_text("x")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "b").stat().st_mode


@pytest.mark.parametrize("name", ["missing/plan.toml", "x" * 300, "a\0b", "loop", "."])
def test_a_file_that_cannot_be_written_is_refused_with_a_message(tmp_path: Path, name: str) -> None:
    """There is no traceback, and no file is left."""
    os.symlink("loop", tmp_path / "loop")
    with pytest.raises(FileError) as caught:
        write_text_atomically(tmp_path / name, "x")
    assert caught.value.problems[0].what
    assert [one.name for one in tmp_path.iterdir()] == ["loop"]
