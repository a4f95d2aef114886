"""Walks drawn at random: no false proof, no port lost, and good manners whatever happens."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest

from netcheck.proof.result import Proof, Verdict
from netcheck.rig.bench import Bench
from netcheck.rig.draw import RandomChoices, scenario
from netcheck.rig.scenario import Mode, to_source
from netcheck.rig.truth import Judgement
from tests.rig.scenes import Ran, ill_manners

pytestmark = pytest.mark.slow
SEEDS = range(120)
CHANGES = (0, 1, 1, 2, 3)  # things changed in a walk
Walked = tuple[Bench, tuple[Proof, ...], dict[str, Judgement]]


@pytest.fixture(scope="module")
def walks() -> dict[int, Walked]:
    """The walks by seed, every second one in an announced order."""
    found = {}
    for seed in SEEDS:
        mode = (Mode.WALK, Mode.IN_ORDER)[seed % 2]
        bench = Bench(scenario(RandomChoices(Random(seed)), mode, seed, CHANGES))
        proofs = bench.run()
        truth = bench.truth()
        found[seed] = bench, proofs, {proof.subject: truth.of(bench.places[proof.subject], proof) for proof in proofs}
    return found


def test_no_false_proof(walks: dict[int, Walked]) -> None:
    """No port is proven that does not deserve it, but for the cases that no station could tell apart."""
    wrong = [
        (seed, proof.subject, judged[proof.subject].inexcusable, to_source(bench.scenario))
        for seed, (bench, proofs, judged) in walks.items()
        for proof in proofs
        if proof.verdict is Verdict.PROVEN and judged[proof.subject].inexcusable
    ]
    assert wrong == []


def test_every_port_has_one_verdict(walks: dict[int, Walked]) -> None:
    """No port is lost and none is judged twice."""
    for seed, (bench, proofs, _) in walks.items():
        assert Counter(proof.subject for proof in proofs) == Counter(one.subject for one in bench.scope().asked), seed


def test_walks_come_to_proofs_and_to_findings(walks: dict[int, Walked]) -> None:
    """Both happen often, and an unnamed port is proven only by its number or in an announced order."""
    counts = Counter((proof.verdict, judged[proof.subject].deserved) for _, proofs, judged in walks.values()
                     for proof in proofs)  # fmt: skip
    assert counts[Verdict.PROVEN, True] > 30
    assert sum(many for (verdict, deserved), many in counts.items() if verdict is not Verdict.PROVEN) > 50
    for bench, proofs, _ in walks.values():
        if bench.mode is Mode.WALK and not bench.scenario.named:
            proven = [proof for proof in proofs if proof.verdict is Verdict.PROVEN]
            assert {proof.connector for proof in proven} <= {"operator"}


def test_good_manners_in_every_walk(walks: dict[int, Walked]) -> None:
    """The addresses asked, the senders used and the pace are always as they should be."""
    for seed, (bench, _, _) in walks.items():
        assert bench.prober is not None
        ran = Ran(bench.prober, bench.rig, [], bench.rig.now() - bench.rig.began)
        assert ill_manners(ran) == [], seed
