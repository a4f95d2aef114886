"""Tests of a technician's additions to a record: files, remarks, and a name."""

from __future__ import annotations

import hashlib
import json
from io import StringIO
from pathlib import Path

import pytest

from netcheck.app.prepare import prover_name, run_input
from netcheck.app.prove import Order, conduct, finish, remarks_from
from netcheck.errors import UsageError
from netcheck.proof.events import Event, LineKey, RunOptions, TypedLine, What
from netcheck.record.attachment import attachments_of
from netcheck.record.verify import read_record
from netcheck.rig.plant import Trouble, plant
from netcheck.rig.technicians import Technician
from tests.command_line import netcheck

PLANT = Path(__file__).parents[2] / "plans" / "tarn-hollow-mended"
PORT = "cip-plc/cpu:1"


def prove(folder: Path, *, remarks: tuple[str, ...] = (), files: tuple[Path, ...] = ()) -> int:
    """Prove one port on the rig into `run.jsonl` and return the exit code."""
    base = run_input(PLANT, (PORT,))
    rig, cables = plant(base.aim, Trouble(), 1)
    order = Order(
        plan=PLANT, interface="rig0", only=(PORT,), settings=RunOptions(), permit="none", link="rig",
        record=folder / "run.jsonl", capture=None, as_json=False, quiet=True, by="A. Example, Example Ltd",
        remarks=remarks, files=attachments_of(files),
    )  # fmt: skip
    return finish(order, conduct(order, base, order.permit, rig, Technician(rig, cables, confirms=True)))


def test_files_and_remarks_can_be_added_after_the_run(tmp_path: Path) -> None:
    """Running the same command again adds the file and the remark, and proves no port again.

    `verify` compares the file, and the report shows the remark.
    """
    photo = tmp_path / "panel.jpg"
    photo.write_bytes(b"picture")
    assert prove(tmp_path) == 0
    assert prove(tmp_path, remarks=(f"{PORT}=label missing", "rain"), files=(photo,)) == 0
    record = tmp_path / "run.jsonl"
    lines = list(map(json.loads, record.read_text("utf-8").splitlines()))
    assert sum(line["type"] == "proof" for line in lines) == 1
    kept = [line["facts"] for line in lines if line.get("event") == "attached"]
    assert kept == [{"name": "panel.jpg", "size": 7, "sha256": hashlib.sha256(b"picture").hexdigest()}]
    done = netcheck("verify", record)
    assert (done.returncode, "file panel.jpg is the file that was attached" in done.stdout) == (0, True)
    photo.write_bytes(b"another")
    done = netcheck("verify", record)
    assert (done.returncode, "DOES NOT FIT: file panel.jpg is another file" in done.stdout) == (1, True)
    page = tmp_path / "proof.txt"
    assert netcheck("report", PLANT, "--record", record, "--proof", page).returncode == 0
    said = page.read_text("utf-8")
    assert f"{PORT}: label missing (A. Example, Example Ltd)" in said
    assert "whole run: rain" in said
    assert "SIMULATED" in said


class Typist(Technician):
    """A technician who types these lines when the run first asks for a cable."""

    lines: tuple[TypedLine, ...] = ()

    def told(self, event: Event) -> None:
        """Type the lines, then do what the event asks for."""
        if event.what is What.DO:
            for line in self.lines:
                self.press(line)
            self.lines = ()
        super().told(event)


def test_remarks_and_the_next_port_are_typed_during_the_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A remark goes to the port under test, or to the port whose name begins the remark.

    `n` with a part of a name chooses the next port; for an unknown name the message has the nearest names.
    """
    only = (PORT, "cip-panel/lan:1")
    base = run_input(PLANT, only)
    rig, cables = plant(base.aim, Trouble(), 1)
    hands = Typist(rig, cables, confirms=True)
    remark, wanted = LineKey.REMARK, LineKey.NEXT
    hands.lines = (
        TypedLine(remark, "label missing"), TypedLine(remark, "2: plug loose"), TypedLine(remark, "note: a colon"),
        TypedLine(wanted, "silo"), TypedLine(wanted, "cip-pan"),
    )  # fmt: skip
    order = Order(
        plan=PLANT, interface="rig0", only=only, settings=RunOptions(), permit="none", link="rig",
        record=tmp_path / "run.jsonl", capture=None, as_json=False, quiet=True,
    )  # fmt: skip
    assert finish(order, conduct(order, base, order.permit, rig, hands)) == 0
    content = read_record(tmp_path / "run.jsonl").content
    assert [(one.port, one.text) for one in content.remarks] == [
        (PORT, "label missing"), ("cip-panel/lan:1", "plug loose"), (PORT, "note: a colon"),
    ]  # fmt: skip
    assert [proved.proof.subject for proved in content.proofs] == ["cip-panel/lan:1", PORT]
    said = capsys.readouterr().out
    assert "No port is named silo" in said
    assert "none" not in said


def test_a_missing_file_is_refused_before_anything_else() -> None:
    """The file is checked before the interface, the permit and the first frame."""
    done = netcheck("prove", PLANT, "-i", "absent9", "--attach", "nowhere.jpg")
    assert done.returncode == 2
    assert "nowhere.jpg: --attach: the file is not there" in done.stderr


@pytest.mark.parametrize(
    ("word", "said"),
    [("nobody=x", "names no port"), ("filler-plc=x", "names 2 ports"), ("=x", "names no port")],
)
def test_a_remark_that_does_not_name_one_port_is_refused(word: str, said: str) -> None:
    """A remark must name exactly one port; otherwise it could go to a wrong port."""
    with pytest.raises(UsageError, match=said):
        remarks_from((word,), run_input(PLANT, ()).aim.targets)


def test_who_proves_is_asked_for_only_on_a_terminal_with_the_permit(monkeypatch: pytest.MonkeyPatch) -> None:
    """A given name is used. Without a terminal, or if the permit was given, no name is asked for."""
    assert prover_name(" A. Example ", "") == "A. Example"
    monkeypatch.setattr("sys.stdin", StringIO("A. Example\n"))
    assert prover_name("", "") == ""
    for name in ("stdin", "stderr"):
        monkeypatch.setattr(f"sys.{name}", Terminal("A. Example\n"))
    assert prover_name("", "work order 118") == ""
    assert prover_name("", "") == "A. Example"


class Terminal(StringIO):
    """A text stream that reports itself as a terminal."""

    def isatty(self) -> bool:
        """Return True."""
        return True


def test_two_records_are_shown_together(tmp_path: Path) -> None:
    """`verify` of two records of one plan shows each port with all attempts, and verifies each record separately."""
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        assert prove(tmp_path / name) == 0
    done = netcheck("verify", tmp_path / "a/run.jsonl", tmp_path / "b/run.jsonl")
    assert done.returncode == 0
    line = next(line for line in done.stdout.splitlines() if line.startswith(f"  {PORT}: "))
    assert line.count("proven at ") == 2
    shapes = json.loads(netcheck("verify", "--format", "json", *(tmp_path / n / "run.jsonl" for n in "ab")).stdout)
    assert [[each["verdict"] for each in shape["attempts"]] for shape in shapes] == [["proven"], ["proven"]]
