"""Reads captures: the hosts that sent ARP or, on this link, IPv4 (see `capture_senders`); a line is a frame."""

from __future__ import annotations

from collections import Counter
from datetime import date

from netcheck.addr import Address, Mac, Prefix
from netcheck.errors import Problem, SurveyError
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.readers.capture_senders import MOST, Sender, Senders
from netcheck.text import listed
from netcheck.wire.capture.read import HEAD, Broken, Capture, is_capture

_EPOCH = date(1970, 1, 1).toordinal()
_ETHERNET, _COOKED, _COOKED_2 = 1, 113, 276  # link types of the registry in draft-ietf-opsawg-pcaplinktype
_OLD_PCAP = (b"\x34\xcd\xb2\xa1", b"\xa1\xb2\xcd\x34")  # a variant of pcap with longer record headers, from memory
_GZIP = b"\x1f\x8b\x08"  # RFC 1952 section 2.3.1


def recognises(head: bytes) -> bool:
    """Return whether the magic number is that of a capture, or of a file that contains one."""
    return is_capture(head) or head.startswith((*_OLD_PCAP, _GZIP))


def read(source: Source, into: Gathering) -> None:
    """Read all frames, then add their senders."""
    with source.open() as stream:
        _demand_readable(stream.read(12))
        stream.seek(0)
        capture = Capture(stream)
        covered = tuple(cell.value for cell in source.entry.covers if cell.value is not None)
        senders, count = _heard(capture, covered, into)
    hosts, beyond = senders.hosts(capture.nets)
    for host in hosts:
        into.add(Address(4, host.address), Mac(host.mac), host.frame, "", _note(host), _day(host.day))
    for mac, addresses in sorted(beyond.items()):
        some = listed([str(Address(4, address)) for address in sorted(addresses)], 3)
        into.pass_over(0, f"{Mac(mac)} sent IPv4 from {some}, which it forwards: it is a router for them")
    if senders.short:
        into.skip(0, f"frames of ARP or IPv4 are cut off before the sender's address: at least {senders.short:,}")
    if senders.left_out:
        what = f"there are more than {MOST:,} pairs of address and MAC: the link was flooded"
        into.skip(0, f"{what}; senders of {senders.left_out:,} of {count:,} frames or more are left out")


def _demand_readable(head: bytes) -> None:
    if head.startswith(_GZIP):
        raise SurveyError(Problem("it is packed with gzip", do="Unpack it with gunzip and name the unpacked file"))
    if not is_capture(head):
        do = "Save the frames as pcap or pcapng, or name another kind"
        raise SurveyError(Problem("it does not start with the magic number of a capture", do=do))


def _heard(capture: Capture, covered: tuple[Prefix, ...], into: Gathering) -> tuple[Senders, int]:
    """Return the senders of all frames and the number of frames; SurveyError where none can be read."""
    senders, number, other = Senders(covered), 0, Counter[int]()
    try:
        for number, frame in enumerate(capture.frames(), 1):
            if frame.link == _ETHERNET:
                head = frame.head
            elif frame.link in (_COOKED, _COOKED_2):
                head = _as_ethernet(frame.link, frame.head)
            else:
                other[frame.link] += 1
                continue
            senders.hear(number, frame.seconds // 86400, head)
    except Broken as error:
        if not number:
            raise SurveyError(Problem(f"no frame of it can be read: {error}", do="Take the capture again")) from error
        into.skip(number + 1, f"{error}; the rest of the file is not read")
    if not number:
        raise SurveyError(
            Problem("it holds no frame", do="Take the capture again; a silent host is not heard by listening")
        )
    _remark_on(other, number, into)
    return senders, number


def _remark_on(other: Counter[int], number: int, into: Gathering) -> None:
    kinds = f"link type {listed([str(link) for link in sorted(other)], 4)}"
    if other.total() == number:
        do = "Capture on an Ethernet interface"
        raise SurveyError(Problem(f"its frames are of {kinds}, which have no Ethernet MAC", do=do))
    if other:
        into.skip(0, f"{other.total():,} frames are of {kinds}, which have no Ethernet MAC")


def _as_ethernet(link: int, head: bytes) -> bytes:
    """Turn the cooked header of a frame captured on all interfaces of Linux (LINKTYPE_LINUX_SLL or _SLL2) into an
    Ethernet header without destination.
    """
    if link == _COOKED:
        hardware, length, mac, kind, rest = head[2:4], head[4:6], head[6:12], head[14:16], head[16:]
    else:
        hardware, length, mac, kind, rest = head[8:10], b"\0" + head[11:12], head[12:18], head[0:2], head[20:]
    if hardware != b"\0\1" or length != b"\0\6":
        return b""
    return (bytes(6) + mac + kind + rest)[:HEAD]


def _note(host: Sender) -> str:
    return f"{host.how}; its MAC sent from {host.addresses} addresses" if host.addresses > 1 else host.how


def _day(day: int) -> date | None:
    """Return the day in UTC; None where there is none, or it is beyond the calendar."""
    return date.fromordinal(_EPOCH + day) if 0 < day <= date.max.toordinal() - _EPOCH else None
