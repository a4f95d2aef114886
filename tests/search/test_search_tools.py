"""Tests of the tools of the search: scenarios as source, their simplification, and a run in each mode."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from netcheck.proof.result import Verdict
from netcheck.rig import scenario as parts
from netcheck.rig.bench import Bench
from netcheck.rig.random_scenarios import RandomChoices, scenario
from netcheck.rig.scenario import Act, Do, HandMove, Mode, On, Scenario, Stop, to_source
from tests.search.shrink import shrunk

MODES = tuple(Mode)


@pytest.mark.parametrize("number", range(60))
def test_the_source_of_a_scenario_builds_it_again(number: int) -> None:
    """The printed source of a scenario builds the same scenario."""
    one = scenario(RandomChoices(Random(number)), MODES[number % len(MODES)], number)
    assert eval(to_source(one), vars(parts)) == one  # our own source, not text from outside


@pytest.mark.parametrize("mode", MODES, ids=str)
def test_a_sound_plant_runs_in_every_mode(mode: Mode) -> None:
    """In each mode, every requested port has a verdict, and no proof is false."""
    move = HandMove(enter=1.2 if mode.keyed else None)
    bench = Bench(Scenario(mode=mode, pulls=(move,), plugs=(move,), stops=(Stop(), Stop(wait=8.0))))
    proofs = bench.run()
    assert [proof.subject for proof in proofs][:1] == ["d0/lan:1"]
    truth = bench.truth()
    judged = [truth.of(bench.places[proof.subject], proof) for proof in proofs if proof.verdict is Verdict.PROVEN]
    assert [one.inexcusable for one in judged] == [() for _ in judged]


def test_simplification_keeps_only_what_the_property_needs() -> None:
    """Simplification leaves out everything that the property does not need, and rounds the times."""
    wanted = Act(do=Do.RESTART, on=On.PULL, after=3.4, lasts=12.3)
    rich = replace(
        scenario(RandomChoices(Random(4)), Mode.KEYED, 4),
        acts=(Act(do=Do.MUTE), wanted, Act(do=Do.SUSPEND, lasts=4.0)),
        pulls=(HandMove(after=2.7), HandMove(lasts=1.5)),
    )
    simple = shrunk(rich, lambda one: any(act.do is Do.RESTART and act.lasts > 8 for act in one.acts))
    assert simple == Scenario(seed=4, devices=simple.devices, acts=(Act(do=Do.RESTART, lasts=12.0),))
