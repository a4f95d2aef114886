"""Lays out a small chart of a port's round-trip times: a line from minimum to maximum a phase, a dot at the median.

Lengths are in units of the drawing. Implausible figures give no chart.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import floor, isfinite, log10

from netcheck.proof.result import Phase, Proof, Rtt

LEFT, PLOT, RIGHT = 40, 200, 46  # left of the scale, the scale, right of it for its last figure
ROW, FOOT = 16, 16  # height of a phase, and of the scale's figures
LONGEST = 1e9  # milliseconds; larger values are not drawn


@dataclass(frozen=True, slots=True)
class Line:
    """One phase: horizontal positions of minimum, median and maximum, and the top of its row."""

    phase: Phase
    least: int
    median: int
    most: int
    y: int


@dataclass(frozen=True, slots=True)
class Chart:
    """The lines, the figure at the end of the scale (which starts at 0), and the chart in words."""

    lines: tuple[Line, ...]
    end: str
    words: str

    @property
    def width(self) -> int:
        """Return the width of the drawing."""
        return LEFT + PLOT + RIGHT

    @property
    def foot(self) -> int:
        """Return the vertical position of the scale."""
        return ROW * len(self.lines)

    @property
    def height(self) -> int:
        """Return the height of the drawing."""
        return self.foot + FOOT


def chart_of(proof: Proof) -> Chart | None:
    """Return the chart of the phases that have round-trip times, or None."""
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
    """Return the smallest of 1, 2 or 5 times a power of ten that is not below *most*; at least 0.01."""
    if most <= 0.01:
        return 0.01
    power = floor(log10(most))
    steps = (digit * 10.0**exponent for exponent, digit in product((power, power + 1), (1, 2, 5)))
    return next(step for step in steps if step >= most)
