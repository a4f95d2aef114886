"""The stated figure of luck against how often a silence is mere luck."""

from __future__ import annotations

from itertools import pairwise
from math import exp, inf
from random import Random

import pytest

from netcheck.proof.verdict.luck import LEAST_UNSEEN, LONGEST_MEAN, BurstsSeen, bursts_in, bursty
from netcheck.rig.campaign.calibration import calibrate, in_bursts, one_by_one
from netcheck.rig.campaign.exact import lower
from netcheck.rig.loss import Bursts

LOOSE = 0.01  # a limit at which luck is common enough to be counted


@pytest.mark.parametrize("share", [0.05, 0.2, 0.4])
def test_not_optimistic_where_losses_are_independent(share: float) -> None:
    """The frequency is not above the figure: its exact 95 % lower limit lies below."""
    random = Random(1)
    found = calibrate(lambda: one_by_one(share, random), 400, LOOSE)
    assert lower(found.lucky, found.of) <= found.stated <= LOOSE


@pytest.mark.parametrize("length", [0.3, 1.0, 2.0, 4.0, 8.0])
def test_not_optimistic_where_losses_come_in_bursts(length: float) -> None:
    """Nor in bursts of up to eight seconds on average, a tenth of the time; those too few to tell are not proven."""
    random = Random(2)
    found = calibrate(lambda: in_bursts(0.1, length, random), 400, LOOSE)
    assert lower(found.lucky, found.of) <= found.stated


def test_bursts_break_the_figure_without_the_rule() -> None:
    """The rule is needed: without it bursts of two seconds make luck more frequent than was stated."""
    random = Random(3)
    found = calibrate(lambda: in_bursts(0.2, 2.0, random), 1500, LOOSE, with_bursts=False)
    minded = calibrate(lambda: in_bursts(0.2, 2.0, Random(3)), 400, LOOSE)
    assert lower(found.lucky, found.of) > found.stated
    assert minded.needed > found.needed


def test_bursts_are_told_from_single_losses() -> None:
    """Single misses are no bursts; a run that independent loss would hardly show is one."""
    assert not bursty(40, [(1, 0.4)] * 8)
    assert bursty(40, [(8, 2.0)])
    assert not bursty(40, [])


def seen(*runs: tuple[int, float]) -> BurstsSeen:
    """Bursts seen within a minute, among enough probes for them to be no chance."""
    found = bursts_in(300, runs, 60.0)
    assert found is not None
    return found


def test_longer_bursts_need_a_longer_silence() -> None:
    """What was seen to last longer is given longer; what was seen more often is known better."""
    assert seen(*[(4, 1.0)] * 4).outlasted() < seen(*[(8, 2.0)] * 4).outlasted()
    assert seen(*[(4, 1.0)] * 8).outlasted() < seen((8, 8.0)).outlasted()
    assert bursts_in(300, [(1, 0.5)] * 8, 60.0) is None


@pytest.mark.parametrize("sought", [0.0, 6.0])
@pytest.mark.parametrize("limit", [1e-2, 1e-3, 1e-4])
def test_a_silence_that_outlasts_bursts_is_stated_at_the_limit(limit: float, sought: float) -> None:
    """The seconds are the least that bring the chance down to the limit; one that was looked for is more likely."""
    bursts = seen((4, 1.0), (6, 1.5), (3, 0.5))
    seconds = bursts.outlasted(sought, limit)
    assert bursts.luck(seconds, sought) <= limit < bursts.luck(seconds - 0.1, sought)
    assert bursts.luck(seconds, sought) < bursts.luck(seconds, sought + 1.0)


def weighed(count: int, seconds: float) -> float:
    """What is left of the bursts' likelihood, the mean being of any order up to the longest (sum over small steps)."""
    steps = 20_000
    means = (LONGEST_MEAN * (step + 0.5) / steps for step in range(steps))
    return sum(mean ** (-count - 1) * exp(-seconds / mean) for mean in means)


@pytest.mark.parametrize(("count", "total"), [(1, 0.5), (1, 8.0), (3, 2.0), (8, 30.0)])
def test_the_chance_is_what_weighing_all_means_gives(count: int, total: float) -> None:
    """Bayes' rule by plain summation (textbook); a burst that is surely on leaves only the lengths."""
    bursts = BurstsSeen(count, total, 0.0)
    for silence in (1.0, 15.0, 60.0):
        expected = weighed(count, total + silence) / weighed(count, total)
        assert bursts.luck(silence) == pytest.approx(expected, rel=1e-3)


def test_the_next_burst_outlasts_the_silence_as_often_as_is_stated() -> None:
    """Links with means of every order, a few bursts seen of each: the next is as long as stated in one case of 20."""
    random, lucky, tried = Random(5), 0, 40_000
    for _ in range(tried):
        mean, count = 0.01 * (LONGEST_MEAN / 0.01) ** random.random(), random.choice((1, 2, 5))
        seconds = BurstsSeen(count, random.gammavariate(count, mean), 0.0).outlasted(limit=0.05)
        lucky += random.expovariate(1 / mean) > seconds
    assert lucky / tried == pytest.approx(0.05, abs=0.006)


def test_few_long_bursts_tell_little() -> None:
    """Of a link that was gone for twenty seconds twice, no silence that a hand can hold means anything; one that was
    gone for a second at a time is soon outlasted."""
    assert seen((80, 20.0), (80, 20.0)).outlasted() == inf
    assert seen(*[(4, 1.0)] * 4).outlasted() < 2 * LEAST_UNSEEN


def test_a_bursty_link_is_bad_for_its_share_and_for_its_length() -> None:
    """The two-state chain keeps its share and its mean length (Gilbert's model; both by their definition)."""
    link = Bursts(0.2, 1.0, Random(4))
    states = [link.lose(step * 0.05) for step in range(400_000)]
    ends = sum(was and not now for was, now in pairwise(states))
    assert sum(states) / len(states) == pytest.approx(0.2, abs=0.01)
    assert sum(states) * 0.05 / ends == pytest.approx(1.0, rel=0.06)
