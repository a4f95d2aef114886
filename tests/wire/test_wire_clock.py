"""Wall-clock stamps are converted to the link's clock, also if the wall clock is set or a stamp is wrong; suspends."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from netcheck.wire.clock import SHORTEST, Clock, SuspendDetector, suspended_seconds, wall_clock_offset
from netcheck.wire.link import Suspended


def stamp_of(at: float) -> int:
    """Return the nanoseconds of the wall clock at a time of the link's clock."""
    return time.time_ns() - round((time.monotonic() - at) * 1e9)


def test_a_true_stamp_is_converted_to_within_a_tenth_of_a_millisecond() -> None:
    """The difference between the two clocks is subtracted from it."""
    clock = Clock()
    clock.measure()
    now = clock.now()
    told = [clock.at(stamp_of(now - ago), now - 1, now) for ago in (0.5, 0.001, 0.0)]
    assert told == pytest.approx([now - 0.5, now - 0.001, now], abs=1e-4)


@pytest.mark.parametrize("error", [-3600.0, -2.0, 0.02, 3600.0], ids=lambda error: f"{error} s")
def test_an_impossible_stamp_counts_as_just_now(error: float) -> None:
    """A stamp from before the queue was last empty, or from the future, gives the time of reading."""
    clock = Clock()
    now = clock.now()
    assert clock.at(stamp_of(now + error), now - 1, now) == now


def test_a_stamp_from_before_the_wall_clock_was_set() -> None:
    """The difference of the previous batch applies to it; the new difference applies to later stamps."""
    two_hours = 7_200_000_000_000
    distances = [wall_clock_offset(), wall_clock_offset() + two_hours]
    clock = Clock(iter(distances).__next__)
    now = clock.now()
    stamp = stamp_of(now - 0.3)
    clock.measure()
    assert clock.at(stamp, now - 1, now) == pytest.approx(now - 0.3, abs=1e-3)
    assert clock.at(stamp + two_hours, now - 1, now) == pytest.approx(now - 0.3, abs=1e-3)


def test_it_never_goes_back() -> None:
    """The clock is monotonic."""
    clock = Clock()
    times = [clock.now() for _ in range(1000)]
    assert times == sorted(times)


@pytest.mark.parametrize(
    ("totals", "reports"),
    [
        pytest.param([0.0, 0.0, 0.0], [[], []], id="never suspended"),
        pytest.param([100.0, 130.5, 130.5], [[Suspended(0.0, 30.5)], []], id="reported once"),
        pytest.param([0.0, 5.0, 9.0], [[Suspended(0.0, 5.0)], [Suspended(1.0, 4.0)]], id="twice"),
        pytest.param([0.0, SHORTEST / 2, 0.0], [[], []], id="inaccuracy of reading two clocks"),
        pytest.param([None, None, None], [[], []], id="a system that does not tell"),
        pytest.param([0.0, None, 5.0], [[], [Suspended(1.0, 5.0)]], id="one reading failed"),
    ],
)
def test_each_suspend_is_reported_once(totals: list[float | None], reports: list[list[Suspended]]) -> None:
    """The first value is read when the detector is made, the others at each call."""
    values = iter(totals)
    detector = SuspendDetector(lambda: next(values))
    assert [detector.suspends(float(number)) for number in range(len(reports))] == reports


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_the_suspended_seconds_agree_with_the_uptime() -> None:
    """/proc/uptime counts suspended time, as CLOCK_BOOTTIME does (proc(5)); the monotonic clock does not."""
    uptime = float(Path("/proc/uptime").read_text(encoding="ascii").split()[0])
    told = suspended_seconds()
    assert told is not None
    assert told == pytest.approx(uptime - time.monotonic(), abs=0.1)
