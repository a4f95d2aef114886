"""Captures give the same hosts as an independent analyser; malformed files and frames are refused or skipped."""

from __future__ import annotations

import struct
import subprocess
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netcheck.addr import Prefix
from netcheck.errors import NetcheckError
from netcheck.plan.model import Cell, Position, SurveyEntry
from netcheck.survey.model import Survey
from netcheck.survey.read import read_survey
from tests.programs import need

DAY = 1768464000  # 2026-01-15 08:00:00 UTC
ROUTER, ONE, TWO, THREE = (bytes.fromhex(f"00005e0053{octet}") for octet in ("fe", "14", "15", "16"))
EVERYBODY, NOBODY = b"\xff" * 6, bytes(6)


def ip(text: str) -> bytes:
    """Return the four octets of an address."""
    return bytes(map(int, text.split(".")))


def arp(mac: bytes, sender: str, target: str, operation: int = 1, tags: bytes = b"") -> bytes:
    """Return an ARP frame in the format of RFC 826, padded."""
    head = EVERYBODY + mac + tags + bytes.fromhex("0806 0001 0800 0604") + operation.to_bytes(2, "big")
    return (head + mac + ip(sender) + NOBODY + ip(target)).ljust(60, b"\0")


def packet(mac: bytes, sender: str, target: str, ttl: int = 64, to: bytes = TWO) -> bytes:
    """Return an IPv4 packet without data, in the format of RFC 791 section 3.1."""
    head = struct.pack(">BBHHHBBH", 0x45, 0, 20, 1, 0, ttl, 17, 0)
    return (to + mac + b"\x08\x00" + head + ip(sender) + ip(target)).ljust(60, b"\0")


# The link of a plant: two hosts and a router that send ARP, an ARP probe, another host that sends only IPv4, and
# packets that the router forwards.
FRAMES = (
    arp(ONE, "192.0.2.20", "192.0.2.21"),
    arp(TWO, "192.0.2.21", "192.0.2.20", 2),
    arp(THREE, "0.0.0.0", "192.0.2.22"),
    arp(ROUTER, "192.0.2.254", "192.0.2.20"),
    packet(THREE, "192.0.2.23", "192.0.2.20"),
    packet(ROUTER, "198.51.100.7", "192.0.2.20", 57),
    packet(ROUTER, "203.0.113.9", "192.0.2.20"),
    packet(ONE, "192.0.2.20", "198.51.100.7", to=ROUTER),
)
HOSTS = [("192.0.2.20", "14", 1), ("192.0.2.21", "15", 2), ("192.0.2.254", "FE", 4), ("192.0.2.23", "16", 5)]


def pcap(
    frames: tuple[bytes, ...], order: str = "<", magic: int = 0xA1B2C3D4, snap: int = 65535, link: int = 1
) -> bytes:
    """Return a pcap file in the format of draft-ietf-opsawg-pcap section 4."""
    records = (struct.pack(f"{order}IIII", DAY, 5, len(frame), len(frame)) + frame for frame in frames)
    return struct.pack(f"{order}IHHIIII", magic, 2, 4, 0, 0, snap, link) + b"".join(records)


def block(order: str, kind: int, body: bytes) -> bytes:
    """Return a block in the format of draft-ietf-opsawg-pcapng section 3.1."""
    body += bytes(-len(body) % 4)
    return struct.pack(f"{order}II", kind, len(body) + 12) + body + struct.pack(f"{order}I", len(body) + 12)


def section(frames: tuple[bytes, ...], order: str = "<", kind: int = 6, options: bytes = b"") -> bytes:
    """Return a section of a pcapng file with one interface: sections 4.1 to 4.4 of the draft."""
    data = block(order, 0x0A0D0D0A, struct.pack(f"{order}IHHq", 0x1A2B3C4D, 1, 0, -1))
    data += block(order, 1, struct.pack(f"{order}HHI", 1, 0, 0) + options) + block(order, 0x0BAD, b"unknown")
    ticks = DAY * 10**6
    for frame in frames:
        heads = {
            6: struct.pack(f"{order}IIIII", 0, ticks >> 32, ticks & 0xFFFFFFFF, len(frame), len(frame)),
            3: struct.pack(f"{order}I", len(frame)),
            2: struct.pack(f"{order}HHIIII", 0, 0, ticks >> 32, ticks & 0xFFFFFFFF, len(frame), len(frame)),
        }
        data += block(order, kind, heads[kind] + frame)
    return data


def survey_of(folder: Path, data: bytes, *covers: str) -> Survey:
    """Read a capture of these bytes."""
    (folder / "plant.pcap").write_bytes(data)
    position = Position("plan.toml")
    cells = tuple(Cell(text, Prefix.from_text(text), position) for text in covers)
    return read_survey(SurveyEntry(file="plant.pcap", position=position, covers=cells), folder)


def rows(survey: Survey) -> list[tuple[str, str, int]]:
    """Return address, last octet of the MAC and frame of every host, in the order of the frames."""
    found = [(str(host.address), str(host.mac)[-2:], host.line) for host in survey.hosts]
    return sorted(found, key=lambda row: row[2])


@pytest.mark.parametrize(
    "data",
    [
        pcap(FRAMES),
        pcap(FRAMES, ">"),
        pcap(FRAMES, "<", 0xA1B23C4D),
        pcap(FRAMES, ">", 0xA1B23C4D),
        pcap(FRAMES, snap=0),
        section(FRAMES),
        section(FRAMES, ">"),
        section(FRAMES, kind=2),
        section(FRAMES[:3], ">") + section(()) + section(FRAMES[3:]),
    ],
    ids=[*("micro", "micro-big", "nano", "nano-big", "snap-0", "pcapng", "pcapng-big", "old-packets", "sections")],
)
def test_every_form_reads_the_same(tmp_path: Path, data: bytes) -> None:
    """All magic numbers of both drafts are read; the sections of one file may differ in byte order."""
    survey = survey_of(tmp_path, data)
    assert (survey.kind, rows(survey), survey.skipped.count) == ("capture", HOSTS, 0)
    first = survey.hosts.at(next(iter(survey.hosts)).address)[0]
    assert (first.where, str(first.seen), first.note) == ("plant.pcap: frame 1", "2026-01-15", "sent ARP")
    assert "00-00-5E-00-53-FE sent IPv4 from 198.51.100.7 and 203.0.113.9" in survey.addressless.first[0].why


def test_simple_packets_have_no_day(tmp_path: Path) -> None:
    """A Simple Packet Block has no time (section 4.4 of the draft)."""
    survey = survey_of(tmp_path, section(FRAMES, kind=3))
    assert rows(survey) == HOSTS
    assert {host.seen for host in survey.hosts} == {None}


@pytest.mark.parametrize("ending", ["pcap", "pcapng"])
def test_hosts_as_an_independent_analyser_lists_them(tmp_path: Path, ending: str) -> None:
    """The hosts are the ARP senders and the IPv4 senders of the link that tshark lists; scapy built the frames."""
    tshark = need("tshark")
    from scapy.layers.inet import IP, UDP
    from scapy.layers.l2 import ARP, Dot1Q, Ether
    from scapy.utils import PcapNgWriter, PcapWriter

    frames = []
    for number in range(1, 40):
        mac, address = f"00:00:5e:00:53:{number:02x}", f"192.0.2.{number}"
        tag = Dot1Q(vlan=620) if number % 5 == 0 else None
        ether = Ether(src=mac, dst="ff:ff:ff:ff:ff:ff") / tag if tag else Ether(src=mac, dst="ff:ff:ff:ff:ff:ff")
        if number % 3:
            frames.append(ether / ARP(op=1 + number % 2, hwsrc=mac, psrc=address, pdst="192.0.2.77"))
        else:
            frames.append(ether / IP(src=address, dst=f"192.0.2.{number + 1}") / UDP())
        frames.append(
            Ether(src=mac, dst="ff:ff:ff:ff:ff:ff")
            / ARP(op=1, hwsrc=mac, psrc="0.0.0.0", pdst=f"192.0.2.{number + 100}")
        )
        frames.append(
            Ether(src="00:00:5e:00:53:01", dst=mac) / IP(src=f"198.51.100.{number}", dst=address, ttl=60) / UDP()
        )
    path = tmp_path / "plant.pcap"
    writer = PcapWriter(str(path)) if ending == "pcap" else PcapNgWriter(str(path))
    with writer:
        writer.write(frames)
    words = [tshark, "-r", str(path), "-T", "fields", "-E", "separator=,"]
    heard: set[tuple[str, str]] = set()
    for choice, fields in (
        ("arp.src.proto_ipv4 != 0.0.0.0", ("arp.src.proto_ipv4", "arp.src.hw_mac")),
        ("ip.src == 192.0.2.0/24", ("ip.src", "eth.src")),
    ):
        listed = subprocess.run(
            [*words, "-Y", choice, "-e", fields[0], "-e", fields[1]], capture_output=True, text=True, check=True
        )
        heard |= {(one, two) for one, two in (line.split(",") for line in listed.stdout.split())}
    survey = survey_of(tmp_path, path.read_bytes())
    assert {(str(host.address), str(host.mac).replace("-", ":").lower()) for host in survey.hosts} == heard
    assert len(heard) == 39


@pytest.mark.parametrize(
    ("frames", "covers", "found"),
    [
        ((packet(ROUTER, "198.51.100.7", "192.0.2.20", 57),), (), []),
        ((packet(ONE, "192.0.2.20", "192.0.2.21"),), ("198.51.100.0/24",), []),
        ((packet(ONE, "192.0.2.20", "192.0.2.21", 57),), ("192.0.2.0/24",), ["192.0.2.20"]),
        ((packet(ROUTER, "198.51.100.7", "1.2.3.4"), packet(ROUTER, "198.51.100.8", "1.2.3.4")), (), []),
        ((packet(ONE, "198.51.100.7", "255.255.255.255", 9),), (), ["198.51.100.7"]),
        ((packet(ONE, "198.51.100.7", "224.0.0.22", 9),), (), ["198.51.100.7"]),
        (
            (arp(ONE, "192.0.2.20", "192.0.2.25"), packet(TWO, "192.0.2.24", "1.2.3.4", 9)),
            (),
            ["192.0.2.20", "192.0.2.24"],
        ),
        ((packet(ONE, "0.0.0.0", "255.255.255.255"), packet(ONE, "127.0.0.1", "1.2.3.4")), (), []),
        ((packet(EVERYBODY, "192.0.2.20", "1.2.3.4"), arp(NOBODY, "192.0.2.9", "192.0.2.8")), (), []),
        ((arp(ONE, "192.0.2.20", "192.0.2.25", 8),), (), []),
        ((arp(ONE, "192.0.2.20", "192.0.2.25", 2, bytes.fromhex("88a80064 8100026c")),), (), ["192.0.2.20"]),
        (
            (
                arp(ONE, "192.0.2.20", "192.0.2.25"),
                arp(ROUTER, "192.0.2.254", "192.0.2.20"),
                packet(ROUTER, "192.0.2.20", "192.0.2.21"),
            ),
            (),
            ["192.0.2.20", "192.0.2.254"],
        ),
    ],
    ids=[
        *("counted-down", "not-covered", "covered", "two-behind-one", "limited-broadcast", "local-group", "asked-link"),
        *("no-address", "no-mac", "other-operation", "two-tags", "passed-on-inside"),
    ],
)
def test_what_is_evidence_of_a_host(
    tmp_path: Path, frames: tuple[bytes, ...], covers: tuple[str, ...], found: list[str]
) -> None:
    """IPv4 is evidence only on this link: RFC 1812 sections 5.3.1 and 5.3.5.1, RFC 5771 section 4, RFC 1122 3.3.1.1."""
    assert [row[0] for row in sorted(rows(survey_of(tmp_path, pcap(frames), *covers)))] == found


def test_an_impostor_that_sends_only_ipv4_is_kept(tmp_path: Path) -> None:
    """Two MACs with one address are both hosts, if the second MAC sends from no other address."""
    data = pcap((arp(ONE, "192.0.2.20", "192.0.2.25"), packet(TWO, "192.0.2.20", "192.0.2.25")))
    assert [row[1] for row in rows(survey_of(tmp_path, data))] == ["14", "15"]


def test_the_interface_gives_the_prefix_of_the_link(tmp_path: Path) -> None:
    """Option if_IPv4addr (section 4.2 of the draft) names a prefix of the link."""
    option = struct.pack("<HH", 4, 8) + ip("192.0.2.9") + ip("255.255.255.0") + bytes(4)
    data = section((packet(ONE, "192.0.2.20", "1.2.3.4", 9), packet(TWO, "198.51.100.7", "1.2.3.4")), options=option)
    assert [row[0] for row in rows(survey_of(tmp_path, data))] == ["192.0.2.20"]


def test_a_capture_of_all_interfaces(tmp_path: Path) -> None:
    """LINKTYPE_LINUX_SLL and _SLL2 have cooked headers in place of the Ethernet header."""
    body = FRAMES[0][14:]
    old = struct.pack(">HHH", 1, 1, 6) + ONE + bytes(2) + b"\x08\x06" + body
    new = b"\x08\x06" + bytes(2) + struct.pack(">IHBB", 2, 1, 1, 6) + ONE + bytes(2) + body
    for data in (pcap((old,), link=113), pcap((new,), link=276)):
        assert rows(survey_of(tmp_path, data)) == HOSTS[:1]


GOOD = section(FRAMES[:2])


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (pcap(()), "it contains no frame"),
        (pcap(FRAMES)[:20], "ends inside its header"),
        (pcap(FRAMES)[:24] + struct.pack("<IIII", DAY, 0, 0xFFFFFFFF, 60), "4,294,967,295 bytes is announced"),
        (pcap(FRAMES, link=105), "link type 105"),
        (
            b"\x0a\x0d\x0d\x0a" + bytes(4) + b"\x4d\x3c\x2b\x1a" + bytes(40),
            "a block has the impossible length of 0 bytes",
        ),
        (block("<", 0x0A0D0D0A, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1)) * 1000, "it contains no frame"),
        (b"\x1f\x8b\x08" + bytes(40), "compressed with gzip"),
        (b"\xa1\xb2\xcd\x34" + bytes(40), "does not start with the magic number"),
    ],
    ids=["no-frame", "cut-header", "absurd", "wireless", "zero-block", "sections-alone", "gzip", "old"],
)
def test_a_capture_without_a_readable_frame_is_refused(tmp_path: Path, data: bytes, words: str) -> None:
    """An empty list would make every address look free."""
    with pytest.raises(NetcheckError, match=words):
        survey_of(tmp_path, data)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (pcap(FRAMES[:2])[:-1], "ends after 59 of a frame's 60 bytes"),
        (pcap(FRAMES[:2]) + bytes(7), "ends inside the head of a frame"),
        (pcap(FRAMES[:2]) + struct.pack("<IIII", 0, 0, 1 << 20, 60), "1,048,576 bytes is announced"),
        (GOOD + struct.pack("<II", 6, 0) + bytes(60), "a block has the impossible length of 0 bytes"),
        (GOOD + struct.pack("<II", 6, 0xFFFFFFFC) + bytes(60), "4,294,967,292 bytes is announced"),
        (GOOD + struct.pack("<II", 0x0BAD, 0xFFFFFFFC) + bytes(60), "the file ends inside a block"),
        (GOOD + block("<", 6, struct.pack("<IIIII", 7, 0, 0, 0, 0)), "names interface 7"),
        (GOOD + block("<", 6, struct.pack("<IIIII", 0, 0, 0, 99, 99)), "a frame of 99 bytes"),
        (GOOD + block("<", 6, b""), "only 0 bytes"),
        (GOOD[:-4] + bytes(4), "another length"),
        (GOOD + b"\x06\0", "inside the head of a block"),
    ],
    ids=[
        *("cut-frame", "cut-head", "absurd", "zero-block", "absurd-block", "absurd-unknown", "no-interface", "no-room"),
        *("no-body", "ends-otherwise", "cut-block"),
    ],
)
def test_a_broken_frame_ends_the_reading(tmp_path: Path, data: bytes, words: str) -> None:
    """Hosts of earlier frames are kept, and a remark says where and why the reading ends."""
    survey = survey_of(tmp_path, data)
    assert rows(survey)[:1] == HOSTS[:1]
    assert words in survey.skipped.first[0].why
    assert survey.skipped.count == 1


def test_frames_that_are_cut_off_are_counted(tmp_path: Path) -> None:
    """A short snapshot length may cut off the sender's address."""
    survey = survey_of(tmp_path, pcap((FRAMES[0], FRAMES[1][:30], FRAMES[4][:28], b"")))
    assert (rows(survey), survey.skipped.count) == (HOSTS[:1], 1)


def test_memory_is_bounded(tmp_path: Path) -> None:
    """Five thousand senders and as many frames of the greatest length are read as a stream."""
    path = tmp_path / "plant.pcap"
    with path.open("wb") as stream:
        stream.write(pcap(()))
        for number in range(5_000):
            frame = packet(ONE, f"10.0.{number >> 8 & 255}.{number & 255}", "192.0.2.1").ljust(1500, b"\0")
            stream.write(struct.pack("<IIII", DAY, 0, len(frame), len(frame)) + frame)
    tracemalloc.start()
    survey = read_survey(SurveyEntry(file="plant.pcap", position=Position("plan.toml")), tmp_path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(survey.hosts) == 0
    assert peak < 5 << 20


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from([pcap(FRAMES), section(FRAMES), section(FRAMES, ">", 3), section(FRAMES, kind=2)]),
    st.integers(0, 900), st.integers(0, 40), st.binary(max_size=40),
)  # fmt: skip
def test_mutated_captures_are_read_or_refused(tmp_path: Path, data: bytes, at: int, gone: int, junk: bytes) -> None:
    """A file that is cut, padded or changed anywhere gives a refusal or remarks."""
    try:
        survey = survey_of(tmp_path, data[:at] + junk + data[at + gone :])
    except NetcheckError as error:
        assert str(error)  # noqa: PT017 - both outcomes are correct, each is checked
        return
    assert len(list(survey.hosts)) == len(survey.hosts)
