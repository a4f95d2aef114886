"""Tests that the campaign draws each indistinguishable case."""

from __future__ import annotations

from random import Random

import pytest

from netcheck.proof.result import Verdict
from netcheck.rig.bench import Bench
from netcheck.rig.random_scenarios import RandomChoices, lookalike
from netcheck.rig.truth import Alike


@pytest.mark.parametrize("alike", Alike, ids=lambda alike: alike.name)
def test_occurs_and_excuses(alike: Alike) -> None:
    """The case occurs in at least one of six runs, and no proof in them is false without an excuse."""
    seen: set[Alike] = set()
    for seed in range(6):
        bench = Bench(lookalike(RandomChoices(Random(seed)), alike, seed))
        proofs = bench.run()
        truth = bench.truth()
        for proof in proofs:
            judged = truth.of(bench.places[proof.subject], proof)
            seen |= judged.alike
            assert not (proof.verdict is Verdict.PROVEN and judged.inexcusable)
    assert alike in seen
