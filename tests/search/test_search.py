"""No false proof in any scenario that the search tries in a fixed time; by hand: tests/search/adversary.py."""

from __future__ import annotations

import pytest

from netcheck.proof.result import Verdict
from netcheck.rig.scenario import Act, Do, Mode, Scenario, Stop
from netcheck.rig.truth import Unmet
from tests.search.adversary import false_proofs, outcomes, search

pytestmark = pytest.mark.slow
SECONDS = 35.0


def test_no_false_proof_in_the_time() -> None:
    """The same seeds on every machine; a slow one tries fewer of them."""
    done = search(SECONDS)
    assert [found.to_test() for found in done.found] == []
    assert done.tried > 50
    assert done.proven > 10


def test_the_search_would_notice_a_false_proof() -> None:
    """With `--once` one silence that nobody asked for is enough, and a restart proves a port whose cable stayed in."""
    restart = Act(do=Do.RESTART, after=60.0, lasts=25.0)
    (found,) = false_proofs(Scenario(mode=Mode.WALK, once=True, acts=(restart,)))
    assert (found.subject, found.unmet) == ("d0/lan:1", (Unmet.CONNECTOR,))


def test_a_pull_on_the_same_walk_is_no_false_proof() -> None:
    """The same silence is a pull where the cable was out."""
    one = Scenario(mode=Mode.WALK, once=True, stops=(Stop(wait=60.0, lasts=25.0),))
    assert next(proof.verdict for proof, _, _ in outcomes(one)) is Verdict.PROVEN
    assert false_proofs(one) == []
