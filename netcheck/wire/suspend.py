"""Detection of a suspend of this computer, by two clocks of which only one counts the suspended time.

A laptop that was suspended heard nothing meanwhile, and its adapter renegotiates the link when it resumes. Silence and
carrier changes around that moment are no evidence.
"""

from __future__ import annotations

import ctypes
import sys
import time
from collections.abc import Callable

from netcheck.wire.link import Suspended

SHORTEST = 0.2  # seconds; a smaller step of the difference is the inaccuracy of reading two clocks


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
