"""Tests of the exact limits of a share against printed values."""

from __future__ import annotations

import pytest

from netcheck.rig.campaign.confidence import at_most, between, lower, upper

# Statistics in Medicine 17 (1998) 857-872, Table I, Clopper-Pearson, two-sided 95 %.
TABLE_I = [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)]


@pytest.mark.parametrize(("seen", "of", "low", "high"), TABLE_I, ids=lambda value: str(value))
def test_two_sided_limits_of_the_published_table(seen: int, of: int, low: float, high: float) -> None:
    """The limits equal the four intervals of the table, to the printed digits."""
    assert [round(limit, 4) for limit in between(seen, of)] == [low, high]


def test_example_of_the_handbook() -> None:
    """The limits for 4 of 20 at 90 % two-sided equal NIST/SEMATECH e-Handbook section 7.2.4.2."""
    assert [round(limit, 4) for limit in between(4, 20, 0.90)] == [0.0714, 0.4010]


@pytest.mark.parametrize("of", [1, 20, 20_000])
def test_nothing_seen_has_a_closed_form(of: int) -> None:
    """If nothing is seen, the one-sided upper limit is 1 - 0.05 ** (1 / n) (the binomial law itself)."""
    assert upper(0, of) == pytest.approx(1 - 0.05 ** (1 / of), rel=1e-9)
    assert upper(0, 20_000) < 1.5e-4


def test_ends_and_complement() -> None:
    """At 0 and at n the limits are 0 and 1; the lower limit is the complement of the upper one."""
    assert upper(5, 5) == 1.0
    assert lower(0, 5) == 0.0
    assert lower(7, 10) == pytest.approx(1 - upper(3, 10))
    assert at_most(3, 3, 0.5) == 1.0
    assert at_most(0, 4, 0.5) == pytest.approx(1 / 16)
