"""The campaign against false passes, and that the same seed gives the same run.

10,000 and more trials: `python tests/bench/campaign.py 10000`.
"""

from __future__ import annotations

import pytest

from netcheck.proof.result import Verdict
from netcheck.rig.campaign import Summary, campaign, prove, summed, trial
from netcheck.rig.mischief import wild_plant
from tests.rig.scenes import Ran, ill_manners

SEEDS = range(400)


@pytest.fixture(scope="module")
def summary() -> Summary:
    """Some hundred plants, proven."""
    return campaign(SEEDS)


def test_never_a_false_pass(summary: Summary) -> None:
    """`proven` only where the cable that was out leads to the owner of the address, and nobody else has it."""
    assert summary.trials == len(SEEDS)
    assert summary.false_passes == ()


def test_what_deserves_a_proof_mostly_gets_one(summary: Summary) -> None:
    """Caution is no excuse: of the plants where a proof is deserved most are proven, and every verdict occurs."""
    deserved = {verdict: count for verdict, deserved, count in summary.counts if deserved}
    assert deserved[Verdict.PROVEN] / sum(deserved.values()) > 0.75
    assert {verdict for verdict, _, _ in summary.counts} == set(Verdict)


@pytest.mark.parametrize("seed", range(1000, 1040))
def test_good_manners_in_any_plant(seed: int) -> None:
    """Whatever goes wrong, nothing is sent that should not be."""
    plant = wild_plant(seed)
    began = plant.rig.now()
    prober = prove(plant, seed)
    assert ill_manners(Ran(prober, plant.rig, [], plant.rig.now() - began)) == []


@pytest.mark.parametrize("seed", [1, 2, 3, 5, 8])
def test_same_seed_same_run(seed: int) -> None:
    """Frames, times and proofs are the same when a run is repeated."""
    plants = wild_plant(seed), wild_plant(seed)
    probers = [prove(plant, seed) for plant in plants]
    assert plants[0].rig.sent == plants[1].rig.sent
    assert plants[0].rig.sent
    assert probers[0].proofs == probers[1].proofs


def test_false_passes_are_counted() -> None:
    """A proof that was not deserved is a false pass: the summary would show it."""
    passed = next(one for one in map(trial, SEEDS) if one.proof.verdict is Verdict.PROVEN)
    undeserved = type(passed)(passed.seed, passed.story, passed.proof, deserved=False, seconds=passed.seconds)
    assert summed([passed, undeserved]).false_passes == (undeserved,)
