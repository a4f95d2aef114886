"""Reads the frames of pcap (draft-ietf-opsawg-pcap) and pcapng (draft-ietf-opsawg-pcapng) files as a stream.

Only the first bytes of a frame are kept, and only one block is held in memory. A malformed block ends the reading with
`Broken`, because no later block can be located. scapy's raw readers take 1.1 (pcapng) to 2 times (pcap) as long and do
not bound the memory for a block.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO, NamedTuple

from netcheck.addr import Address, Prefix
from netcheck.wire.capture import pcapng

HEAD = 64  # bytes of a frame that are used: Ethernet, three VLAN tags, and an ARP packet or the IPv4 addresses
LONGEST = 262_144  # bytes of a frame; capture programs keep no more (libpcap's largest snapshot length, from memory)
_LONGEST_BLOCK = 1 << 24  # bytes of a block that is kept; longer ones of other kinds are skipped
_MOST_INTERFACES = 4096

# Magic numbers by their first four bytes: byte order and ticks a second.
_PCAP = {
    b"\xd4\xc3\xb2\xa1": ("<", 10**6),
    b"\xa1\xb2\xc3\xd4": (">", 10**6),
    b"\x4d\x3c\xb2\xa1": ("<", 10**9),
    b"\xa1\xb2\x3c\x4d": (">", 10**9),
}
_SECTION = pcapng.SECTION.to_bytes(4)  # a palindrome: the same in both byte orders
_ORDERS = {pcapng.BYTE_ORDER.to_bytes(4, "little"): "<", pcapng.BYTE_ORDER.to_bytes(4, "big"): ">"}
_KEPT = {pcapng.INTERFACE, pcapng.OBSOLETE_PACKET, pcapng.SIMPLE_PACKET, pcapng.ENHANCED_PACKET}


class Broken(ValueError):
    """The file is malformed from here on; the text gives the reason."""


class Frame(NamedTuple):
    """One frame: whole seconds since 1970 in UTC (0 without a time), link type, first bytes."""

    seconds: int
    link: int
    head: bytes


@dataclass(slots=True)
class Capture:
    """A capture file that is being read; `nets` are the prefixes of its interfaces met so far."""

    stream: BinaryIO
    nets: list[Prefix] = field(default_factory=list)

    def frames(self) -> Iterator[Frame]:
        """Yield every frame; Broken where the file is malformed."""
        magic = self.stream.read(4)
        if magic in _PCAP:
            return self._pcap(*_PCAP[magic])
        return self._blocks(magic)

    def _take(self, size: int, what: str) -> bytes:
        data = self.stream.read(size)
        if len(data) < size:
            raise Broken(f"the file ends inside {what}")
        return data

    def _pcap(self, order: str, ticks: int) -> Iterator[Frame]:
        """Yield the frames of pcap records; the snapshot length is no limit, because some programs write 0 there."""
        link = struct.unpack(f"{order}I", self._take(20, "its header")[16:])[0] & 0xFFFF
        unpack, read = struct.Struct(f"{order}IIII").unpack, self.stream.read
        while record := read(16):
            if len(record) < 16:
                raise Broken("the file ends inside the head of a frame")
            seconds, _, kept, _ = unpack(record)
            if kept > LONGEST:
                raise Broken(f"a frame of {kept:,} bytes is announced, and none has more than {LONGEST:,}")
            data = read(kept)
            if len(data) < kept:
                raise Broken(f"the file ends after {len(data)} of a frame's {kept} bytes")
            yield Frame(seconds, link, data[:HEAD])

    def _blocks(self, kind: bytes) -> Iterator[Frame]:
        order, interfaces = "<", list[_Interface]()
        lengths, enhanced = struct.Struct("<I").unpack, struct.Struct("<IIIII").unpack_from
        while kind:
            size = self._take(4, "the head of a block")
            if kind == _SECTION:
                mark = self._take(4, "the head of a section")
                if mark not in _ORDERS:
                    raise Broken("a section has no valid byte order")
                order, interfaces = _ORDERS[mark], []
                self._body(order, size, 4)
                lengths, enhanced = struct.Struct(f"{order}I").unpack, struct.Struct(f"{order}IIIII").unpack_from
            else:
                number = lengths(kind)[0]
                body = self._body(order, size, 0, kept=number in _KEPT)
                if number == pcapng.ENHANCED_PACKET and len(body) >= 20:
                    yield _frame(interfaces, body, 20, *enhanced(body)[:4])
                elif number == pcapng.INTERFACE:
                    interfaces.append(self._interface(order, body, len(interfaces)))
                elif number in _KEPT:
                    yield _lesser_packet(order, number, body, interfaces)
            if 0 < len(kind := self.stream.read(4)) < 4:
                raise Broken("the file ends inside the head of a block")

    def _body(self, order: str, size: bytes, read: int, kept: bool = False) -> bytes:
        """Return a block's body, of which `read` bytes are consumed already; empty where it is not kept."""
        length = int.from_bytes(size, "little" if order == "<" else "big")
        if length < 12 + read or length % 4:  # section 3.1: type, length and length again, filled to four bytes
            raise Broken(f"a block has the impossible length of {length:,} bytes")
        if kept and length > _LONGEST_BLOCK:
            raise Broken(f"a block of {length:,} bytes is announced; at most {_LONGEST_BLOCK:,} are read")
        rest = length - 12 - read
        while rest > _LONGEST_BLOCK:
            self._take(_LONGEST_BLOCK, "a block")
            rest -= _LONGEST_BLOCK
        body = self._take(rest + 4, "a block")
        if body[rest:] != size:
            raise Broken("a block ends with another length than it begins with")
        return body[:rest] if kept else b""

    def _interface(self, order: str, body: bytes, known: int) -> _Interface:
        if len(body) < 8 or known >= _MOST_INTERFACES:
            raise Broken("an interface block is too short, or there are too many of them")
        link, _, _ = struct.unpack_from(f"{order}HHI", body)
        found = _Interface(link)
        for code, value in _options(order, body, 8):
            if code == pcapng.IPV4 and len(value) == 8:
                self._add_net(value)
            elif code == pcapng.RESOLUTION and value:  # a power of ten, or of two where the top bit is set
                found.ticks = 2 ** (value[0] & 127) if value[0] & 128 else 10 ** value[0]
            elif code == pcapng.OFFSET and len(value) == 8:
                found.offset = struct.unpack(f"{order}q", value)[0]
        return found

    def _add_net(self, value: bytes) -> None:
        mask = int.from_bytes(value[4:], "big")
        length = mask.bit_count()
        net = Prefix.of(Address(4, int.from_bytes(value[:4], "big")), length)
        if 8 <= length <= 30 and mask == 0xFFFFFFFF << (32 - length) & 0xFFFFFFFF and net not in self.nets[:64]:
            self.nets.append(net)


@dataclass(slots=True)
class _Interface:
    """An interface of a section: its link type and its clock."""

    link: int
    ticks: int = 10**6
    offset: int = 0  # seconds


def _options(order: str, body: bytes, at: int) -> Iterator[tuple[int, bytes]]:
    """Yield options with their codes, up to the first that is cut off."""
    while at + 4 <= len(body):
        code, length = struct.unpack_from(f"{order}HH", body, at)
        if code == pcapng.END or at + 4 + length > len(body):
            return
        yield code, body[at + 4 : at + 4 + length]
        at += 4 + length + (-length % 4)


def _lesser_packet(order: str, number: int, body: bytes, interfaces: list[_Interface]) -> Frame:
    """Return the frame of a simple packet block, which has no time, or of an obsolete packet block."""
    head = 4 if number == pcapng.SIMPLE_PACKET else 20
    if len(body) < head or number == pcapng.ENHANCED_PACKET:
        raise Broken(f"a packet block has only {len(body)} bytes")
    if number == pcapng.SIMPLE_PACKET:
        kept = min(struct.unpack_from(f"{order}I", body)[0], len(body) - head)
        return _frame(interfaces, body, head, 0, 0, 0, kept)
    index, _, high, low, kept, _ = struct.unpack_from(f"{order}HHIIII", body)
    return _frame(interfaces, body, head, index, high, low, kept)


def _frame(interfaces: list[_Interface], body: bytes, head: int, index: int, high: int, low: int, kept: int) -> Frame:
    if index >= len(interfaces):
        raise Broken(f"a frame names interface {index}, and the section describes {len(interfaces)}")
    if kept > len(body) - head:
        raise Broken(f"a frame of {kept:,} bytes does not fit into its block of {len(body):,}")
    interface = interfaces[index]
    ticks = high << 32 | low
    seconds = ticks // interface.ticks + interface.offset if ticks else 0
    return Frame(seconds, interface.link, body[head : head + min(kept, HEAD)])


def is_capture(head: bytes) -> bool:
    """Return whether a file with these first bytes is a capture."""
    return head[:4] in _PCAP or (head[:4] == _SECTION and head[8:12] in _ORDERS)
