"""Walks over plants gone wrong at random: never a false pass, no port lost, and good manners whatever happens."""

from __future__ import annotations

from collections import Counter

import pytest

from netcheck.proof.result import Verdict
from tests.rig.scenes import Ran, ill_manners
from tests.rig.strolling import Stroll, stroll

pytestmark = pytest.mark.slow  # 130 simulated walks
SEEDS = range(130)


@pytest.fixture(scope="module")
def strolls() -> dict[int, tuple[Stroll, Ran]]:
    """The walks by seed."""
    return {seed: stroll(seed) for seed in SEEDS}


def test_proven_only_what_was_pulled_and_owns_its_address_alone(strolls: dict[int, tuple[Stroll, Ran]]) -> None:
    """No port is proven whose cable stayed in, or whose address somebody else has."""
    wrong = [
        (seed, proof.subject, proof.why, one.story)
        for seed, (one, ran) in strolls.items()
        for proof in ran.prober.proofs
        if proof.verdict is Verdict.PROVEN and not one.deserved(proof.interface)
    ]
    assert wrong == []


def test_every_port_has_one_verdict(strolls: dict[int, tuple[Stroll, Ran]]) -> None:
    """No port is lost and none is judged twice."""
    for seed, (one, ran) in strolls.items():
        judged = Counter(proof.subject for proof in ran.prober.proofs)
        assert judged == Counter(target.subject for target in one.scene.targets), seed


def test_second_ports_only_where_they_were_named(strolls: dict[int, tuple[Stroll, Ran]]) -> None:
    """A second port is proven by the word of the operator alone (6-settled-details.md 40)."""
    proofs = [proof for _, ran in strolls.values() for proof in ran.prober.proofs if proof.port == "2"]
    proven = [proof for proof in proofs if proof.verdict is Verdict.PROVEN]
    assert {proof.connector for proof in proven} <= {"operator"}
    assert len(proofs) > len(proven)


def test_the_campaign_meets_what_it_should(strolls: dict[int, tuple[Stroll, Ran]]) -> None:
    """Proofs and failures both happen often, and no pull of a fair plant ends as a false alarm about its owner."""
    counts = Counter(
        (proof.verdict, one.deserved(proof.interface)) for one, ran in strolls.values() for proof in ran.prober.proofs
    )
    assert counts[Verdict.PROVEN, True] > 50
    for verdict in (Verdict.CONTESTED, Verdict.IMPOSTOR, Verdict.SWAPPED, Verdict.RELAYED):
        assert counts[verdict, True] == 0
    assert counts[Verdict.CONTESTED, False] > 20
    assert counts[Verdict.IMPOSTOR, False] > 5
    assert {verdict for verdict, _ in counts} >= {Verdict.SILENT, Verdict.NOT_BACK, Verdict.UNSETTLED, Verdict.SWAPPED}


def test_good_manners_in_every_walk(strolls: dict[int, tuple[Stroll, Ran]]) -> None:
    """Whom it asked, as whom and how often keeps to 4-proof.md in all of them."""
    assert {seed: wrong for seed, (_, ran) in strolls.items() if (wrong := ill_manners(ran))} == {}
