"""Tests of `luck` and `unheard` against the Beta function, published posterior figures and simulated devices."""

from __future__ import annotations

from math import exp, lgamma
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.proof.verdict.silence_rule import luck, misses_needed, unheard


def log_beta(a: float, b: float) -> float:
    """Return the logarithm of the Beta function, computed from the Gamma function."""
    return lgamma(a) + lgamma(b) - lgamma(a + b)


def by_beta(sent: int, answered: int, missed: int) -> float:
    """Return B(k + 1/2, n - k + m + 1/2) / B(k + 1/2, n - k + 1/2): the Beta-binomial of m failures (textbooks)."""
    k, f = answered + 0.5, sent - answered + 0.5
    return exp(log_beta(k, f + missed) - log_beta(k, f))


counts = st.integers(0, 400)


@given(counts, counts, st.integers(0, 300))
def test_luck_is_the_beta_binomial(answered: int, failed: int, missed: int) -> None:
    """Luck equals the quotient of Beta functions (posterior predictive, Jeffreys prior)."""
    assert luck(answered + failed, answered, missed) == pytest.approx(by_beta(answered + failed, answered, missed))


@pytest.mark.parametrize(
    ("sent", "answered", "missed", "chance"),
    [
        (10, 10, 1, 1 - 0.9545),  # 10 of 10: the next probe is answered with probability 0.9545
        (20, 20, 1, 1 - 0.9762),
        (3, 0, 1, 1 - 0.125),  # 0 of 3: the next probe is answered with probability 0.125
        (10, 0, 5, 0.8199),  # by symmetry: 10 misses of 10, then 5 further misses
        (20, 0, 10, 0.8182),
    ],
)
def test_luck_at_published_figures(sent: int, answered: int, missed: int, chance: float) -> None:
    """Luck equals the posterior figures of the Jeffreys prior Beta(1/2, 1/2), from scipy's betabinom, to 4 places."""
    assert luck(sent, answered, missed) == pytest.approx(chance, abs=5e-5)


@pytest.mark.parametrize(("sent", "answered", "missed"), [(5, 5, 2), (10, 6, 4), (20, 3, 6), (0, 0, 1)])
def test_luck_is_the_frequency_among_devices(sent: int, answered: int, missed: int) -> None:
    """Luck is the share of devices, with reply rates drawn from the posterior, that miss all of the next probes."""
    rng = Random(7)
    rates = (rng.betavariate(answered + 0.5, sent - answered + 0.5) for _ in range(40_000))
    missing = sum(all(rng.random() >= rate for _ in range(missed)) for rate in rates)
    assert missing / 40_000 == pytest.approx(luck(sent, answered, missed), abs=0.01)


@given(st.integers(1, 200), st.data())
def test_misses_needed_is_the_least_number(sent: int, data: st.DataObject) -> None:
    """The number of misses returned is below the limit, and one miss fewer is not."""
    answered = data.draw(st.integers(1, sent))
    limit = data.draw(st.sampled_from([1e-2, 1e-3, 1e-4, 1e-6]))
    needed = misses_needed(sent, answered, limit, most=2000)
    if needed < 2000:
        assert luck(sent, answered, needed) <= limit < luck(sent, answered, needed - 1)
    else:
        assert luck(sent, answered, 2000 - 1) > limit


def test_without_a_miss_luck_is_one() -> None:
    """Without a miss, luck is 1; without a broadcast, the chance that a second owner was not heard is 1."""
    assert luck(30, 30, 0) == 1.0
    assert unheard(0) == 1.0


@given(counts, counts, st.integers(1, 50))
def test_luck_falls_with_every_miss_and_reply(answered: int, failed: int, missed: int) -> None:
    """Luck falls with every further miss, and with every further reply before the misses."""
    sent = answered + failed
    assert luck(sent, answered, missed) < luck(sent, answered, missed - 1)
    assert luck(sent + 1, answered + 1, missed) < luck(sent, answered, missed)


def test_ten_broadcasts_hear_a_second_owner() -> None:
    """Ten broadcasts are the fewest with a chance of 1e-3 or less that a second owner is not heard: 0.5 ** 10."""
    assert unheard(10) == 0.0009765625 <= 1e-3 < unheard(9)
    rng = Random(3)
    unheard_owners = sum(all(rng.random() < 0.5 for _ in range(4)) for _ in range(20_000))
    assert unheard_owners / 20_000 == pytest.approx(unheard(4), abs=0.006)
