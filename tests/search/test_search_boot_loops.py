"""Tests that a device that restarts in a loop is not proven while nobody moves a cable.

Such a device is up for about the same time after each restart, and a request follows a return after about the same
time. Its restarts can therefore begin again and again within the seconds in which a silence answers a request.
"""

from __future__ import annotations

import pytest

from netcheck.proof.result import Verdict
from netcheck.rig.scenario import Act, Cable, Do, HandMove, Mode, Scenario
from tests.search.adversary import outcomes

NOBODY = (HandMove(cable=Cable.NONE),)


@pytest.mark.parametrize("mode", [Mode.HANDS_FREE, Mode.WALK, Mode.IN_ORDER])
@pytest.mark.parametrize(("off", "on"), [(8.0, 6.0), (12.0, 8.0), (12.0, 16.0), (20.0, 10.0), (20.0, 16.0)])
def test_a_boot_loop_is_not_proven(mode: Mode, off: float, on: float) -> None:
    """A device that is off and on in turn for these seconds gets no proof: it also falls silent without a request."""
    restarts = tuple(Act(do=Do.RESTART, after=8.0 + (off + on) * turn, lasts=off) for turn in range(20))
    proofs = [proof for proof, _, _ in outcomes(Scenario(mode=mode, pulls=NOBODY, acts=restarts))]
    assert Verdict.PROVEN not in [proof.verdict for proof in proofs]
