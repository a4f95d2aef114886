"""The campaign against false passes: plants gone wrong at random are proven, and each verdict is held to the truth."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from random import Random

from netcheck.proof.driver import drive
from netcheck.proof.judge import Names
from netcheck.proof.prober import Prober
from netcheck.proof.result import Proof, Verdict
from netcheck.rig.mischief import Plant, wild_plant

POLL = 60.0  # seconds: nobody types at a rig, and a scripted hand stirs it
NOBODY = Names(lambda mac: "", lambda mac: None)


@dataclass(frozen=True, slots=True)
class Trial:
    """One plant, what came of it, and whether a proof was deserved. `seconds` are virtual."""

    seed: int
    story: tuple[str, ...]
    proof: Proof
    deserved: bool
    seconds: float

    @property
    def false_pass(self) -> bool:
        """The one thing that must never happen."""
        return self.proof.verdict is Verdict.PROVEN and not self.deserved


@dataclass(frozen=True, slots=True)
class Summary:
    """A campaign in numbers: (verdict, deserved) -> trials, and the false passes with their seeds."""

    counts: tuple[tuple[Verdict, bool, int], ...]
    false_passes: tuple[Trial, ...]

    @property
    def trials(self) -> int:
        """How many there were."""
        return sum(count for _, _, count in self.counts)


def prove(plant: Plant, seed: int) -> Prober:
    """Prove a plant in virtual time."""
    prober = Prober(plant.aim, plant.rig.ways, NOBODY, plant.settings, Random(seed), poll=POLL)
    drive(prober, plant.rig, plant.hand)
    return prober


def trial(seed: int) -> Trial:
    """Build the plant of a seed, prove it, and hold the verdict to the truth."""
    plant = wild_plant(seed)
    began = plant.rig.now()
    prober = prove(plant, seed)
    ended = plant.rig.now()
    return Trial(seed, tuple(plant.story), prober.proofs[0], plant.deserved(ended), ended - began)


def campaign(seeds: Iterable[int]) -> Summary:
    """Try every seed."""
    return summed(trial(seed) for seed in seeds)


def summed(trials: Iterable[Trial]) -> Summary:
    """Sum trials up."""
    counts: Counter[tuple[Verdict, bool]] = Counter()
    wrong = []
    for one in trials:
        counts[one.proof.verdict, one.deserved] += 1
        if one.false_pass:
            wrong.append(one)
    in_order = sorted(counts.items(), key=lambda item: (list(Verdict).index(item[0][0]), item[0][1]))
    return Summary(tuple((verdict, deserved, count) for (verdict, deserved), count in in_order), tuple(wrong))
