"""Measures how fast the readers of surveys are, in ratio to a reference: `python tests/bench/readers.py [ROUNDS]`.

Every figure is the processor time of a whole process, each right after the one it is compared with; medians of the
rounds and of their ratios are shown. A capture is compared with the system's `tcpdump`, which writes a line a packet to
nowhere, and a list of a million rows with Python's csv module. The last rows are the memory for a capture of 1 GiB and
for the list.
"""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from random import Random
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[2]))


from netcheck.addr import mac_text
from tests.bench.results import compile_package, publish, rounds

ROOT = Path(__file__).parents[2]
FRAMES, ROWS = 500_000, 1_000_000
GIB = 1 << 30
CSV = "import csv, sys\nwith open(sys.argv[1], newline='') as stream:\n    print(sum(1 for _ in csv.reader(stream)))\n"
OURS = (
    "import sys\nfrom netcheck.wire.capture import Capture\n"
    "with open(sys.argv[1], 'rb') as stream:\n    print(sum(1 for _ in Capture(stream).frames()))\n"
)
SCAPY = (
    "import sys\nfrom scapy.utils import RawPcapReader\n"  # opens pcapng as well
    "with RawPcapReader(sys.argv[1]) as frames:\n    print(sum(1 for _ in frames))\n"
)
NETCHECK = [sys.executable, "-m", "netcheck", "survey", "read"]


def run(*words: str) -> tuple[float, float]:
    """Run a command to its end: processor seconds, and the most memory it held in MiB."""
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=ROOT)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        sys.exit(f"{' '.join(words)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def frames(count: int) -> Iterator[bytes]:
    """Frames between 200 hosts of 192.0.2.0/24, one in fifty of them ARP, most of middle length."""
    random = Random(count)
    hosts = [(bytes([0, 0, 0x5E, 0, 0x53, one]), bytes([192, 0, 2, one])) for one in range(1, 200)]
    for number in range(count):
        (mac, address), (to, target) = random.sample(hosts, 2)
        if number % 50 == 0:
            head = b"\xff" * 6 + mac + bytes.fromhex("0806 0001 0800 0604 0001") + mac + address + bytes(6) + target
            yield head.ljust(60, b"\0")
            continue
        size = random.choice((20, 60, 400, 1400))
        fields = (0x45, 0, 28 + size, number & 0xFFFF, 0x4000, 64, 17, 0)
        head = to + mac + b"\x08\x00" + struct.pack(">BBHHHBBH", *fields) + address + target
        yield head + struct.pack(">HHHH", 1024 + number % 1000, 5000, 8 + size, 0) + bytes(size)


def pcap(path: Path, size: int = 0) -> None:
    """Write a capture in pcap, repeated until it has *size* bytes."""
    with path.open("wb") as stream:
        stream.write(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 1))
        while True:
            for number, frame in enumerate(frames(FRAMES)):
                times = 1768464000 + number // 1000, number % 1000
                stream.write(struct.pack("<IIII", *times, len(frame), len(frame)) + frame)
            if stream.tell() >= size:
                return


def pcapng(path: Path) -> None:
    """The same capture as one section of pcapng."""
    with path.open("wb") as stream:
        stream.write(struct.pack("<IIIHHqI", 0x0A0D0D0A, 28, 0x1A2B3C4D, 1, 0, -1, 28))
        stream.write(struct.pack("<IIHHII", 1, 20, 1, 0, 0, 20))
        for number, frame in enumerate(frames(FRAMES)):
            ticks, length = (1768464000 + number // 1000) * 10**6, 32 + len(frame) + -len(frame) % 4
            head = struct.pack("<IIIIIII", 6, length, 0, ticks >> 32, ticks & 0xFFFFFFFF, len(frame), len(frame))
            stream.write(head + frame + bytes(-len(frame) % 4) + struct.pack("<I", length))


def listing(path: Path) -> None:
    """A million hosts in no order, with MAC and name."""
    prime = 15_485_863  # it takes every number below 2 ** 24 once, in no order
    with path.open("w", encoding="utf-8", newline="") as stream:
        stream.write("address,mac,name\n")
        for number in range(ROWS):
            value = (10 << 24) + number * prime % (1 << 24)
            address = ".".join(map(str, value.to_bytes(4, "big")))
            stream.write(f"{address},{mac_text(0x5F000000 + number)},h{number}\n")


def compared(ours: list[str], other: list[str], rounds: int) -> tuple[float, float, float]:
    """Return the median seconds of both, run in turns, and the median of their ratios."""
    pairs = [(run(*ours)[0], run(*other)[0]) for _ in range(rounds)]
    return (
        median(mine for mine, _ in pairs),
        median(theirs for _, theirs in pairs),
        median(mine / theirs for mine, theirs in pairs),
    )


def judged(what: str, ours: float, other: float, ratio: float, most: float) -> tuple[str, str, str, str, str]:
    """One row of the table."""
    verdict = "ok" if ratio <= most else "MISSED"
    return what, f"{ours:.2f} s", f"{other:.2f} s", f"{ratio:.2f}", f"at most {most:g}: {verdict}"


def main() -> int:
    """Measure all and print one table; 1 where a target is missed."""
    compile_package()
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path, make in ((folder / "a.pcap", pcap), (folder / "a.pcapng", pcapng)):
            make(path)
            if shutil.which("tcpdump"):
                other = ["tcpdump", "-n", "-r", str(path)]
                what = f"{FRAMES:,} frames of {path.suffix[1:]}: tcpdump"
                rows.append(judged(what, *compared([*NETCHECK, str(path)], other, rounds(3)), most=3))
            alone = [[sys.executable, "-c", code, str(path)] for code in (OURS, SCAPY)]
            what = f"{FRAMES:,} frames of {path.suffix[1:]}, reading alone: scapy's raw reader"
            rows.append(judged(what, *compared(alone[0], alone[1], rounds(3)), most=1))
            path.unlink()
        listing(folder / "a.csv")
        ours = [*NETCHECK, str(folder / "a.csv")]
        plain = [sys.executable, "-c", CSV, str(folder / "a.csv")]
        rows.append(judged(f"{ROWS:,} rows read and merged: csv alone", *compared(ours, plain, rounds(3)), most=3))
        kept = {"the list's memory": (run(*ours)[1], 1024)}
        pcap(folder / "large.pcap", GIB)
        kept["memory of a capture of 1 GiB"] = run(*NETCHECK, str(folder / "large.pcap"))[1], 300
    for what, (used, most) in kept.items():
        verdict = "ok" if used <= most else "MISSED"
        rows.append((what, f"{used:.0f} MiB", f"{most} MiB", f"{used / most:.2f}", f"at most 1: {verdict}"))
    publish("Survey readers", ["what: compared with", "netcheck", "other", "ratio", "target"], rows)
    return any(row[-1].endswith("MISSED") for row in rows)


if __name__ == "__main__":
    sys.exit(main())
