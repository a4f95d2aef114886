"""The clock of a link, which never goes back; the conversion of wall-clock time stamps to it; and suspends.

The clock is CLOCK_MONOTONIC; on Windows the performance counter, since Python's monotonic clock advances there in steps
of 16 ms, which is more than a round trip takes.

The kernel stamps frames by the wall clock, which can be set while a proof runs. So the difference between the two
clocks is measured for each batch of frames, and an impossible stamp is replaced.

A laptop that was suspended heard nothing meanwhile, and its adapter renegotiates the link when it resumes. Silence and
carrier changes around that moment are no evidence. A suspend shows in two other clocks, of which only one counts the
suspended time.
"""

from __future__ import annotations

import ctypes
import sys
import time
from collections.abc import Callable

from netcheck.wire.link import Suspended

TOLERANCE = 0.01  # seconds that a stamp may lie outside the possible range before it is taken for wrong
_COUNTER_NS = time.perf_counter_ns if sys.platform == "win32" else time.monotonic_ns
SHORTEST = 0.2  # seconds of a suspend; a smaller step of the difference is the inaccuracy of reading two clocks
_STEADY = 2_000  # nanoseconds: a measurement that took longer was interrupted, and is repeated


class Clock:
    """Converts time stamps to the link's clock. Each link has one."""

    def __init__(self, measured: Callable[[], int] | None = None) -> None:
        """`measured` returns the nanoseconds from the link's clock to the wall clock."""
        self._measured = measured or wall_distance
        self._distance = self._before = self._measured()

    def now(self) -> float:
        """Return the seconds on the link's clock."""
        return _COUNTER_NS() / 1e9

    def measure(self) -> None:
        """Measure the difference to the wall clock. Call it before each batch of stamps is converted."""
        self._before, self._distance = self._distance, self._measured()

    def at(self, stamp: int, earliest: float, latest: float) -> float:
        """Return the time of a stamp, given in nanoseconds of the wall clock, on the link's clock.

        The frame arrived between `earliest` and `latest`. A stamp outside that range was taken before the wall clock
        was set, and the previous difference applies; or it is wrong (the first stamps of a socket can be), and
        `latest` is returned.
        """
        for distance in (self._distance, self._before):
            at = (stamp - distance) / 1e9
            if earliest - TOLERANCE <= at <= latest + TOLERANCE:
                return min(at, latest)
        return latest


def wall_distance() -> int:
    """Return the nanoseconds from the monotonic clock to the wall clock: the best of up to five measurements."""
    best, width = 0, -1
    for _ in range(5):
        before, wall, after = _COUNTER_NS(), time.time_ns(), _COUNTER_NS()
        if width < 0 or after - before < width:
            best, width = wall - (before + after) // 2, after - before
        if width < _STEADY:
            break
    return best


def suspended_seconds() -> float | None:
    """Return the seconds that this computer has been suspended since it started; None if the system does not tell."""
    if sys.platform == "win32":
        return _suspended_on_windows()
    elif sys.platform == "darwin":  # noqa: RET505  # the type checker judges the branches by system
        # clock_gettime(3): CLOCK_UPTIME_RAW stops while asleep, CLOCK_MONOTONIC_RAW does not
        return _difference(time.CLOCK_MONOTONIC_RAW, time.CLOCK_UPTIME_RAW)
    elif sys.platform == "linux":  # clock_gettime(2): CLOCK_BOOTTIME counts suspended time, CLOCK_MONOTONIC does not
        return _difference(time.CLOCK_BOOTTIME, time.CLOCK_MONOTONIC)
    else:
        return None


if sys.platform == "win32":

    def _suspended_on_windows() -> float:
        """GetTickCount64 counts suspended time, in milliseconds; QueryUnbiasedInterruptTime does not, in 100 ns."""
        kernel32 = ctypes.WinDLL("kernel32")
        kernel32.GetTickCount64.restype = ctypes.c_ulonglong
        awake = ctypes.c_ulonglong()
        whole = kernel32.GetTickCount64() / 1e3
        kernel32.QueryUnbiasedInterruptTime(ctypes.byref(awake))
        return float(whole - awake.value / 1e7)

else:

    def _difference(whole: int, awake: int) -> float:
        """Return how far one clock is ahead of another: the largest of three lower bounds, since the process can be
        interrupted between two readings."""
        return max(time.clock_gettime(whole) - time.clock_gettime(awake) for _ in range(3))


class SuspendDetector:
    """Reports each suspend once. Where the system does not tell, it reports nothing."""

    def __init__(self, measured: Callable[[], float | None] = suspended_seconds) -> None:
        """`measured` returns the seconds suspended so far."""
        self._measured = measured
        self._total = measured()

    def look(self, now: float) -> list[Suspended]:
        """Return the suspend since the last look, if there was one."""
        total = self._measured()
        if total is None or self._total is None or total - self._total < SHORTEST:
            return []
        seconds, self._total = total - self._total, total
        return [Suspended(now, seconds)]
