"""The clock of a link, which never goes back, and the conversion of wall-clock time stamps to it.

The clock is CLOCK_MONOTONIC; on Windows the performance counter, since Python's monotonic clock advances there in steps
of 16 ms, which is more than a round trip takes.

The kernel stamps frames by the wall clock, which can be set while a proof runs. So the difference between the two
clocks is measured for each batch of frames, and an impossible stamp is replaced.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

TOLERANCE = 0.01  # seconds that a stamp may lie outside the possible range before it is taken for wrong
_COUNTER_NS = time.perf_counter_ns if sys.platform == "win32" else time.monotonic_ns
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
