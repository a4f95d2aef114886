"""Capture files: tshark and scapy read them, and they are created safely."""

from __future__ import annotations

import json
import os
import subprocess
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.utils import RawPcapNgReader

from netcheck.errors import UsageError
from netcheck.text import safe
from netcheck.wire.capture import CaptureWriter
from netcheck.wire.frames import arp_reply, arp_request, padded
from netcheck.wire.link import Adapter
from tests.programs import need

ADAPTERS = (Adapter("eth0", 0x00005E005301, ((0xC0000201, 24), (0xC6336401, 26))), Adapter("wlan0", 0x00005E005302))
ASK = padded(arp_request(0x00005E005301, 0xC0000201, 0xC0000214))
SAY = padded(arp_reply(0x00005E005314, 0xC0000214, 0x00005E005301, 0xC0000201))
NOON = 1793620800.000001


def written(path: Path) -> Path:
    """Return a capture of three frames on two interfaces."""
    with CaptureWriter(path, ADAPTERS) as capture:
        capture.frame(NOON, 0, ASK, True, "pasteuriser-plc/cpu:1 in: asked")
        capture.frame(NOON + 0.25, 0, SAY, False, "colour \x1b[31m, \u202e and\nline")
        capture.frame(NOON + 1, 1, ASK[:-1], False)
    return path


def tshark(path: Path, *arguments: str) -> str:
    """Return the output of tshark."""
    done = subprocess.run([need("tshark"), "-n", "-r", path, *arguments], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_tshark_reads_every_frame(tmp_path: Path) -> None:
    """tshark shows times, interfaces, directions, comments and the content of the frames."""
    fields = (
        "frame.time_epoch", "frame.interface_name", "frame.packet_flags_direction", "frame.comment", "frame.len",
        "arp.opcode", "arp.dst.proto_ipv4",
    )  # fmt: skip
    options = [part for field in fields for part in ("-e", field)]
    rows = [
        line.split("|")
        for line in tshark(written(tmp_path / "a.pcapng"), "-T", "fields", "-E", "separator=|", *options).splitlines()
    ]
    times = [float(row[0]) for row in rows]
    assert times == pytest.approx([NOON, NOON + 0.25, NOON + 1], abs=1e-6)
    assert [row[1] for row in rows] == ["eth0", "eth0", "wlan0"]
    assert [int(row[2], 16) for row in rows] == [2, 1, 1]
    assert [row[3] for row in rows] == [
        "pasteuriser-plc/cpu:1 in: asked",
        r"colour \x1b[31m, \u202e and\x0aline",
        "",
    ]
    assert [row[4:] for row in rows] == [["60", "1", "192.0.2.20"], ["60", "2", "192.0.2.1"], ["59", "1", "192.0.2.20"]]


def test_tshark_reads_the_interfaces(tmp_path: Path) -> None:
    """tshark reads every block of the file and reports no error."""
    said = json.loads(tshark(written(tmp_path / "a.pcapng"), "-T", "json"))
    assert [packet["_source"]["layers"]["frame"]["frame.encap_type"] for packet in said] == ["1", "1", "1"]
    assert tshark(tmp_path / "a.pcapng", "-Y", "_ws.malformed || _ws.expert.severity >= 6291456") == ""


comments = st.text(st.characters(), max_size=80)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.binary(min_size=1, max_size=200), comments, st.booleans(), st.integers(0, 1)), max_size=5))
def test_scapy_reads_back_what_was_written(packets: list[tuple[bytes, str, bool, int]]) -> None:
    """Any bytes come back unchanged, and any comment as `safe` returns it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "a.pcapng")
        with CaptureWriter(path, ADAPTERS) as capture:
            for number, (frame, comment, outbound, adapter) in enumerate(packets):
                capture.frame(NOON + number, adapter, frame, outbound, comment)
        with RawPcapNgReader(str(path)) as reader:
            read = list(reader)
    assert [frame for frame, _ in read] == [frame for frame, _, _, _ in packets]
    for number, ((_, told), (frame, comment, outbound, adapter)) in enumerate(zip(read, packets, strict=True)):
        assert (told.linktype, told.wirelen, told.ifname) == (1, len(frame), ADAPTERS[adapter].name.encode())
        assert ((told.tshigh << 32) + told.tslow) / 1e9 == pytest.approx(NOON + number, abs=1e-6)
        assert told.tsresol == 1_000_000_000
        assert told.comments == ([safe(comment).encode()] if comment else None)
        assert told.direction == (2 if outbound else 1)


def test_an_existing_file_is_not_overwritten(tmp_path: Path) -> None:
    """Neither a file nor the target of a link is overwritten; the message names it."""
    there = tmp_path / "there.pcapng"
    there.write_bytes(b"precious")
    (tmp_path / "link.pcapng").symlink_to(there)
    (tmp_path / "dangling.pcapng").symlink_to(tmp_path / "elsewhere")
    for name in ("there.pcapng", "link.pcapng", "dangling.pcapng"):
        with pytest.raises(UsageError, match=rf"{name}: the capture file exists already"):
            CaptureWriter(tmp_path / name, ADAPTERS)
    assert there.read_bytes() == b"precious"
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize(
    ("name", "said"),
    [
        pytest.param("nothere/a.pcapng", "the folder of the capture does not exist", id="no folder"),
        pytest.param("a\0.pcapng", "cannot be created", id="not a name"),
        pytest.param("x" * 300, "cannot be created", id="too long a name"),
    ],
)
def test_a_file_that_cannot_be_created(tmp_path: Path, name: str, said: str) -> None:
    """The message names the path and what to do, and no file is left."""
    with pytest.raises(UsageError, match=said):
        CaptureWriter(tmp_path / name, ADAPTERS)
    assert list(tmp_path.iterdir()) == []


def test_the_file_is_bounded(tmp_path: Path) -> None:
    """Frames beyond the limit are counted and not written; the file stays readable."""
    path = tmp_path / "a.pcapng"
    with CaptureWriter(path, ADAPTERS, limit=2000) as capture:
        for number in range(100):
            capture.frame(NOON + number, 0, ASK, True, "x")
        assert path.stat().st_size <= 2000
        with RawPcapNgReader(str(path)) as reader:
            kept = len(list(reader))
        assert 10 < kept == 100 - capture.left_out
    capture.close()
    assert capture.problem == ""


def test_each_frame_is_written_at_once(tmp_path: Path) -> None:
    """Frames do not wait in a buffer: a process that dies leaves all of them."""
    capture = CaptureWriter(tmp_path / "a.pcapng", ADAPTERS)
    for number in range(3):
        capture.frame(NOON, 0, ASK, True)
        with RawPcapNgReader(str(tmp_path / "a.pcapng")) as reader:
            assert len(list(reader)) == number + 1
    capture.close()


def test_a_full_disk_ends_the_capture_and_nothing_else() -> None:
    """On a full file system the reason is kept, no incomplete block is left, and no error is raised."""
    with tempfile.TemporaryDirectory() as folder:
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16k", "tmpfs", folder], capture_output=True)
        if mounted.returncode:
            (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)("a small file system needs root")
        try:
            path = Path(folder, "a.pcapng")
            with CaptureWriter(path, ADAPTERS) as capture:
                for number in range(1000):
                    capture.frame(NOON + number, 0, ASK, True, "x")
            with RawPcapNgReader(str(path)) as reader:
                kept = len(list(reader))
        finally:
            subprocess.run(["umount", folder], check=True)
    assert capture.problem
    assert 0 < kept == 1000 - capture.left_out
