"""Tests of the stated figure of luck against how often a silence is caused by loss alone."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from netcheck.rig.campaign.calibration import calibrate, in_bursts, one_by_one
from netcheck.rig.campaign.confidence import lower
from netcheck.rig.network import Bursts

LOOSE = 0.01  # a limit at which luck is frequent enough to be counted


@pytest.mark.parametrize("share", [0.05, 0.2, 0.4])
def test_not_optimistic_where_losses_are_independent(share: float) -> None:
    """With independent losses, the exact 95 % lower limit of the frequency is at most the stated figure."""
    random = Random(1)
    found = calibrate(lambda: one_by_one(share, random), 400, LOOSE)
    assert lower(found.lucky, found.of) <= found.stated <= LOOSE


@pytest.mark.parametrize("length", [0.3, 1.0, 2.0, 4.0, 8.0])
def test_not_optimistic_where_losses_come_in_bursts(length: float) -> None:
    """With bursts of loss of up to eight seconds on average, the frequency does not exceed the stated figure."""
    random = Random(2)
    found = calibrate(lambda: in_bursts(0.1, length, random), 400, LOOSE)
    assert lower(found.lucky, found.of) <= found.stated


def test_longer_bursts_require_a_longer_silence() -> None:
    """Longer gaps with the cable in require a longer silence."""
    random = Random(3)
    short = calibrate(lambda: in_bursts(0.4, 0.3, random), 100, LOOSE)
    long = calibrate(lambda: in_bursts(0.4, 4.0, random), 100, LOOSE)
    assert long.needed > 1.5 * short.needed


def test_a_bursty_link_has_the_given_share_and_length() -> None:
    """The two-state chain has the given share and mean length of bad spans (Gilbert's model, by definition)."""
    link = Bursts(0.2, 1.0, Random(4))
    states = [link.lose(step * 0.05) for step in range(400_000)]
    ends = sum(was and not now for was, now in pairwise(states))
    assert sum(states) / len(states) == pytest.approx(0.2, abs=0.01)
    assert sum(states) * 0.05 / ends == pytest.approx(1.0, rel=0.06)
