"""Round-trip times of a port as a small chart: for each phase a line from the least to the most, a mark at the median.

Pure; lengths are in the drawing's own units. Figures that no prober would write give no chart.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import floor, isfinite, log10

from netcheck.proof.result import Phase, Proof, Rtt

LEFT, PLOT, RIGHT = 40, 200, 46  # before the scale, the scale, behind it for its last figure
ROW, FOOT = 16, 16  # a phase, and the figures of the scale
LONGEST = 1e9  # milliseconds; beyond it nothing is drawn


@dataclass(frozen=True, slots=True)
class Line:
    """One phase: where the least, the median and the most stand from left, and the height of its row."""

    phase: Phase
    least: int
    median: int
    most: int
    y: int


@dataclass(frozen=True, slots=True)
class Chart:
    """The lines, the figure at the end of the scale (it begins at 0), and the chart in words."""

    lines: tuple[Line, ...]
    end: str
    words: str

    @property
    def width(self) -> int:
        """The width of the drawing."""
        return LEFT + PLOT + RIGHT

    @property
    def foot(self) -> int:
        """How far down the scale stands."""
        return ROW * len(self.lines)

    @property
    def height(self) -> int:
        """The height of the drawing."""
        return self.foot + FOOT


def chart_of(proof: Proof) -> Chart | None:
    """Draw the phases that have round-trip times; None where there are none."""
    timed = [(phase, seen.rtt) for phase, seen in proof.phases if seen.rtt is not None and _plausible(seen.rtt)]
    if not timed:
        return None
    end = _scale(max(rtt.max for _, rtt in timed))
    lines = tuple(
        Line(phase, _across(rtt.min, end), _across(rtt.median, end), _across(rtt.max, end), row * ROW)
        for row, (phase, rtt) in enumerate(timed)
    )
    told = (f"{phase} {rtt.min:.3g} to {rtt.max:.3g}, median {rtt.median:.3g}" for phase, rtt in timed)
    return Chart(lines, f"{end:g} ms", f"Round trip in ms: {'; '.join(told)}")


def _across(value: float, end: float) -> int:
    return round(LEFT + PLOT * value / end)


def _plausible(rtt: Rtt) -> bool:
    return all(map(isfinite, (rtt.min, rtt.median, rtt.max))) and 0 <= rtt.min <= rtt.median <= rtt.max <= LONGEST


def _scale(most: float) -> float:
    """The least of 1, 2 or 5 times a power of ten that is no less than `most`; at least 0.01."""
    if most <= 0.01:
        return 0.01
    power = floor(log10(most))
    steps = (digit * 10.0**exponent for exponent, digit in product((power, power + 1), (1, 2, 5)))
    return next(step for step in steps if step >= most)
