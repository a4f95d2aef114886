"""Finds the hosts that sent the frames of a capture, with the evidence for each pair of address and MAC.

A sender of ARP owns its sender address (a probe has none, RFC 5227 section 1.1). A sender of IPv4 may be beyond a
router, whose MAC the frame then has; see `Senders.hosts`. Memory is bounded for any frames.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from netcheck.addr import Address, Prefix
from netcheck.survey.readers.values import NOBODY, why_no_host

MOST = 1 << 18  # pairs of address and MAC
_MOST_KEYS = 1 << 17  # kinds of frames remembered, so that repeated ones are skipped quickly
_ARP, _IPV4 = b"\x08\x06", b"\x08\x00"  # RFC 7042 appendix B
_TAGS = (b"\x81\x00", b"\x88\xa8", b"\x91\x00")  # the last one is common practice, no source
_ARP_FORM = b"\x00\x01\x08\x00\x06\x04"  # Ethernet and IPv4, RFC 826
_STARTS = {1, 32, 64, 128, 255}  # TTLs that systems begin with: common practice, no source
_SHORTEST_NET = 16  # a shorter prefix is not believed to be one link


class Sender(NamedTuple):
    """A host: address and MAC as integers, its evidence, the number of addresses of its MAC, its first frame, and its
    last day in UTC counted from 1970-01-01 (0 without a time).
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
    local: bool = False  # it sent IPv4 to an address that no router forwards
    fresh: bool = False  # it sent IPv4 with a TTL that no router has decremented


class Senders:
    """Collects senders; `nets` are the prefixes known to be on this link, if any."""

    def __init__(self, nets: Sequence[Prefix] = ()) -> None:
        self._given = list(nets)
        self._learned: set[tuple[int, int]] = set()  # (bits shifted out, the rest)
        self._pairs: dict[tuple[int, int], _Pair] = {}
        self._heard: dict[bytes, _Pair] = {}
        self._none = _Pair(0)
        self.left_out = 0  # frames of senders beyond MOST
        self.short = 0  # frames of ARP or IPv4 that are cut off before the sender's address

    def hear(self, number: int, day: int, head: bytes) -> None:
        """Take the first bytes of one Ethernet frame."""
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
        pair = self._heard.get(key)
        if pair is None:
            pair = self._meet(number, head, kind == _ARP)
            if len(self._heard) >= _MOST_KEYS:
                self._heard.clear()
            self._heard[key] = pair
        if day > pair.day:
            pair.day = day

    def _meet(self, number: int, head: bytes, arp: bool) -> _Pair:
        if len(head) < (42 if arp else 34):
            self.short += 1
            return _Pair(0)
        return self._arp(number, head) if arp else self._ip(number, head)

    def _arp(self, number: int, head: bytes) -> _Pair:
        operation, sender, target = head[20:22], head[28:32], head[38:42]
        if head[14:20] != _ARP_FORM or operation not in (b"\0\1", b"\0\2"):
            return self._none
        pair = self._pair(number, sender, head[22:28])
        if pair is not self._none:
            pair.arp = True
            if operation == b"\0\1":
                self._learn(int.from_bytes(sender, "big"), int.from_bytes(target, "big"))
        return pair

    def _learn(self, sender: int, target: int) -> None:
        """Learn the link's prefix: a host sends an ARP request only for addresses of its own link (RFC 1122 section
        3.3.1.1), so the common prefix of both addresses is on it.
        """
        differing = (sender ^ target).bit_length()
        if differing <= 32 - _SHORTEST_NET and len(self._learned) < MOST and target:
            self._learned.add((differing, sender >> differing))

    def _ip(self, number: int, head: bytes) -> _Pair:
        if head[14] >> 4 != 4 or head[14] & 15 < 5:
            return self._none
        pair = self._pair(number, head[26:30], head[6:12])
        if pair is not self._none:
            target = head[30:34]
            # The limited broadcast (RFC 1812 section 5.3.5.1) and 224.0.0.0/24 (RFC 5771 section 4) are not forwarded.
            pair.local = pair.local or target == b"\xff\xff\xff\xff" or target[:3] == b"\xe0\0\0"
            pair.fresh = pair.fresh or head[22] in _STARTS
        return pair

    def _pair(self, number: int, sender: bytes, hardware: bytes) -> _Pair:
        address, mac = int.from_bytes(sender, "big"), int.from_bytes(hardware, "big")
        if mac in NOBODY or mac >> 40 & 1 or why_no_host(Address(4, address)):  # RFC 1812 section 3.3.2
            return self._none
        pair = self._pairs.get((address, mac))
        if pair is None:
            if len(self._pairs) >= MOST:
                self.left_out += 1
                return self._none
            pair = self._pairs[address, mac] = _Pair(number)
        return pair

    def hosts(self, nets: Sequence[Prefix] = ()) -> tuple[list[Sender], dict[int, list[int]]]:
        """Return the hosts in the order of their first frames, and by router MAC the addresses beyond it.

        IPv4 alone is believed from an address of this link, unless ARP gives the address to another MAC and this MAC
        another address. The link's prefixes are the known ones or, without any, those learned from ARP requests.
        Another address is believed only if its MAC has no other address and its TTL has not been decremented.
        """
        given = [*self._given, *nets]
        owners: dict[int, set[int]] = defaultdict(set)
        held: dict[int, set[int]] = defaultdict(set)
        for (address, mac), pair in self._pairs.items():
            held[mac].add(address)
            if pair.arp:
                owners[address].add(mac)
        found, beyond = list[Sender](), defaultdict[int, list[int]](list)
        for (address, mac), pair in self._pairs.items():
            others = len(held[mac]) > 1
            if pair.arp or pair.local or self._believed(address, pair, others, owners.get(address, set()), given):
                found.append(
                    Sender(address, mac, "sent ARP" if pair.arp else "sent IPv4", len(held[mac]), pair.frame, pair.day)
                )
            else:
                beyond[mac].append(address)
        return found, beyond

    def _believed(self, address: int, pair: _Pair, others: bool, owners: set[int], given: Sequence[Prefix]) -> bool:
        if any(net.holds(Address(4, address)) for net in given):
            return not (others and owners)
        if given:
            return False
        if any((bits, address >> bits) in self._learned for bits in range(33 - _SHORTEST_NET)):
            return not (others and owners)
        return pair.fresh and not others
