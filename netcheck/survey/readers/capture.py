"""Reads the hosts in a capture: the senders of ARP, and the senders of IPv4 that are on this link.

Positions count frames. A sender of ARP owns its sender address; an ARP probe has no sender address (RFC 5227 section
1.1). A sender of IPv4 may be behind a router, and the frame then has the router's MAC; see `Senders.hosts`. The memory
is bounded, whatever the frames contain.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from netcheck.addr import Address, Mac, Prefix
from netcheck.errors import Problem, SurveyError
from netcheck.files import GZIP
from netcheck.survey.gathering import Gathering, Source
from netcheck.survey.readers.values import NO_HOST_MACS, why_no_host
from netcheck.text import listed
from netcheck.wire.capture import HEAD, Broken, Capture, is_capture

_EPOCH = date(1970, 1, 1).toordinal()
_ETHERNET, _COOKED, _COOKED_2 = 1, 113, 276  # link types of the registry in draft-ietf-opsawg-pcaplinktype
MOST = 1 << 18  # pairs of address and MAC
_MOST_KEYS = 1 << 17  # distinct frames remembered, to skip repeated ones quickly
_ARP, _IPV4 = b"\x08\x06", b"\x08\x00"  # RFC 7042 appendix B
_TAGS = (b"\x81\x00", b"\x88\xa8", b"\x91\x00")  # the last one is common practice, no source
_ARP_FORM = b"\x00\x01\x08\x00\x06\x04"  # Ethernet and IPv4, RFC 826
_STARTS = {1, 32, 64, 128, 255}  # initial TTLs of operating systems: common practice, no source
_SHORTEST_NET = 16  # prefix length; a shorter prefix is not taken for one link


def read(source: Source, into: Gathering) -> None:
    """Read all frames, then add their senders."""
    with source.open() as stream:
        _require_capture(stream.read(12))
        stream.seek(0)
        capture = Capture(stream)
        covered = tuple(cell.value for cell in source.entry.covers if cell.value is not None)
        senders, count = _collect(capture, covered, into)
    hosts, behind = senders.hosts(capture.nets)
    for host in hosts:
        into.add(Address(4, host.address), Mac(host.mac), host.frame, "", _note(host), _day(host.day))
    for mac, addresses in sorted(behind.items()):
        some = listed([str(Address(4, address)) for address in sorted(addresses)], 3)
        into.remark_no_host(0, f"{Mac(mac)} sent IPv4 from {some}: it is a router that forwards for them")
    if senders.short:
        into.skip_row(0, f"frames of ARP or IPv4 are cut off before the sender's address: at least {senders.short:,}")
    if senders.left_out:
        what = f"there are more than {MOST:,} pairs of address and MAC: the link was flooded"
        into.skip_row(0, f"{what}; the senders of at least {senders.left_out:,} of {count:,} frames are left out")


def _require_capture(head: bytes) -> None:
    if head.startswith(GZIP):
        raise SurveyError(Problem("it is compressed with gzip", do="Unpack it with gunzip and name the unpacked file"))
    if not is_capture(head):
        do = "Save the frames as pcap or pcapng, or name the right `kind`"
        raise SurveyError(Problem("it does not start with the magic number of a capture", do=do))


def _collect(capture: Capture, covered: tuple[Prefix, ...], into: Gathering) -> tuple[Senders, int]:
    """Return the senders of all frames and the number of frames; SurveyError if no frame can be read."""
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
            senders.add(number, frame.seconds // 86400, head)
    except Broken as error:
        if not number:
            raise SurveyError(Problem(f"no frame in it can be read: {error}", do="Take the capture again")) from error
        into.skip_row(number + 1, f"{error}; the rest of the file is not read")
    if not number:
        raise SurveyError(
            Problem("it contains no frame", do="Take the capture again; listening does not find a silent host")
        )
    _remark_on(other, number, into)
    return senders, number


def _remark_on(other: Counter[int], number: int, into: Gathering) -> None:
    kinds = f"link type {listed([str(link) for link in sorted(other)], 4)}"
    if other.total() == number:
        do = "Capture on an Ethernet interface"
        raise SurveyError(Problem(f"its frames are of {kinds}, which have no Ethernet MAC", do=do))
    if other:
        into.skip_row(0, f"{other.total():,} frames are of {kinds}, which have no Ethernet MAC")


def _as_ethernet(link: int, head: bytes) -> bytes:
    """Return the frame with an Ethernet header, whose destination is zero, in place of its cooked header.

    Linux writes cooked headers (LINKTYPE_LINUX_SLL or _SLL2) when it captures on all interfaces. Empty if the sender's
    hardware is not Ethernet.
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
    """Return the date of a day counted from 1970-01-01; None for 0, for a negative number or after the year 9999."""
    return date.fromordinal(_EPOCH + day) if 0 < day <= date.max.toordinal() - _EPOCH else None


class Sender(NamedTuple):
    """A host: address and MAC as integers, and its evidence.

    `addresses` is the number of addresses that its MAC sent from. `frame` is the number of its first frame, `day` its
    last day in UTC, counted from 1970-01-01 (0 if the capture has no time).
    """

    address: int
    mac: int
    how: str
    addresses: int
    frame: int
    day: int


@dataclass(slots=True)
class _Pair:
    """The evidence for one address with one MAC."""

    frame: int
    day: int = 0
    arp: bool = False
    local: bool = False  # it sent IPv4 to a destination that routers do not forward
    fresh: bool = False  # it sent IPv4 with an initial TTL, which no router has decremented


class Senders:
    """Collects the senders of frames; `nets` are the prefixes known to be on this link, if any."""

    def __init__(self, nets: Sequence[Prefix] = ()) -> None:
        self._given = list(nets)
        self._learned: set[tuple[int, int]] = set()  # (bits shifted out, the rest)
        self._pairs: dict[tuple[int, int], _Pair] = {}
        self._by_frame: dict[bytes, _Pair] = {}
        self._ignored = _Pair(0)
        self.left_out = 0  # frames of senders in excess of MOST pairs
        self.short = 0  # frames of ARP or IPv4 that are cut off before the sender's address

    def add(self, number: int, day: int, head: bytes) -> None:
        """Add the sender of one Ethernet frame: the frame's number, its day in UTC since 1970 and its first bytes."""
        kind = head[12:14]
        while kind in _TAGS:
            head = head[:12] + head[16:]
            kind = head[12:14]
        if kind == _IPV4:
            key = head[:15] + head[26:34]
        elif kind == _ARP:
            key = head[:42]
        else:
            return
        pair = self._by_frame.get(key)
        if pair is None:
            pair = self._new_pair(number, head, kind == _ARP)
            if len(self._by_frame) >= _MOST_KEYS:
                self._by_frame.clear()
            self._by_frame[key] = pair
        if day > pair.day:
            pair.day = day

    def _new_pair(self, number: int, head: bytes, arp: bool) -> _Pair:
        if len(head) < (42 if arp else 34):
            self.short += 1
            return _Pair(0)
        return self._arp(number, head) if arp else self._ip(number, head)

    def _arp(self, number: int, head: bytes) -> _Pair:
        operation, sender, target = head[20:22], head[28:32], head[38:42]
        if head[14:20] != _ARP_FORM or operation not in (b"\0\1", b"\0\2"):
            return self._ignored
        pair = self._pair(number, sender, head[22:28])
        if pair is not self._ignored:
            pair.arp = True
            if operation == b"\0\1":
                self._learn(int.from_bytes(sender, "big"), int.from_bytes(target, "big"))
        return pair

    def _learn(self, sender: int, target: int) -> None:
        """Learn a prefix of this link from the sender and the target of an ARP request.

        A host sends ARP requests only for addresses of its own link (RFC 1122 section 3.3.1.1). The prefix that both
        addresses have in common is therefore on this link.
        """
        differing = (sender ^ target).bit_length()
        if differing <= 32 - _SHORTEST_NET and len(self._learned) < MOST and target:
            self._learned.add((differing, sender >> differing))

    def _ip(self, number: int, head: bytes) -> _Pair:
        if head[14] >> 4 != 4 or head[14] & 15 < 5:
            return self._ignored
        pair = self._pair(number, head[26:30], head[6:12])
        if pair is not self._ignored:
            target = head[30:34]
            # The limited broadcast (RFC 1812 section 5.3.5.1) and 224.0.0.0/24 (RFC 5771 section 4) are not forwarded.
            pair.local = pair.local or target == b"\xff\xff\xff\xff" or target[:3] == b"\xe0\0\0"
            pair.fresh = pair.fresh or head[22] in _STARTS
        return pair

    def _pair(self, number: int, sender: bytes, hardware: bytes) -> _Pair:
        address, mac = int.from_bytes(sender, "big"), int.from_bytes(hardware, "big")
        if mac in NO_HOST_MACS or mac >> 40 & 1 or why_no_host(Address(4, address)):  # RFC 1812 section 3.3.2
            return self._ignored
        pair = self._pairs.get((address, mac))
        if pair is None:
            if len(self._pairs) >= MOST:
                self.left_out += 1
                return self._ignored
            pair = self._pairs[address, mac] = _Pair(number)
        return pair

    def hosts(self, nets: Sequence[Prefix] = ()) -> tuple[list[Sender], dict[int, list[int]]]:
        """Return the hosts in the order of their first frames, and the addresses behind each router by its MAC.

        A sender of ARP is a host. A sender of IPv4 alone is a host if its address is on this link, unless its MAC sent
        from other addresses too and ARP shows another owner of the address. The link's prefixes are the known ones; if
        none is known, the ones learned from ARP requests. If neither contains the address, the sender is a host only
        if its MAC sent from no other address and no router has decremented its TTL.
        """
        given = [*self._given, *nets]
        owners: dict[int, set[int]] = defaultdict(set)
        held: dict[int, set[int]] = defaultdict(set)
        for (address, mac), pair in self._pairs.items():
            held[mac].add(address)
            if pair.arp:
                owners[address].add(mac)
        found, behind = list[Sender](), defaultdict[int, list[int]](list)
        for (address, mac), pair in self._pairs.items():
            others = len(held[mac]) > 1
            if pair.arp or pair.local or self._is_host(address, pair, others, owners.get(address, set()), given):
                found.append(
                    Sender(address, mac, "sent ARP" if pair.arp else "sent IPv4", len(held[mac]), pair.frame, pair.day)
                )
            else:
                behind[mac].append(address)
        return found, behind

    def _is_host(self, address: int, pair: _Pair, others: bool, owners: set[int], given: Sequence[Prefix]) -> bool:
        if any(net.holds(Address(4, address)) for net in given):
            return not (others and owners)
        if given:
            return False
        if any((bits, address >> bits) in self._learned for bits in range(33 - _SHORTEST_NET)):
            return not (others and owners)
        return pair.fresh and not others
