"""The link's clock, which never goes back, and stamps of the wall clock told on it.

The clock is CLOCK_MONOTONIC. The kernel stamps frames by the wall clock, which can be set while a proof runs; so the
distance between the two is measured anew for each batch of frames, and a stamp that cannot be true is mended.
"""

from __future__ import annotations

import socket
import struct
import time
from collections.abc import Callable

TOLERANCE = 0.01  # seconds a stamp may lie outside what is possible before it counts as wrong
_STEADY = 2_000  # nanoseconds: a measurement that took longer was interrupted, and is tried again

_SO_TIMESTAMPNS = 64  # asm-generic/socket.h, SO_TIMESTAMPNS_NEW: 64 bit on every machine, Linux 5.1
_STAMP = struct.Struct("=qq")  # seconds, nanoseconds
ROOM = socket.CMSG_SPACE(_STAMP.size) if hasattr(socket, "CMSG_SPACE") else 0


def stamps_on(of: socket.socket) -> bool:
    """Have the kernel stamp what arrives on a socket; False where it cannot, and the time of reading must do."""
    try:
        of.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
    except OSError:
        return False
    return True


def stamp_in(extras: list[tuple[int, int, bytes]]) -> int | None:
    """The stamp among what came beside a frame, in nanoseconds of the wall clock."""
    for level, kind, data in extras:
        if level == socket.SOL_SOCKET and kind == _SO_TIMESTAMPNS and len(data) == _STAMP.size:
            seconds, nanoseconds = _STAMP.unpack(data)
            return int(seconds) * 1_000_000_000 + int(nanoseconds)
    return None


class Clock:
    """Turns stamps into times of the link's clock. One for each link."""

    def __init__(self, measured: Callable[[], int] | None = None) -> None:
        """`measured` gives the nanoseconds from the link's clock to the wall clock."""
        self._measured = measured or wall_distance
        self._distance = self._before = self._measured()

    def now(self) -> float:
        """Seconds on the link's clock."""
        return time.monotonic()

    def measure(self) -> None:
        """Measure the distance to the wall clock; to be called before a batch of stamps is told."""
        self._before, self._distance = self._distance, self._measured()

    def at(self, stamp: int, earliest: float, latest: float) -> float:
        """The time of a stamp in nanoseconds of the wall clock, known to lie between two times.

        A stamp that does not lie there was taken before the wall clock was set, and is told by the distance of then;
        or it is wrong (a socket's first ones can be), and the latest time is the honest one.
        """
        for distance in (self._distance, self._before):
            at = (stamp - distance) / 1e9
            if earliest - TOLERANCE <= at <= latest + TOLERANCE:
                return min(at, latest)
        return latest


def wall_distance() -> int:
    """Nanoseconds from the monotonic to the wall clock, the steadiest of up to five measurements."""
    best, width = 0, -1
    for _ in range(5):
        before, wall, after = time.monotonic_ns(), time.time_ns(), time.monotonic_ns()
        if width < 0 or after - before < width:
            best, width = wall - (before + after) // 2, after - before
        if width < _STEADY:
            break
    return best
