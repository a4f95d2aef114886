"""Lays out a small chart of a port's round-trip times: each phase has a line from minimum to maximum.

A dot marks the median. All charts of a report have one logarithmic scale, so that ports can be compared. Lengths are in
units of the drawing. A proof with implausible times has no chart.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10

from netcheck.proof.result import Phase, Proof, Rtt

LEFT, PLOT, RIGHT = 40, 200, 46  # widths: left of the scale, the scale, and right of it for its last figure
ROW, FOOT = 16, 16  # heights: a phase, and the figures of the scale
LONGEST = 1e9  # milliseconds; larger values are not drawn
SHORTEST = 1e-3  # milliseconds; a shorter time is drawn as this one, because clocks resolve a microsecond
MOST_TICKS = 5


@dataclass(frozen=True, slots=True)
class Tick:
    """One figure of the scale and its horizontal position."""

    x: int
    words: str


@dataclass(frozen=True, slots=True)
class Scale:
    """A logarithmic scale from ten to the power of `low` to ten to the power of `high` milliseconds."""

    low: int
    high: int

    def across(self, value: float) -> int:
        """Return the horizontal position of a time."""
        share = (log10(max(value, SHORTEST)) - self.low) / (self.high - self.low)
        return round(LEFT + PLOT * min(1.0, max(0.0, share)))

    @property
    def ticks(self) -> tuple[Tick, ...]:
        """Return the powers of ten, at most `MOST_TICKS` of them; the last one names the unit."""
        step = ceil((self.high - self.low) / (MOST_TICKS - 1))
        powers = range(self.high, self.low - 1, -step)
        return tuple(
            Tick(self.across(10.0**power), f"{10.0**power:g}{' ms' if power == self.high else ''}")
            for power in reversed(powers)
        )


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
    """The lines, the figures of the scale, and the chart in words."""

    lines: tuple[Line, ...]
    ticks: tuple[Tick, ...]
    words: str
    left: int = LEFT
    right: int = LEFT + PLOT
    width: int = LEFT + PLOT + RIGHT

    @property
    def foot(self) -> int:
        """Return the vertical position of the scale."""
        return ROW * len(self.lines)

    @property
    def height(self) -> int:
        """Return the height of the drawing."""
        return self.foot + FOOT


def scale_of(proofs: Iterable[Proof]) -> Scale:
    """Return the scale that holds the round-trip times of all proofs, in whole powers of ten."""
    times = [time for proof in proofs for _, rtt in _timed(proof) for time in (rtt.min, rtt.max)]
    shortest = max(SHORTEST, min(times, default=1.0))
    low = floor(log10(shortest))
    high = ceil(log10(max(SHORTEST, *times))) if times else 0
    return Scale(low, max(high, low + 1))


def chart_of(proof: Proof, scale: Scale) -> Chart | None:
    """Return the chart of the phases that have round-trip times, or None."""
    timed = tuple(_timed(proof))
    if not timed:
        return None
    lines = tuple(
        Line(phase, scale.across(rtt.min), scale.across(rtt.median), scale.across(rtt.max), row * ROW)
        for row, (phase, rtt) in enumerate(timed)
    )
    told = (f"{phase} {rtt.min:.3g} to {rtt.max:.3g}, median {rtt.median:.3g}" for phase, rtt in timed)
    return Chart(lines, scale.ticks, f"Round trip in ms: {'; '.join(told)}")


def _timed(proof: Proof) -> Iterator[tuple[Phase, Rtt]]:
    for phase, seen in proof.phases:
        if seen.rtt is not None and _plausible(seen.rtt):
            yield phase, seen.rtt


def _plausible(rtt: Rtt) -> bool:
    return all(map(isfinite, (rtt.min, rtt.median, rtt.max))) and 0 <= rtt.min <= rtt.median <= rtt.max <= LONGEST
