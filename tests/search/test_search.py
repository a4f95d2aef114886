"""Tests that the search finds no false proof in a fixed time; by hand: tests/search/adversary.py."""

from __future__ import annotations

import pytest

from netcheck.proof.result import Verdict
from netcheck.rig.scenario import Act, Do, Mode, Scenario, Stop
from netcheck.rig.truth import Unmet
from tests.search.adversary import false_proofs, outcomes, search

pytestmark = pytest.mark.slow
SECONDS = 35.0


def test_no_false_proof_within_the_time() -> None:
    """No scenario that is tried within the time gives a false proof; slow machines try fewer of the same seeds."""
    done = search(SECONDS)
    assert [found.to_test() for found in done.found] == []
    assert done.tried > 50
    assert done.proven > 10


def test_the_search_finds_a_false_proof() -> None:
    """With `--once`, a restart that is proven without a pull is found as a false proof."""
    restart = Act(do=Do.RESTART, after=60.0, lasts=25.0)
    (found,) = false_proofs(Scenario(mode=Mode.WALK, once=True, acts=(restart,)))
    assert (found.subject, found.unmet) == ("d0/lan:1", (Unmet.CONNECTOR,))


def test_a_pull_on_the_same_walk_is_no_false_proof() -> None:
    """The same silence on the same walk is no false proof if the cable was out."""
    one = Scenario(mode=Mode.WALK, once=True, stops=(Stop(wait=60.0, lasts=25.0),))
    assert next(proof.verdict for proof, _, _ in outcomes(one)) is Verdict.PROVEN
    assert false_proofs(one) == []
