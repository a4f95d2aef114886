"""Wall-clock stamps are converted to the link's clock, also if the wall clock is set or a stamp is wrong."""

from __future__ import annotations

import time

import pytest

from netcheck.wire.clock import Clock, wall_distance


def stamp_of(at: float) -> int:
    """Return the nanoseconds of the wall clock at a time of the link's clock."""
    return time.time_ns() - round((time.monotonic() - at) * 1e9)


def test_a_true_stamp_is_told_to_within_a_tenth_of_a_millisecond() -> None:
    """The difference between the clocks is subtracted."""
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
    """The difference measured for the previous batch applies to it, and the new one to later stamps."""
    two_hours = 7_200_000_000_000
    distances = [wall_distance(), wall_distance() + two_hours]
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
