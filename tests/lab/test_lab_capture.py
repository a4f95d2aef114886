"""Compares the capture of a run, as tshark reads it, with the frames that tcpdump saw on the same cable."""

from __future__ import annotations

import subprocess
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.lab.commands import Result
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.lab.plants.usual import pair
from tests.programs import need

pytestmark = [
    pytest.mark.lab,
    pytest.mark.timeout(600),
]
TOLD = ("eth.src", "eth.dst", "arp.opcode", "arp.src.proto_ipv4", "arp.dst.proto_ipv4", "ip.src", "ip.dst")
CHECKSUMS = ("ip.checksum.status", "icmp.checksum.status")
ECHO = ("icmp.type", "icmp.ident", "icmp.seq", "data.data")


@dataclass(frozen=True)
class Kept:
    """The result of a run, its capture, tcpdump's capture, and a second run into the same file."""

    ended: Result
    ours: Path
    theirs: Path
    again: Result
    untouched: bool


def act(lab: Lab, folder: Path) -> Kept:
    """Prove one port from a borrowed address, so that the kernel itself sends no frame, and record every frame."""
    plant = Plant(lab, folder, own=False)
    pair(plant)
    plant.plan()
    plant.listen()
    words = ("--only", "alpha/cpu", "--capture", "frames.pcapng")
    ended = plant.start(*words).end()
    assert plant.listener is not None
    plant.listener.frames()
    kept = (folder / "frames.pcapng").read_bytes()
    again = plant.start(*words).end(60)
    unchanged = (folder / "frames.pcapng").read_bytes() == kept
    return Kept(ended, folder / "frames.pcapng", folder / "heard.pcap", again, unchanged)


with_capture = pytest.mark.parametrize("job", [Job("a run with a capture", act, 45)], ids=str)


def tshark(path: Path, *words: str) -> list[list[str]]:
    """Return the fields of every ARP and ICMP frame of a capture file; the link delivers no other kind here."""
    fields = [part for word in words for part in ("-e", word)]
    command = [need("tshark"), "-n", "-r", str(path), "-Y", "arp or icmp", "-T", "fields", *fields]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    return [line.split("\t") for line in done.stdout.splitlines()]


@with_capture
def test_every_frame_is_kept_once(job: Job, outcome: Kept) -> None:
    """The file has exactly the frames that tcpdump saw until the end of the run."""
    assert outcome.ended.code == 0, outcome.ended.text
    ours = tshark(outcome.ours, "frame.time_epoch", *TOLD, *ECHO)
    last = max(float(at) for at, *_ in ours)
    theirs = tshark(outcome.theirs, "frame.time_epoch", *TOLD, *ECHO)
    seen = Counter(tuple(rest) for _, *rest in theirs)
    kept = Counter(tuple(rest) for _, *rest in ours)
    assert kept - seen == Counter()
    settled = Counter(tuple(rest) for at, *rest in theirs if float(at) < last - 0.1)
    assert settled - kept == Counter()
    assert kept.total() > 100


@with_capture
def test_comments_name_port_and_phase(job: Job, outcome: Kept) -> None:
    """Every echo request to the port under test has a comment, and the comments name the three phases in order."""
    frames = tshark(outcome.ours, "frame.comment", "ip.dst", "icmp.type")
    comments = [comment for comment, target, kind in frames if target == "192.0.2.20" and kind == "8"]
    assert all(comment.startswith("alpha/cpu:1 ") for comment in comments)
    phases = list(dict.fromkeys(comment.split()[1] for comment in comments))
    assert phases == ["in", "out", "back"]


@with_capture
def test_no_frame_is_malformed(job: Job, outcome: Kept) -> None:
    """tshark finds no malformed frame and no bad checksum, and every frame has its direction."""
    frames = tshark(outcome.ours, "_ws.malformed", *CHECKSUMS, "frame.packet_flags_direction")
    assert {malformed for malformed, *_ in frames} == {""}
    assert {header for _, header, _, _ in frames} <= {"", "1", "2"}  # good, or not checked
    assert {echo for _, _, echo, _ in frames} == {"", "1"}
    assert {int(direction, 0) for *_, direction in frames} == {1, 2}  # inbound and outbound


@with_capture
def test_a_capture_is_never_overwritten(job: Job, outcome: Kept) -> None:
    """A run into a capture file that exists is refused before anything is sent."""
    assert outcome.again.code == 2
    assert "frames.pcapng" in outcome.again.text
    assert outcome.untouched
