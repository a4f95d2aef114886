"""Tests of random walks: no false proof, one verdict for each port, and only permitted frames."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest

from netcheck.proof.result import Proof, Verdict
from netcheck.rig.bench import Bench
from netcheck.rig.random_scenarios import RandomChoices, scenario
from netcheck.rig.scenario import Mode, to_source
from netcheck.rig.truth import Judgement
from tests.rig.scenes import Ran, forbidden_frames

pytestmark = pytest.mark.slow
SEEDS = range(120)
CHANGES = (0, 1, 1, 2, 3)  # number of changes in a walk
Walked = tuple[Bench, tuple[Proof, ...], dict[str, Judgement]]


@pytest.fixture(scope="module")
def walks() -> dict[int, Walked]:
    """Return the walks by seed; every second one has an announced order."""
    found = {}
    for seed in SEEDS:
        mode = (Mode.WALK, Mode.IN_ORDER)[seed % 2]
        bench = Bench(scenario(RandomChoices(Random(seed)), mode, seed, CHANGES))
        proofs = bench.run()
        truth = bench.truth()
        found[seed] = bench, proofs, {proof.subject: truth.of(bench.places[proof.subject], proof) for proof in proofs}
    return found


def test_no_false_proof(walks: dict[int, Walked]) -> None:
    """No port is proven against the truth, except in cases that no station can distinguish."""
    wrong = [
        (seed, proof.subject, judged[proof.subject].inexcusable, to_source(bench.scenario))
        for seed, (bench, proofs, judged) in walks.items()
        for proof in proofs
        if proof.verdict is Verdict.PROVEN and judged[proof.subject].inexcusable
    ]
    assert wrong == []


def test_every_port_has_one_verdict(walks: dict[int, Walked]) -> None:
    """Each port has exactly one verdict."""
    for seed, (bench, proofs, _) in walks.items():
        assert Counter(proof.subject for proof in proofs) == Counter(one.subject for one in bench.scope().asked), seed


def test_walks_give_proofs_and_findings(walks: dict[int, Walked]) -> None:
    """Both proofs and findings occur often. On a walk without names a port is proven only by its number."""
    counts = Counter((proof.verdict, judged[proof.subject].deserved) for _, proofs, judged in walks.values()
                     for proof in proofs)  # fmt: skip
    assert counts[Verdict.PROVEN, True] > 30
    assert sum(many for (verdict, deserved), many in counts.items() if verdict is not Verdict.PROVEN) > 50
    for bench, proofs, _ in walks.values():
        if bench.mode is Mode.WALK and not bench.scenario.named:
            proven = [proof for proof in proofs if proof.verdict is Verdict.PROVEN]
            assert {proof.connector for proof in proven} <= {"operator"}


def test_every_walk_sends_only_permitted_frames(walks: dict[int, Walked]) -> None:
    """Every walk sends only permitted frames."""
    for seed, (bench, _, _) in walks.items():
        assert bench.prober is not None
        ran = Ran(bench.prober, bench.rig, [], bench.rig.now() - bench.rig.began)
        assert forbidden_frames(ran) == [], seed
