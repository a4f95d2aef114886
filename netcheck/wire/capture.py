"""Capture files: reads pcap (draft-ietf-opsawg-pcap) and pcapng (draft-ietf-opsawg-pcapng), and writes pcapng.

The reader is a stream: only the first bytes of a frame are kept, and only one block is held in memory. A malformed
block ends the reading with `Broken`, because no later block can be located. scapy's raw readers take 1.1 times (pcapng)
to 2 times (pcap) as long, and set no limit on the memory for a block.

The writer makes one section, an interface block for each adapter, and an enhanced packet block for each frame. Each
block is written in one call, so that a process that dies leaves a readable file. Comments pass through `safe`, since
they may contain text from outside.
"""

from __future__ import annotations

import os
import struct
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, NamedTuple, Self

from netcheck import __version__
from netcheck.addr import Address, Prefix
from netcheck.errors import NetcheckError, UsageError
from netcheck.files import PCAP, PCAPNG
from netcheck.text import safe
from netcheck.wire.link import Adapter

# Block types: sections 4.1 to 4.5 and appendix A of the draft.
SECTION, INTERFACE, OBSOLETE_PACKET, SIMPLE_PACKET, ENHANCED_PACKET = 0x0A0D0D0A, 1, 2, 3, 6
BYTE_ORDER = 0x1A2B3C4D  # the magic number of a section, written in the byte order of the section
ETHERNET = 1  # link type: draft-ietf-opsawg-pcaplinktype

# Option codes by their names in the draft: for every block, for a section, an interface and an enhanced packet.
OPT_ENDOFOPT, OPT_COMMENT = 0, 1
SHB_USERAPPL = 4
IF_NAME, IF_IPV4ADDR, IF_MACADDR, IF_TSRESOL, IF_TSOFFSET = 2, 4, 6, 9, 14
EPB_FLAGS, INBOUND, OUTBOUND = 2, 1, 2  # the option, and its two values for the direction of a frame

HEAD = 64  # bytes of a frame that are used: Ethernet, three VLAN tags, and an ARP packet or the IPv4 addresses
# Bytes of a frame; capture programs keep no more (libpcap's largest snapshot length, from memory).
LONGEST_READ = 262_144
_LONGEST_BLOCK = 1 << 24  # bytes of a block that is read; a longer block of an unused kind is skipped
_MOST_INTERFACES = 4096

# The byte order and the ticks a second of each magic number.
_PCAP = dict(zip(PCAP, (("<", 10**6), (">", 10**6), ("<", 10**9), (">", 10**9)), strict=True))
_ORDERS = {BYTE_ORDER.to_bytes(4, "little"): "<", BYTE_ORDER.to_bytes(4, "big"): ">"}
_KEPT = {INTERFACE, OBSOLETE_PACKET, SIMPLE_PACKET, ENHANCED_PACKET}

LIMIT = 1 << 30  # bytes of a file; frames beyond it are counted but not written
LONGEST_WRITTEN = 1 << 16  # bytes kept of a frame

_NANOSECONDS = 9  # as a power of ten


class Broken(ValueError):
    """The file is malformed from here on; the text gives the reason."""


class Frame(NamedTuple):
    """One frame: its time as whole seconds since 1970 in UTC (0 if it has none), its link type, its first bytes."""

    seconds: int
    link: int
    head: bytes


@dataclass(slots=True)
class Capture:
    """A capture file that is being read; `nets` are the prefixes of the interfaces that were read so far."""

    stream: BinaryIO
    nets: list[Prefix] = field(default_factory=list)

    def frames(self) -> Iterator[Frame]:
        """Yield every frame; raise Broken at the first malformed byte."""
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
        """Yield the frames of pcap records; the snapshot length is ignored, because some programs write 0 there."""
        link = struct.unpack(f"{order}I", self._take(20, "its header")[16:])[0] & 0xFFFF
        unpack, read = struct.Struct(f"{order}IIII").unpack, self.stream.read
        while record := read(16):
            if len(record) < 16:
                raise Broken("the file ends inside the head of a frame")
            seconds, _, kept, _ = unpack(record)
            if kept > LONGEST_READ:
                raise Broken(f"a frame of {kept:,} bytes is announced; at most {LONGEST_READ:,} are read")
            data = read(kept)
            if len(data) < kept:
                raise Broken(f"the file ends after {len(data)} of a frame's {kept} bytes")
            yield Frame(seconds, link, data[:HEAD])

    def _blocks(self, kind: bytes) -> Iterator[Frame]:
        """Yield the frames of pcapng blocks; *kind* is the first four bytes of the file."""
        order, interfaces = "<", list[_Interface]()
        lengths, enhanced = struct.Struct("<I").unpack, struct.Struct("<IIIII").unpack_from
        while kind:
            size = self._take(4, "the head of a block")
            if kind == PCAPNG:
                mark = self._take(4, "the head of a section")
                if mark not in _ORDERS:
                    raise Broken("a section has no valid byte order")
                order, interfaces = _ORDERS[mark], []
                self._body(order, size, 4)
                lengths, enhanced = struct.Struct(f"{order}I").unpack, struct.Struct(f"{order}IIIII").unpack_from
            else:
                number = lengths(kind)[0]
                body = self._body(order, size, 0, kept=number in _KEPT)
                if number == ENHANCED_PACKET and len(body) >= 20:
                    yield _frame(interfaces, body, 20, *enhanced(body)[:4])
                elif number == INTERFACE:
                    interfaces.append(self._interface(order, body, len(interfaces)))
                elif number in _KEPT:
                    yield _lesser_packet(order, number, body, interfaces)
            if 0 < len(kind := self.stream.read(4)) < 4:
                raise Broken("the file ends inside the head of a block")

    def _body(self, order: str, size: bytes, read: int, kept: bool = False) -> bytes:
        """Return the body of a block after its first `read` bytes, which are read already; empty if it is not kept."""
        length = int.from_bytes(size, "little" if order == "<" else "big")
        if length < 12 + read or length % 4:  # section 3.1: type, length, length again; a multiple of four
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
        """Return the interface of an interface block; *known* is the number of interfaces of the section before it."""
        if len(body) < 8 or known >= _MOST_INTERFACES:
            raise Broken("an interface block is too short, or there are too many of them")
        link, _, _ = struct.unpack_from(f"{order}HHI", body)
        found = _Interface(link)
        for code, value in _options(order, body, 8):
            if code == IF_IPV4ADDR and len(value) == 8:
                self._add_net(value)
            elif code == IF_TSRESOL and value:  # a power of ten, or of two if the top bit is set
                found.ticks = 2 ** (value[0] & 127) if value[0] & 128 else 10 ** value[0]
            elif code == IF_TSOFFSET and len(value) == 8:
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
        if code == OPT_ENDOFOPT or at + 4 + length > len(body):
            return
        yield code, body[at + 4 : at + 4 + length]
        at += 4 + length + (-length % 4)


def _lesser_packet(order: str, number: int, body: bytes, interfaces: list[_Interface]) -> Frame:
    """Return the frame of a simple packet block, which has no time, or of an obsolete packet block."""
    head = 4 if number == SIMPLE_PACKET else 20
    if len(body) < head or number == ENHANCED_PACKET:
        raise Broken(f"a packet block has only {len(body)} bytes")
    if number == SIMPLE_PACKET:
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
    return head[:4] in _PCAP or (head[:4] == PCAPNG and head[8:12] in _ORDERS)


class CaptureWriter:
    """A capture file that is being written.

    `left_out` counts the frames that were not written. `problem` says why writing ended early, for example that the
    disk is full; it is "" otherwise. A failed capture never ends a proof.
    """

    def __init__(self, path: Path, adapters: Sequence[Adapter], limit: int = LIMIT) -> None:
        """Create the file; raise UsageError if it exists or cannot be created."""
        self.left_out = 0
        self.problem = ""
        self._limit = limit
        self._size = 0
        self._file = _created(path)
        self._write(_section_block(adapters))
        if self.problem:
            self.close()
            raise UsageError.of(f"the capture cannot be written: {self.problem}", where=safe(str(path)))

    def frame(self, at_unix_seconds: float, adapter: int, frame: bytes, outbound: bool, comment: str = "") -> None:
        """Add a frame, with its time on the wall clock and a comment."""
        block = _packet_block(at_unix_seconds, adapter, frame, outbound, comment)
        if self._file < 0 or self._size + len(block) > self._limit:
            self.left_out += 1
        else:
            self._write(block)

    def _write(self, block: bytes) -> None:
        """Write a block; if that fails, remove the incomplete block and stop writing."""
        try:
            if os.write(self._file, block) == len(block):
                self._size += len(block)
                return
            self.problem = "the disk is full"
        except OSError as error:
            self.problem = error.strerror or str(error)
        self.left_out += 1
        try:
            os.ftruncate(self._file, self._size)
        finally:
            self.close()

    def close(self) -> None:
        """Write the file to the disk and close it; safe to call twice."""
        if self._file >= 0:
            file, self._file = self._file, -1
            try:
                os.fsync(file)
            except OSError as error:
                self.problem = self.problem or error.strerror or str(error)
            finally:
                os.close(file)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _created(path: Path) -> int:
    """Create the capture file and return its descriptor; raise UsageError if it exists or cannot be created."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
    try:
        return os.open(path, flags, 0o644)
    except FileExistsError as error:
        raise _refused(path, "the capture file exists already and is not overwritten", "Name another file") from error
    except FileNotFoundError as error:
        raise _refused(
            path, "the folder of the capture does not exist", "Create the folder, or name another file"
        ) from error
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _refused(path, f"the capture file cannot be created: {why}", "Name another file") from error


def _refused(path: Path, what: str, do: str) -> NetcheckError:
    return UsageError.of(what, where=safe(str(path)), do=do)


def _block(kind: int, body: bytes, options: bytes) -> bytes:
    """Return a block: type, length, body, options, and the length again, in the byte order of this machine."""
    length = 12 + len(body) + len(options)
    return struct.pack("=II", kind, length) + body + options + struct.pack("=I", length)


def _option(code: int, value: bytes) -> bytes:
    return struct.pack("=HH", code, len(value)) + _filled(value)


def _filled(value: bytes) -> bytes:
    """Return the value, filled up to a multiple of four bytes."""
    return value + b"\0" * (-len(value) % 4)


def _section_block(adapters: Sequence[Adapter]) -> bytes:
    section = struct.pack("=IHHq", BYTE_ORDER, 1, 0, -1)  # version 1.0, length not known
    options = _option(SHB_USERAPPL, f"netcheck {__version__}".encode()) + _option(OPT_ENDOFOPT, b"")
    return _block(SECTION, section, options) + b"".join(map(_interface_block, adapters))


def _interface_block(adapter: Adapter) -> bytes:
    options = _option(IF_NAME, safe(adapter.name, 60).encode()) + _option(IF_MACADDR, adapter.mac.to_bytes(6, "big"))
    options += _option(IF_TSRESOL, bytes([_NANOSECONDS]))
    for address, length in adapter.addresses:
        mask = 0xFFFFFFFF << (32 - length) & 0xFFFFFFFF
        options += _option(IF_IPV4ADDR, address.to_bytes(4, "big") + mask.to_bytes(4, "big"))
    return _block(INTERFACE, struct.pack("=HHI", ETHERNET, 0, LONGEST_WRITTEN), options + _option(OPT_ENDOFOPT, b""))


def _packet_block(at: float, adapter: int, frame: bytes, outbound: bool, comment: str) -> bytes:
    stamp = max(0, round(at * 1_000_000_000))
    kept = frame[:LONGEST_WRITTEN]
    head = struct.pack("=IIIII", adapter, stamp >> 32 & 0xFFFFFFFF, stamp & 0xFFFFFFFF, len(kept), len(frame))
    options = _option(OPT_COMMENT, safe(comment).encode()) if comment else b""
    options += _option(EPB_FLAGS, (OUTBOUND if outbound else INBOUND).to_bytes(4, sys.byteorder))
    return _block(ENHANCED_PACKET, head + _filled(kept), options + _option(OPT_ENDOFOPT, b""))
