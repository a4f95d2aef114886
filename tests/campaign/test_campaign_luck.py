"""The stated figure of luck against how often a silence is mere luck."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from netcheck.proof.luck import MARGIN, burst_luck, bursty, outlasts
from netcheck.rig.calibration import calibrate, in_bursts, one_by_one
from netcheck.rig.exact import lower
from netcheck.rig.loss import Bursts

LOOSE = 0.01  # a limit at which luck is common enough to be counted


@pytest.mark.parametrize("share", [0.05, 0.2, 0.4])
def test_not_optimistic_where_losses_are_independent(share: float) -> None:
    """The frequency is not above the figure: its exact 95 % lower limit lies below."""
    random = Random(1)
    found = calibrate(lambda: one_by_one(share, random), 400, LOOSE)
    assert lower(found.lucky, found.of) <= found.stated <= LOOSE


@pytest.mark.parametrize("length", [0.3, 1.0, 2.0])
def test_not_optimistic_where_losses_come_in_bursts(length: float) -> None:
    """Nor in bursts of up to two seconds on average, a tenth of the time."""
    random = Random(2)
    found = calibrate(lambda: in_bursts(0.1, length, random), 400, LOOSE)
    assert lower(found.lucky, found.of) <= found.stated <= LOOSE


def test_bursts_break_the_figure_without_the_rule() -> None:
    """The rule is needed: without it bursts of two seconds make luck more frequent than was stated."""
    random = Random(3)
    found = calibrate(lambda: in_bursts(0.2, 2.0, random), 1500, LOOSE, with_bursts=False)
    minded = calibrate(lambda: in_bursts(0.2, 2.0, Random(3)), 400, LOOSE)
    assert lower(found.lucky, found.of) > 0
    assert minded.needed > found.needed


def test_bursts_are_told_from_single_losses() -> None:
    """Single misses are no bursts; a run that independent loss would hardly show is one."""
    assert not bursty(40, [(1, 0.4)] * 8)
    assert bursty(40, [(8, 2.0)])
    assert not bursty(40, [])


def test_longer_bursts_need_a_longer_silence() -> None:
    """What was seen to last longer is given longer; what was seen more often is known better."""
    assert outlasts([(4, 1.0)] * 4, 60.0) < outlasts([(8, 2.0)] * 4, 60.0)
    assert outlasts([(4, 1.0)] * 8, 60.0) < outlasts([(8, 8.0)], 60.0)
    assert outlasts([(1, 0.5)], 60.0) == 0.0


@pytest.mark.parametrize("limit", [1e-3, 1e-4, 1e-6])
def test_a_silence_that_outlasts_bursts_is_stated_at_the_limit(limit: float) -> None:
    """The seconds and the chance are one rule, solved for either; a longer silence is less likely luck."""
    runs = [(4, 1.0), (6, 1.5), (3, 0.5)]
    seconds = outlasts(runs, 60.0, limit)
    assert burst_luck(runs, 60.0, seconds - MARGIN) == pytest.approx(limit)
    assert burst_luck(runs, 60.0, 2 * seconds) < limit
    assert burst_luck([], 60.0, 10.0) == 0.0


def test_a_bursty_link_is_bad_for_its_share_and_for_its_length() -> None:
    """The two-state chain keeps its share and its mean length (Gilbert's model; both by their definition)."""
    link = Bursts(0.2, 1.0, Random(4))
    states = [link.lose(step * 0.05) for step in range(400_000)]
    ends = sum(was and not now for was, now in pairwise(states))
    assert sum(states) / len(states) == pytest.approx(0.2, abs=0.01)
    assert sum(states) * 0.05 / ends == pytest.approx(1.0, rel=0.06)
