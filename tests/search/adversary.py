"""Search for false proofs: `python tests/search/adversary.py --seconds 600` (or `--mode walk`, `--seed 7`).

Hypothesis draws scenarios, and prefers those in which a port that deserves no proof collects evidence. It then
simplifies what it found. The output is the number of scenarios tried per second, and each false proof as a line of
source to paste into a test.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

sys.path.insert(0, str(Path(__file__).parents[2]))

from hypothesis import HealthCheck, Phase, given, seed, settings, target
from hypothesis import strategies as st

from netcheck.proof.events import What
from netcheck.proof.result import Proof, Verdict
from netcheck.rig.bench import Bench
from netcheck.rig.random_scenarios import scenario
from netcheck.rig.scenario import Mode, Scenario, to_source
from netcheck.rig.truth import Judgement, Unmet
from tests.search.shrink import shrunk

T = TypeVar("T")
EACH = 3  # findings of one mode and condition that are kept
A_ROUND = 400  # scenarios drawn before the search restarts with another seed
PROGRESS = (What.HEARD, What.SILENT, What.ENOUGH, What.RETURNED)  # the events of a port on the way to a proof


class DrawnChoices:
    """Choices that Hypothesis draws and simplifies."""

    def __init__(self, draw: Any) -> None:
        """Keep `draw`, the function that a composite strategy receives."""
        self._draw = draw

    def pick(self, options: Sequence[T]) -> T:
        """Return one of the options; the simplest is the first."""
        return options[self._draw(st.integers(0, len(options) - 1))]  # type: ignore[no-any-return]

    def seconds(self, low: float, high: float) -> float:
        """Return a multiple of 0.1; the simplest is the lowest."""
        return self._draw(st.integers(round(low * 10), round(high * 10))) / 10  # type: ignore[no-any-return]

    def maybe(self, share: float) -> bool:
        """Return True in this share of calls; the simplest is False."""
        return self._draw(st.integers(0, 99)) >= round(100 * (1 - share))  # type: ignore[no-any-return]


@st.composite
def scenarios(draw: Any, mode: Mode) -> Scenario:
    """Draw a scenario of a mode."""
    return scenario(DrawnChoices(draw), mode, 1)


@dataclass(frozen=True)
class FalseProof:
    """A port that is proven against the truth, without an excuse."""

    scenario: Scenario
    subject: str
    unmet: tuple[Unmet, ...]
    tried: int  # number of scenarios tried until it was found

    def to_test(self) -> str:
        """Return the scenario as a line to paste into a list of scenarios."""
        said = "; ".join(map(str, self.unmet))
        return f"    # {self.subject}: {said}\n    {to_source(self.scenario)},"

    @property
    def kind(self) -> tuple[Mode, tuple[Unmet, ...]]:
        """The mode and the unmet conditions: two findings with the same values are of one kind."""
        return self.scenario.mode, self.unmet


class Falsified(AssertionError):
    """Raised when a false proof is found."""

    def __init__(self, found: FalseProof) -> None:
        super().__init__(found.to_test())
        self.found = found


@dataclass
class Search:
    """A search in progress: the number of scenarios tried, the findings, and the kinds already known."""

    tried: int = 0
    proven: int = 0
    alike: Counter[str] = field(default_factory=Counter)
    found: list[FalseProof] = field(default_factory=list)
    again: int = 0  # findings that became equal to a known one when simplified

    def run(self, mode: Mode, number: int, until: float) -> None:
        """Search one round; a false proof of a new kind ends the round and is simplified."""

        @seed(number)
        @settings(
            max_examples=A_ROUND, deadline=None, database=None, suppress_health_check=list(HealthCheck),
            phases=(Phase.generate, Phase.target), print_blob=False,
        )  # fmt: skip
        @given(scenarios(mode))
        def hold(one: Scenario) -> None:
            if time.monotonic() < until and (found := self._try(one)) is not None:
                raise Falsified(found)

        try:
            hold()
        except Falsified as falsified:
            first = falsified.found
            simplest = shrunk(first.scenario, lambda one: any(found.kind == first.kind for found in false_proofs(one)))
            for found in false_proofs(simplest):
                if found.kind == first.kind:
                    self._keep(replace(found, tried=first.tried))

    def _keep(self, found: FalseProof) -> None:
        if any(found.scenario == one.scenario for one in self.found):
            self.again += 1
            return
        self.found.append(found)
        print(f"FALSE PROOF after {found.tried} scenarios\n{found.to_test()}", flush=True)

    def _try(self, one: Scenario) -> FalseProof | None:
        """Run a scenario, and return its false proof if that is of a new kind."""
        known = Counter(found.kind for found in self.found)
        self.tried += 1
        score = 0.0
        for proof, judgement, progress in outcomes(one):
            proven = proof.verdict is Verdict.PROVEN
            self.proven += proven
            if proven and judgement.apart:
                self.alike.update(judgement.alike)
            if judgement.inexcusable:
                score = max(score, progress)
                found = FalseProof(one, proof.subject, judgement.inexcusable, self.tried)
                if proven and known[found.kind] < EACH:
                    return found
        target(score)
        return None


def false_proofs(one: Scenario) -> list[FalseProof]:
    """Run a scenario, and return every port that is proven without excuse."""
    return [
        FalseProof(one, proof.subject, judgement.inexcusable, 0)
        for proof, judgement, _ in outcomes(one)
        if proof.verdict is Verdict.PROVEN and judgement.inexcusable
    ]


def outcomes(one: Scenario) -> Iterator[tuple[Proof, Judgement, float]]:
    """Run a scenario, and yield for each port its proof, its judgement, and its progress towards a proof, from 0 to
    5.
    """
    bench = Bench(one)
    proofs = bench.run()
    truth = bench.truth()
    for proof in proofs:
        seen = {event.what for _, event in bench.hand.log if event.port == proof.subject}
        progress = sum(what in seen for what in PROGRESS) + (proof.verdict is Verdict.PROVEN)
        yield proof, truth.of(bench.places[proof.subject], proof), float(progress)


def search(seconds: float, first: int = 0, modes: Sequence[Mode] = tuple(Mode)) -> Search:
    """Search for *seconds*, the modes in turn; the same seeds try the same scenarios."""
    found, until, number = Search(), time.monotonic() + seconds, first
    while time.monotonic() < until:
        found.run(modes[number % len(modes)], number, until)
        number += 1
    return found


def main() -> int:
    """Search from the command line; return exit code 1 if a false proof was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0, help="how long to search")
    parser.add_argument("--seed", type=int, default=0, help="number of the first round")
    parser.add_argument("--mode", choices=[mode.name.lower() for mode in Mode], action="append", help="only this one")
    words = parser.parse_args()
    modes = tuple(Mode[name.upper()] for name in words.mode or ()) or tuple(Mode)
    began = time.monotonic()
    done = search(words.seconds, words.seed, modes)
    took = time.monotonic() - began
    print(f"{done.tried} scenarios in {took:.0f} s ({done.tried / took:.0f} a second), {done.proven} ports proven")
    for alike, count in done.alike.most_common():
        print(f"{count:6} proven, and no station could know: {alike}")
    print(f"{len(done.found)} false proofs, {done.again} of them found more than once")
    return 1 if done.found else 0


if __name__ == "__main__":
    sys.exit(main())
