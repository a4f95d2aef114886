"""Tests of the charts of round-trip times: the places of their lines, one scale, and values that are not drawn."""

from __future__ import annotations

from dataclasses import replace

import pytest

from netcheck.proof.result import Phase, PhaseResult, Proof, Rtt, Verdict
from netcheck.report.html.rtt_chart import LEFT, MOST_TICKS, PLOT, chart_of, scale_of

BARE = Proof(interface="d/lan", port="1", address="192.0.2.20", verdict=Verdict.PROVEN, why="so it is")


def timed(*several: Rtt | None) -> Proof:
    """Return a proof with these round-trip times in its phases."""
    return replace(
        BARE, phases=tuple((phase, PhaseResult(rtt=rtt)) for phase, rtt in zip(Phase, several, strict=False))
    )


def test_lines_are_placed_by_their_times() -> None:
    """On a scale from 0.1 to 10 ms, 1 ms is in the middle (own arithmetic); a phase without times has no line."""
    proof = timed(Rtt(0.1, 1, 10), None, Rtt(0.1, 0.1, 1))
    chart = chart_of(proof, scale_of([proof]))
    assert chart is not None
    assert [line.phase for line in chart.lines] == [Phase.IN, Phase.BACK]
    assert [(line.least - LEFT, line.median - LEFT, line.most - LEFT) for line in chart.lines] == [
        (0, PLOT // 2, PLOT),
        (0, 0, PLOT // 2),
    ]
    assert [(tick.x - LEFT, tick.words) for tick in chart.ticks] == [(0, "0.1"), (PLOT // 2, "1"), (PLOT, "10 ms")]
    assert chart.words == "Round trip in ms: in 0.1 to 10, median 1; back 0.1 to 1, median 0.1"


def test_all_charts_have_one_scale() -> None:
    """The same time has the same place in the chart of every port, with any other times of that port."""
    fast, slow = timed(Rtt(0.2, 0.3, 2)), timed(Rtt(2, 40, 800))
    scale = scale_of([fast, slow, BARE])
    first, second = chart_of(fast, scale), chart_of(slow, scale)
    assert first is not None
    assert second is not None
    assert first.lines[0].most == second.lines[0].least
    assert first.ticks == second.ticks


@pytest.mark.parametrize(
    ("most", "end"),
    [(0.0, "0.01 ms"), (0.011, "0.1 ms"), (0.2, "1 ms"), (7, "10 ms"), (999.5, "1000 ms"), (2e6, "1e+07 ms")],
    ids=str,
)
def test_the_scale_ends_at_a_power_of_ten(most: float, end: str) -> None:
    """The scale ends at a power of ten, not below the longest time, and has few figures."""
    proof = timed(Rtt(0, most / 2, most))
    chart = chart_of(proof, scale_of([proof]))
    assert chart is not None
    assert chart.ticks[-1].words == end
    assert 2 <= len(chart.ticks) <= MOST_TICKS
    assert all(LEFT <= line.least <= line.most <= LEFT + PLOT for line in chart.lines)


@pytest.mark.parametrize(
    "rtt",
    [
        None,
        Rtt(-1, 0, 1),
        Rtt(2, 1, 3),
        Rtt(0, 2, 1),
        Rtt(0, 0, 1e300),
        Rtt(0, 0, float("inf")),
        Rtt(float("nan"), 1, 2),
    ],
    ids=str,
)
def test_impossible_times_are_not_drawn(rtt: Rtt | None) -> None:
    """A port without times, or with impossible times, has no chart."""
    assert chart_of(timed(rtt), scale_of([timed(rtt)])) is None
    assert chart_of(BARE, scale_of([BARE])) is None
