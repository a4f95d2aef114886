"""Tests of the small chart of round-trip times: the places of its lines, and values that are not drawn."""

from __future__ import annotations

from dataclasses import replace

import pytest

from netcheck.proof.result import Phase, PhaseResult, Proof, Rtt, Verdict
from netcheck.report.html.rtt_chart import LEFT, PLOT, chart_of

BARE = Proof(interface="d/lan", port="1", address="192.0.2.20", verdict=Verdict.PROVEN, why="so it is")


def timed(*several: Rtt | None) -> Proof:
    """Return a proof with these round-trip times in its phases."""
    return replace(
        BARE, phases=tuple((phase, PhaseResult(rtt=rtt)) for phase, rtt in zip(Phase, several, strict=False))
    )


def test_lines_are_placed_by_their_times() -> None:
    """Lines are at a fifth, two fifths and all of a scale to 0.5 ms (own arithmetic); a phase without times has no
    line."""
    chart = chart_of(timed(Rtt(0.1, 0.2, 0.5), None, Rtt(0.0, 0.25, 0.4)))
    assert chart is not None
    assert (chart.end, [line.phase for line in chart.lines]) == ("0.5 ms", [Phase.IN, Phase.BACK])
    assert [(line.least - LEFT, line.median - LEFT, line.most - LEFT) for line in chart.lines] == [
        (PLOT // 5, PLOT * 2 // 5, PLOT),
        (0, PLOT // 2, PLOT * 4 // 5),
    ]
    assert chart.words == "Round trip in ms: in 0.1 to 0.5, median 0.2; back 0 to 0.4, median 0.25"


@pytest.mark.parametrize(
    ("most", "end"),
    [
        (0.0, "0.01 ms"),
        (0.011, "0.02 ms"),
        (0.2, "0.2 ms"),
        (0.21, "0.5 ms"),
        (7, "10 ms"),
        (999.5, "1000 ms"),
        (2e6, "2e+06 ms"),
    ],
    ids=str,
)
def test_the_scale_ends_at_a_round_figure(most: float, end: str) -> None:
    """The scale ends at 1, 2 or 5 times a power of ten, not below the longest time."""
    chart = chart_of(timed(Rtt(0, most / 2, most)))
    assert chart is not None
    assert chart.end == end
    assert all(LEFT <= line.most <= LEFT + PLOT for line in chart.lines)


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
    """Without times, or with impossible ones, there is no chart."""
    assert chart_of(timed(rtt)) is None
    assert chart_of(BARE) is None
