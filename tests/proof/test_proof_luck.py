"""Luck and unheard against the Beta function, published posterior figures and simulated devices."""

from __future__ import annotations

from math import exp, lgamma
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.proof.verdict.luck import luck, misses_needed, unheard


def log_beta(a: float, b: float) -> float:
    """The logarithm of the Beta function by that of the Gamma function."""
    return lgamma(a) + lgamma(b) - lgamma(a + b)


def by_beta(sent: int, answered: int, missed: int) -> float:
    """B(k + 1/2, n - k + m + 1/2) / B(k + 1/2, n - k + 1/2): the Beta-binomial of m failures (textbook formula)."""
    k, f = answered + 0.5, sent - answered + 0.5
    return exp(log_beta(k, f + missed) - log_beta(k, f))


counts = st.integers(0, 400)


@given(counts, counts, st.integers(0, 300))
def test_luck_is_the_beta_binomial(answered: int, failed: int, missed: int) -> None:
    """The product of the chances equals the quotient of Beta functions (posterior predictive, Jeffreys prior)."""
    assert luck(answered + failed, answered, missed) == pytest.approx(by_beta(answered + failed, answered, missed))


@pytest.mark.parametrize(
    ("sent", "answered", "missed", "chance"),
    [
        (10, 10, 1, 1 - 0.9545),  # 10 of 10: the next answers with 0.9545
        (20, 20, 1, 1 - 0.9762),
        (3, 0, 1, 1 - 0.125),  # 0 of 3: the next answers with 0.125
        (10, 0, 5, 0.8199),  # by symmetry: 10 misses of 10, the next 5 all misses
        (20, 0, 10, 0.8182),
    ],
)
def test_luck_at_published_figures(sent: int, answered: int, missed: int, chance: float) -> None:
    """Posterior figures of the Jeffreys prior Beta(1/2, 1/2), worked out with scipy's betabinom, to 4 places."""
    assert luck(sent, answered, missed) == pytest.approx(chance, abs=5e-5)


@pytest.mark.parametrize(("sent", "answered", "missed"), [(5, 5, 2), (10, 6, 4), (20, 3, 6), (0, 0, 1)])
def test_luck_is_the_frequency_among_devices(sent: int, answered: int, missed: int) -> None:
    """Of devices whose rate of answers is drawn from the posterior, that share misses all the next probes."""
    rng = Random(7)
    rates = (rng.betavariate(answered + 0.5, sent - answered + 0.5) for _ in range(40_000))
    missing = sum(all(rng.random() >= rate for _ in range(missed)) for rate in rates)
    assert missing / 40_000 == pytest.approx(luck(sent, answered, missed), abs=0.01)


@given(st.integers(1, 200), st.data())
def test_misses_needed_is_the_least_number(sent: int, data: st.DataObject) -> None:
    """So many misses suffice, and one fewer does not."""
    answered = data.draw(st.integers(1, sent))
    limit = data.draw(st.sampled_from([1e-2, 1e-3, 1e-4, 1e-6]))
    needed = misses_needed(sent, answered, limit, most=2000)
    if needed < 2000:
        assert luck(sent, answered, needed) <= limit < luck(sent, answered, needed - 1)
    else:
        assert luck(sent, answered, 2000 - 1) > limit


def test_nothing_missed_is_no_evidence() -> None:
    """Without a miss the silence is certain to be luck, and no broadcast hears nobody."""
    assert luck(30, 30, 0) == 1.0
    assert unheard(0) == 1.0


@given(counts, counts, st.integers(1, 50))
def test_more_misses_are_never_more_luck(answered: int, failed: int, missed: int) -> None:
    """Every further miss makes luck less likely, every further answer before them too."""
    sent = answered + failed
    assert luck(sent, answered, missed) < luck(sent, answered, missed - 1)
    assert luck(sent + 1, answered + 1, missed) < luck(sent, answered, missed)


def test_ten_broadcasts_hear_a_second_owner() -> None:
    """M >= 10 is what 1e-3 asks for: 0.5 ** 9 is above it, 0.5 ** 10 is not; a fair coin agrees."""
    assert unheard(10) == 0.0009765625 <= 1e-3 < unheard(9)
    rng = Random(3)
    unheard_owners = sum(all(rng.random() < 0.5 for _ in range(4)) for _ in range(20_000))
    assert unheard_owners / 20_000 == pytest.approx(unheard(4), abs=0.006)
