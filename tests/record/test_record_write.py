"""The recorder: every line is on the disk, a cut record is continued, and other files are refused."""

from __future__ import annotations

import _thread
import errno
import hashlib
import json
import os
import resource
import signal
import subprocess
import sys
import textwrap
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from netcheck.errors import RecordError
from netcheck.files import FileError
from netcheck.proof.result import Proof, Verdict
from netcheck.record.chain import Torn
from netcheck.record.model import Run
from netcheck.record.verify import read_record, verify
from netcheck.record.write import Recorder
from tests.record.conftest import ROWS, ticking

Open = Callable[..., Recorder]
Make = Callable[..., Proof]
MakeRun = Callable[..., Run]
CPU, LAN = "pasteuriser-plc/cpu:1", "line-panel/lan:1"


def shapes(path: Path) -> list[dict[str, object]]:
    """Return the record's lines as plain JSON."""
    return [json.loads(line) for line in path.read_bytes().splitlines()]


def test_the_first_line_describes_the_run(finished: Path) -> None:
    """`start` contains plan, revision, SHA-256, version, station, interface and permit."""
    start = shapes(finished)[0]
    assert {key: start[key] for key in start if key not in ("hash", "prev")} == {
        "n": 0,
        "type": "start",
        "at": "2026-11-02T09:14:03.120Z",
        "plan": {"name": "Tarn Hollow creamery", "revision": "C", "sha256": "11" * 32},
        "netcheck": "0.1.0",
        "station": "192.0.2.245/24",
        "interface": "eth0",
        "permit": "work order 4711",
        "simulated": False,
    }


def test_a_simulated_run_is_not_added_to_a_real_record(tmp_path: Path) -> None:
    """A real run is not added to the record of a rehearsal either; the file is unchanged."""
    for first in (False, True):
        path = tmp_path / f"{first}.jsonl"
        runs = {
            kind: Run(plan="Tarn Hollow creamery", revision="C", sha256="11" * 32, version="0.1.0", simulated=kind)
            for kind in (False, True)
        }
        Recorder.open(path, runs[first], {}, lambda: datetime.now(UTC)).close()
        before = path.read_bytes()
        with pytest.raises(RecordError, match="run cannot be added to it"):
            Recorder.open(path, runs[not first], {}, lambda: datetime.now(UTC))
        assert path.read_bytes() == before
        assert verify(path).simulated is first


def test_a_proof_line_holds_the_object_of_the_json_output(finished: Path, proof: Make) -> None:
    """The proof is stored as `prove --format json` prints it, with the hash of its row."""
    line = shapes(finished)[2]
    assert (line["type"], line["row"], line["proof"]) == ("proof", "aaaa", proof("pasteuriser-plc/cpu").to_json())


def test_the_seal_is_the_last_hash(recorder: Open, proof: Make, tmp_path: Path) -> None:
    """After each line the seal is that line's hash, and the line is in the file."""
    with recorder() as record:
        steps: tuple[Callable[[], None], ...] = (
            lambda: record.event("x", "y"),
            lambda: record.proof(proof("a/b")),
            lambda: record.end({}),
        )
        for step in steps:
            step()
            assert shapes(tmp_path / "run.jsonl")[-1]["hash"] == record.seal


def test_a_continued_record_knows_the_finished_ports(recorder: Open, run: MakeRun, proof: Make, finished: Path) -> None:
    """A second run knows the latest proof of each port, and continues the chain after the first run's `end`."""
    with recorder() as record:
        assert {subject: p.verdict for subject, p in record.finished.items()} == {CPU: "proven", LAN: "silent"}
        assert record.notes == ("continued; ports that have their proof: 2",)
        record.proof(proof("line-panel/lan"))
        assert record.finished[LAN].verdict is Verdict.PROVEN
    verification = verify(finished)
    assert (verification.passes, verification.ended, verification.lines, verification.proofs) == (True, False, 7, 3)
    content = read_record(finished).content
    assert [p.proof.verdict for p in content.proofs] == ["proven", "proven"]
    assert content.runs == (run(), run())


def test_a_changed_plan_keeps_the_proofs_of_unchanged_rows(recorder: Open, run: MakeRun, finished: Path) -> None:
    """The event names both hashes and the ports to prove again; the other proofs stay valid."""
    rows = {"pasteuriser-plc/cpu": "aaaa", "line-panel/lan": "changed"}
    with recorder(run("22" * 32), rows) as record:
        assert list(record.finished) == [CPU]
        assert "11" * 32 in record.notes[1]
        assert "22" * 32 in record.notes[1]
        assert LAN in record.notes[1]
    event = shapes(finished)[-1]
    assert event["facts"] == {"was": "11" * 32, "now": "22" * 32, "again": [LAN]}
    with recorder(run("22" * 32), rows) as record:
        assert list(record.finished) == [CPU]
    assert [shape["event"] for shape in shapes(finished)[5:]] == ["resumed", "plan-changed", "resumed"]


def test_a_row_that_was_removed_or_restored(recorder: Open, run: MakeRun, proof: Make, finished: Path) -> None:
    """A proof does not count while its row is changed, and counts again when the change is undone."""
    with recorder(run("22" * 32), {"line-panel/lan": "bbbb"}) as record:
        assert list(record.finished) == [LAN]
    with recorder(run("33" * 32), {"pasteuriser-plc/cpu": "other", "line-panel/lan": "bbbb"}) as record:
        record.proof(proof("pasteuriser-plc/cpu"))
    with recorder() as record:
        assert list(record.finished) == [LAN]


def test_another_plan_is_refused(recorder: Open, run: MakeRun, finished: Path) -> None:
    """A record of another plan is refused and left unchanged."""
    before = finished.read_bytes()
    with pytest.raises(RecordError, match=r"line 1: .*'Tarn Hollow creamery', not to 'Elsewhere'.*another --record"):
        recorder(run(plan="Elsewhere"))
    assert finished.read_bytes() == before


FOREIGN = [
    pytest.param(b"hello", id="text"),
    pytest.param(b"hello\n", id="text-line"),
    pytest.param(b"\n", id="blank-line"),
    pytest.param(b"\0" * 4096, id="zeros"),
    pytest.param(b'{"at":"2026"}\n', id="another-json"),
    pytest.param(b"x" * 3_000_000, id="long-line"),
]


@pytest.mark.parametrize("content", FOREIGN)
def test_a_file_that_is_no_record_is_refused(content: bytes, recorder: Open, tmp_path: Path) -> None:
    """A file of another kind with that name is left unchanged."""
    path = tmp_path / "run.jsonl"
    path.write_bytes(content)
    with pytest.raises(RecordError, match=r"run\.jsonl: .*line 1 .*Nothing in it was changed"):
        recorder()
    assert path.read_bytes() == content
    assert os.listdir(tmp_path) == ["run.jsonl"]


@pytest.mark.parametrize("line", range(1, 6))
def test_a_broken_chain_is_refused(line: int, recorder: Open, finished: Path) -> None:
    """A changed byte in any line is refused before anything is written, and the line is named."""
    lines = finished.read_bytes().splitlines(keepends=True)
    lines[line - 1] = lines[line - 1].replace(b"2026-11", b"2026-10")
    finished.write_bytes(b"".join(lines))
    with pytest.raises(RecordError, match=rf"line {line} \(n {line - 1}\)"):
        recorder()
    assert finished.read_bytes() == b"".join(lines)


def test_only_one_process_writes(recorder: Open, proof: Make, finished: Path) -> None:
    """A second writer is refused while the first one writes, and may write afterwards."""
    with recorder() as first:
        with pytest.raises(RecordError, match=r"another process is writing this record.*another --record"):
            recorder()
        first.proof(proof("filler-drive/lan"))
    recorder().close()
    assert verify(finished).passes


@pytest.mark.slow
def test_a_record_cut_at_any_byte_can_be_continued(recorder: Open, finished: Path, tmp_path: Path) -> None:
    """Wherever a record is cut, continuing it keeps every complete line and moves the rest aside."""
    whole = finished.read_bytes()
    ends = [at + 1 for at, byte in enumerate(whole) if byte == 0x0A]
    aside = tmp_path / "run.jsonl.torn"
    for cut in range(len(whole) + 1):
        finished.write_bytes(whole[:cut])
        kept = max((end for end in ends if end <= cut), default=0)
        with recorder() as record:
            assert list(record.finished) == [CPU, LAN][: max(0, whole[:kept].count(b"\n") - 2)]
            assert ("torn" in " ".join(record.notes)) == (kept < cut)
        after = finished.read_bytes()
        assert after[:kept] == whole[:kept]
        assert verify(finished).passes
        if kept < cut:
            assert aside.read_bytes() == whole[kept:cut]
            aside.unlink()
        assert not aside.exists()


def test_torn_pieces_are_gathered(recorder: Open, finished: Path, tmp_path: Path) -> None:
    """A second torn tail is appended to the first, and the record has the size and hash of each."""
    for tail in (b'{"at":"2026', b'{"at":"20'):
        with finished.open("ab") as stream:
            stream.write(tail)
        recorder().close()
    assert (tmp_path / "run.jsonl.torn").read_bytes() == b'{"at":"2026\n{"at":"20'
    torn = [shape["facts"] for shape in shapes(finished) if shape.get("event") == "torn"]
    assert torn == [
        {"bytes": len(tail), "sha256": hashlib.sha256(tail).hexdigest()} for tail in (b'{"at":"2026', b'{"at":"20')
    ]


def test_a_block_of_zeros_at_the_end_is_torn(recorder: Open, finished: Path) -> None:
    """After a power failure a block may read as zeros: that is a torn line, not a forgery."""
    whole = finished.read_bytes()
    finished.write_bytes(whole + b"\0" * 512 + b'"}\n')
    assert isinstance(verify(finished).flaw, Torn)
    recorder().close()
    assert finished.read_bytes().startswith(whole)
    assert verify(finished).passes


def test_a_writer_that_is_killed_loses_no_line(run: MakeRun, recorder: Open, tmp_path: Path) -> None:
    """The record has every line that the writer had acknowledged."""
    script = """
        import sys
        from datetime import datetime, UTC
        from pathlib import Path
        from netcheck.proof.result import Proof, Verdict
        from netcheck.record.model import Run
        from netcheck.record.write import Recorder
        run = Run(plan="Tarn Hollow creamery", revision="C", sha256="11" * 32, version="0.1.0")
        record = Recorder.open(Path(sys.argv[1]), run, {}, lambda: datetime.now(UTC))
        for port in range(1_000_000):
            record.proof(Proof("pasteuriser-plc/cpu", str(port), "192.0.2.61", Verdict.UNSETTLED, "x" * 20_000))
            print(record.seal, flush=True)
    """
    path = tmp_path / "run.jsonl"
    with subprocess.Popen([sys.executable, "-c", textwrap.dedent(script), path], stdout=subprocess.PIPE) as writer:
        assert writer.stdout is not None
        seals = [writer.stdout.readline() for _ in range(20)]
        os.kill(writer.pid, signal.SIGKILL)
        seals += writer.stdout.readlines()
    whole = [line for line in seals if line.endswith(b"\n")]
    hashes = [shape["hash"] for shape in shapes_of_whole_lines(path)]
    assert [line.decode().strip() for line in whole] == hashes[1 : len(whole) + 1]
    with recorder(run(), {"pasteuriser-plc/cpu": "x"}) as record:
        assert len(record.finished) == len(hashes) - 1
    assert verify(path).passes


def shapes_of_whole_lines(path: Path) -> list[dict[str, object]]:
    """Return the complete lines as plain JSON."""
    return [json.loads(line) for line in path.read_bytes().splitlines(keepends=True) if line.endswith(b"\n")]


def test_a_full_disk_leaves_whole_lines(recorder: Open, proof: Make, finished: Path) -> None:
    """If the system writes only part of a line, the part is removed and the error says what to do."""
    size = finished.stat().st_size
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # then a write beyond the limit fails with EFBIG
    record = recorder()
    kept = finished.read_bytes()
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(kept) + 100, hard))
        with pytest.raises(RecordError, match=r"cannot be written.*run again with the same record to continue it"):
            record.proof(proof("filler-drive/lan"))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, ignored)
    assert finished.read_bytes() == kept
    record.proof(proof("filler-drive/lan"))
    record.close()
    assert verify(finished).passes
    assert finished.stat().st_size > size


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Callable[[Path, int], None]:
    """Let every further call on an open file fail, as after a USB stick was pulled; other files are not affected."""

    def fail(path: Path, number: int) -> None:
        gone = path.stat().st_ino

        def refusing(name: str, real: Callable[..., object]) -> Callable[..., object]:
            def call(handle: int, *rest: object) -> object:
                if real_fstat(handle).st_ino == gone:
                    raise OSError(number, os.strerror(number))
                return real(handle, *rest)

            return call

        real_fstat = os.fstat
        for name in ("write", "fsync", "ftruncate", "fstat"):
            monkeypatch.setattr(os, name, refusing(name, getattr(os, name)))

    return fail


@pytest.mark.parametrize("number", [errno.EIO, errno.ENODEV, errno.ENOSPC, errno.EROFS, errno.EINVAL])
def test_a_record_whose_usb_stick_was_pulled_continues_in_another_folder(
    number: int, failing: Callable[[Path, int], None], run: MakeRun, proof: Make, finished: Path, tmp_path: Path
) -> None:
    """The whole record is in a new file, and the old file keeps its lines.

    The new file has the lines of earlier runs too, and a note names the file.
    """
    spare = tmp_path / "spare"
    spare.mkdir()
    (spare / "run-rescued.jsonl").write_text("mine", encoding="utf-8")
    before = finished.read_bytes()
    with Recorder.open(finished, run(), ROWS, ticking(), [finished.parent, tmp_path / "missing", spare]) as record:
        kept, known = finished.read_bytes(), len(record.notes)
        failing(finished, number)
        record.proof(proof("filler-drive/lan"))
        (note,) = record.notes[known:]
        record.event("note", "on the new file")
        record.end({"proven": 1})
        assert record.path == spare / "run-rescued1.jsonl"
    assert (spare / "run-rescued.jsonl").read_text(encoding="utf-8") == "mine"
    for part in ("the record cannot be written", str(finished), f"name that file: --record {record.path}"):
        assert part in note
    assert finished.read_bytes() == kept
    moved = record.path.read_bytes()
    assert moved.startswith(kept)
    assert kept.startswith(before)
    assert [shape["type"] for shape in shapes_of_whole_lines(record.path)[-4:]] == ["proof", "event", "event", "end"]
    assert verify(record.path).passes
    assert record.seal == verify(record.path).seal


def test_a_record_that_no_folder_accepts_is_an_error(
    failing: Callable[[Path, int], None], run: MakeRun, proof: Make, finished: Path, tmp_path: Path
) -> None:
    """The error names the first file."""
    with Recorder.open(finished, run(), ROWS, ticking(), [tmp_path / "missing"]) as record:
        failing(finished, errno.EIO)
        with pytest.raises(RecordError, match=r"cannot be written.*run again with the same record"):
            record.proof(proof("filler-drive/lan"))


@pytest.mark.lab
def test_a_rehearsal_whose_disk_is_full_ends_with_a_whole_record(tmp_path: Path) -> None:
    """A disk of 4 KiB holds only the first lines; the record in the home folder has every proof."""
    if os.geteuid() != 0:
        pytest.skip("only root can mount a small disk")
    plan = Path(__file__).parents[2] / "plans" / "tarn-hollow-mended"
    only = ("--only", "pasteuriser-panel/lan", "--only", "separator-drive/lan")
    words = [sys.executable, "-m", "netcheck", "rehearse", str(plan), "--hands-free", "--record", "stick/run.jsonl"]
    (tmp_path / "stick").mkdir()
    script = 'mount -t tmpfs -o size=4096 none stick && exec "$@"'
    ended = subprocess.run(
        ["unshare", "-m", "sh", "-c", script, "sh", *words, *only],
        cwd=tmp_path, env={**os.environ, "HOME": str(tmp_path)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    record = tmp_path / "run-rescued.jsonl"
    assert f"record {record}" in ended.stdout, ended.stderr
    assert "the disk is full: stick/run.jsonl. The whole record is in" in ended.stderr
    assert verify(record).passes
    assert verify(record).ended
    assert verify(record).verdicts == (("proven", 2),)


@pytest.mark.slow
def test_a_run_interrupted_at_any_moment_can_be_continued(recorder: Open, proof: Make, finished: Path) -> None:
    """After Ctrl-C at any moment of writing a line the record can be continued and ended."""
    record = recorder()
    caught = 0
    for step in range(150):
        timer = threading.Timer((step % 50) * 40e-6, _thread.interrupt_main)
        try:
            timer.start()
            while True:
                record.proof(proof("filler-drive/lan", port=str(step)))
        except KeyboardInterrupt:
            caught += 1
        timer.join()
    record.end({})
    record.close()
    assert caught == 150
    assert verify(finished).flaw is None
    assert verify(finished).ended


def test_a_run_interrupted_before_a_line_can_be_ended(run: MakeRun, proof: Make, tmp_path: Path) -> None:
    """After Ctrl-C while the clock is read or the line is built the record can be ended."""
    path = tmp_path / "run.jsonl"
    with Recorder.open(path, run(), {}, iter_clock([0, 1, KeyboardInterrupt(), 3])) as record:
        record.proof(proof("a/b"))
        with pytest.raises(KeyboardInterrupt):
            record.proof(proof("a/c"))
        record.end({"proven": 1})
    assert (verify(path).passes, verify(path).lines) == (True, 3)


def iter_clock(steps: list[int | BaseException]) -> Callable[[], datetime]:
    """Return a clock that advances, or raises."""
    times = iter(steps)

    def read() -> datetime:
        step = next(times)
        if isinstance(step, BaseException):
            raise step
        return datetime(2026, 11, 2, 9, 14, step, tzinfo=UTC)

    return read


def test_another_program_writes_into_the_record(recorder: Open, proof: Make, finished: Path) -> None:
    """The bytes of the other program stay in the file, and the run stops with a message."""
    with recorder() as record:
        with finished.open("ab") as stream:
            stream.write(b"intruder")
        with pytest.raises(RecordError, match="another program changed the record"):
            record.proof(proof("filler-drive/lan"))
    assert finished.read_bytes().endswith(b"intruder")


def test_a_line_above_the_limit_is_refused(recorder: Open, finished: Path) -> None:
    """A megabyte of text is refused, and the record stays valid."""
    with recorder() as record:
        with pytest.raises(RecordError, match=r"a line of 10\d{5} bytes .* at most 1048576"):
            record.event("long", "x" * (1 << 20))
        record.event("short", "x")
    assert verify(finished).passes


def test_a_path_where_no_record_can_be_written(recorder: Open, run: MakeRun, tmp_path: Path) -> None:
    """A folder, a pipe and a missing folder each give a message."""
    os.mkfifo(tmp_path / "run.jsonl")
    with pytest.raises(RecordError, match="regular file"):
        recorder()
    with pytest.raises(RecordError, match="cannot be written: it is a folder"):
        Recorder.open(tmp_path, run(), {}, iter_clock([]))
    with pytest.raises(RecordError, match="cannot be written: its folder does not exist"):
        Recorder.open(tmp_path / "none" / "run.jsonl", run(), {}, iter_clock([]))
    with pytest.raises(FileError, match="pipe"):
        verify(tmp_path / "run.jsonl")
