"""Detection of a suspend, with an injected difference of clocks and with the system's own."""

from __future__ import annotations

import sys

import pytest

from netcheck.wire.link import Suspended
from netcheck.wire.suspend import SHORTEST, SuspendDetector, suspended_seconds


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
    """The first value is read when the detector is made, the others at each look."""
    values = iter(totals)
    detector = SuspendDetector(lambda: next(values))
    assert [detector.look(float(number)) for number in range(len(reports))] == reports


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_the_system_tells_the_same_as_the_boot_clock() -> None:
    """/proc/uptime counts suspended time, as CLOCK_BOOTTIME does (proc(5)); the monotonic clock does not."""
    import time
    from pathlib import Path

    uptime = float(Path("/proc/uptime").read_text(encoding="ascii").split()[0])
    told = suspended_seconds()
    assert told is not None
    assert told == pytest.approx(uptime - time.monotonic(), abs=0.1)
