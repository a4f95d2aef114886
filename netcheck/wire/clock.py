"""The clock of a link: it never goes back, converts wall-clock time stamps, and detects suspends.

The clock is CLOCK_MONOTONIC. On Windows it is the performance counter, because Python's monotonic clock advances there
in steps of 16 ms, which is longer than a round trip.

The kernel stamps frames by the wall clock, which can be set while a proof runs. Therefore the difference between the
two clocks is measured for each batch of frames, and an impossible stamp is replaced.

A suspended laptop hears nothing, and its adapter renegotiates the link when the laptop resumes. Silence and carrier
changes around that moment are not evidence. Two other clocks of the system show a suspend: only one of them counts the
suspended time.
"""

from __future__ import annotations

import ctypes
import sys
import time
from collections.abc import Callable

from netcheck.wire.link import Suspended

TOLERANCE = 0.01  # seconds that a stamp may lie outside the possible range before it counts as wrong
_COUNTER_NS = time.perf_counter_ns if sys.platform == "win32" else time.monotonic_ns
SHORTEST = 0.2  # seconds; a smaller step is not a suspend but the error of reading two clocks
_STEADY = 2_000  # nanoseconds; a measurement that took longer was interrupted, and is repeated


class Clock:
    """Converts time stamps to the link's clock. Each link has one."""

    def __init__(self, measured: Callable[[], int] | None = None) -> None:
        """`measured` returns the nanoseconds from the link's clock to the wall clock."""
        self._measured = measured or wall_clock_offset
        self._offset = self._before = self._measured()

    def now(self) -> float:
        """Return the seconds on the link's clock."""
        return _COUNTER_NS() / 1e9

    def measure(self) -> None:
        """Measure the difference to the wall clock. Call it before each batch of stamps is converted."""
        self._before, self._offset = self._offset, self._measured()

    def at(self, stamp: int, earliest: float, latest: float) -> float:
        """Return the time of a stamp, given in nanoseconds of the wall clock, on the link's clock.

        The frame arrived between `earliest` and `latest`. If a stamp outside that range fits the previous difference,
        it was taken before the wall clock was set, and that difference applies. Otherwise the stamp is wrong, as the
        first stamps of a socket can be, and `latest` is returned.
        """
        for offset in (self._offset, self._before):
            at = (stamp - offset) / 1e9
            if earliest - TOLERANCE <= at <= latest + TOLERANCE:
                return min(at, latest)
        return latest


def wall_clock_offset() -> int:
    """Return how many nanoseconds the wall clock is ahead of the monotonic clock: the best of up to five readings."""
    best, width = 0, -1
    for _ in range(5):
        before, wall, after = _COUNTER_NS(), time.time_ns(), _COUNTER_NS()
        if width < 0 or after - before < width:
            best, width = wall - (before + after) // 2, after - before
        if width < _STEADY:
            break
    return best


def suspended_seconds() -> float | None:
    """Return the seconds for which this computer was suspended since its start; None if they are not known."""
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
        """Return how far one clock is ahead of another: the largest of three lower bounds.

        Each bound is too low if the process was interrupted between its two readings.
        """
        return max(time.clock_gettime(whole) - time.clock_gettime(awake) for _ in range(3))


class SuspendDetector:
    """Reports each suspend once; reports none if the system does not count suspended time."""

    def __init__(self, measured: Callable[[], float | None] = suspended_seconds) -> None:
        """`measured` returns the seconds for which the computer was suspended since its start, or None."""
        self._measured = measured
        self._total = measured()

    def suspends(self, now: float) -> list[Suspended]:
        """Return the suspend since the last call, if there was one."""
        total = self._measured()
        if total is None or self._total is None or total - self._total < SHORTEST:
            return []
        seconds, self._total = total - self._total, total
        return [Suspended(now, seconds)]
