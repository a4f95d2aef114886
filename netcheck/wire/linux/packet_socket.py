"""Options of Linux packet sockets: filter, buffer, group membership, time stamps and drop statistics.

The numbers that Python's socket module lacks are those of asm/socket.h and linux/if_packet.h.
"""

from __future__ import annotations

import ctypes
import errno
import socket
import struct

BUFFER = 4 << 20  # bytes; the default keeps 256 of 1,022 replies at once, 1 MiB keeps all (measured, Linux 6.18)
SEND_TIMEOUT = 100_000  # microseconds that a send may wait for room in the queue

_ALL_PROTOCOLS = 0x0003  # ETH_P_ALL
_SO_ATTACH_FILTER, _SO_RCVBUFFORCE, _SO_MEMINFO = 26, 33, 55
_SO_TIMESTAMPNS = 64  # SO_TIMESTAMPNS_NEW: 64 bit on every machine, Linux 5.1
_SOL_PACKET, _ADD_MEMBERSHIP, _STATISTICS, _IGNORE_OUTGOING = 263, 1, 6, 23
_MR_MULTICAST, _MR_PROMISCUOUS = 0, 1
_LLDP_GROUPS = (0x0180C200000E, 0x0180C2000003, 0x0180C2000000)  # IEEE 802.1AB
_MEMINFO_DROPS = 8  # SK_MEMINFO_DROPS of linux/sock_diag.h

_STAMP = struct.Struct("=qq")  # seconds, nanoseconds
STAMP_ROOM = socket.CMSG_SPACE(_STAMP.size) if hasattr(socket, "CMSG_SPACE") else 0


def open_packet_socket(name: str, index: int, program: bytes, *, promiscuous: bool = False) -> socket.socket:
    """Open a packet socket on an interface and attach a BPF program; raise OSError if that fails.

    The protocol is 0 until the socket is bound: no frame is queued before the filter is attached.
    """
    packets = socket.socket(socket.AF_PACKET, socket.SOCK_RAW | socket.SOCK_CLOEXEC, 0)
    try:
        _attach(packets, program)
        enable_stamps(packets)
        packets.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("@ll", 0, SEND_TIMEOUT))
        enlarge_buffer(packets)
        _try(packets, _SOL_PACKET, _IGNORE_OUTGOING, struct.pack("=i", 1))  # Linux 4.20; the filter drops them too
        join_lldp_groups(packets, index)
        if promiscuous:
            _join(packets, index, _MR_PROMISCUOUS, 0)
        packets.bind((name, _ALL_PROTOCOLS))
        if socket.if_nametoindex(name) != index:
            raise OSError(errno.ENODEV, "the interface was replaced while it was opened")
    except OSError:
        packets.close()
        raise
    return packets


def _attach(packets: socket.socket, program: bytes) -> None:
    kept = ctypes.create_string_buffer(program)
    where = struct.pack("@HP", len(program) // 8, ctypes.addressof(kept))  # struct sock_fprog
    packets.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, where)


def enlarge_buffer(of: socket.socket) -> None:
    """Request a receive buffer of `BUFFER` bytes; without CAP_NET_ADMIN the kernel grants at most its limit."""
    if not _try(of, socket.SOL_SOCKET, _SO_RCVBUFFORCE, struct.pack("=i", BUFFER)):
        _try(of, socket.SOL_SOCKET, socket.SO_RCVBUF, struct.pack("=i", BUFFER))


def join_lldp_groups(packets: socket.socket, index: int) -> None:
    """Let the interface receive frames to the group addresses of LLDP while the socket is open."""
    for group in _LLDP_GROUPS:
        _join(packets, index, _MR_MULTICAST, group)


def _join(packets: socket.socket, index: int, kind: int, group: int) -> None:
    member = struct.pack("=iHH8s", index, kind, 6, group.to_bytes(6, "big"))
    _try(packets, _SOL_PACKET, _ADD_MEMBERSHIP, member)


def _try(of: socket.socket, level: int, option: int, value: bytes) -> bool:
    try:
        of.setsockopt(level, option, value)
    except OSError:
        return False
    return True


def enable_stamps(of: socket.socket) -> None:
    """Let the kernel stamp the frames that arrive on a socket. If it cannot, the time of reading is used."""
    _try(of, socket.SOL_SOCKET, _SO_TIMESTAMPNS, struct.pack("=i", 1))


def stamp_in(ancillary: list[tuple[int, int, bytes]]) -> int | None:
    """Return the kernel's time stamp among a frame's ancillary data, in nanoseconds of the wall clock, or None."""
    for level, kind, data in ancillary:
        if level == socket.SOL_SOCKET and kind == _SO_TIMESTAMPNS and len(data) == _STAMP.size:
            seconds, nanoseconds = _STAMP.unpack(data)
            return int(seconds) * 1_000_000_000 + int(nanoseconds)
    return None


def dropped_since(packets: socket.socket) -> int:
    """Return how many frames the kernel dropped on a packet socket since the last call, because its queue was full."""
    try:
        _, drops = struct.unpack("=II", packets.getsockopt(_SOL_PACKET, _STATISTICS, 8))
    except OSError:
        return 0
    return int(drops)


def dropped_in_all(of: socket.socket) -> int:
    """Return how many messages the kernel dropped on any socket since it was opened, because its queue was full."""
    try:
        said = of.getsockopt(socket.SOL_SOCKET, _SO_MEMINFO, 4 * (_MEMINFO_DROPS + 1))
    except OSError:
        return 0
    return struct.unpack_from("=I", said, 4 * _MEMINFO_DROPS)[0] if len(said) > 4 * _MEMINFO_DROPS else 0
