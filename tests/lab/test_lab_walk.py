"""`netcheck walk` on real kernels: cables pulled in any order, the verdicts, and how gently all was watched."""

from __future__ import annotations

import pytest

from tests.lab.manners import ill_manners
from tests.lab.side_by_side import Play
from tests.lab.strolls import Stroll, Walked, as_play

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]

STROLLS = (
    Stroll(
        "walk: each twice, in another order than the plan's",
        ("gamma", "alpha", "gamma", "alpha", "beta", "beta"),
        {"alpha": "proven", "beta": "proven", "gamma": "proven"},
        {"alpha": "inferred", "beta": "inferred", "gamma": "inferred"},
        own=False,
        lasts=150,
    ),
    Stroll(
        "walk: two at once, one once, one never",
        ("alpha+beta", "gamma"),
        {"alpha": "unsettled", "beta": "unsettled", "gamma": "unsettled", "delta": "not-tested"},
        {"alpha": "beta/cpu", "beta": "alpha/cpu", "gamma": "pull the cable once more", "delta": "never pulled"},
        ("--for", "110"),
        lasts=115,
    ),
    Stroll(
        "walk: once is enough",
        ("beta",),
        {"alpha": "not-tested", "beta": "proven"},
        {"alpha": "never pulled", "beta": "--once"},
        ("--for", "75", "--once"),
        lasts=80,
    ),
    Stroll(
        "walk: only one of them",
        ("beta", "beta"),
        {"alpha": "", "beta": "proven"},
        {},
        ("--only", "beta/cpu"),
        lasts=70,
    ),
)
every_stroll = pytest.mark.parametrize(
    ("play", "stroll"), [pytest.param(as_play(stroll), stroll, id=stroll.name) for stroll in STROLLS]
)


@every_stroll
def test_walks_on_real_kernels(play: Play, stroll: Stroll, outcome: Walked) -> None:
    """Each device gets its verdict, the sentence names what matters, and the exit code follows."""
    ended = outcome.ended
    print(f"{stroll.name:60} {ended.ended - ended.began:6.1f} s")
    expected = {f"{name}/cpu:1": verdict for name, verdict in stroll.verdicts.items() if verdict}
    assert ended.verdicts == expected, ended.text
    assert all(outcome.noticed), ended.text
    for name, words in stroll.says.items():
        proof = ended.proofs[f"{name}/cpu:1"]
        assert words in f"{proof['why']} {proof['notes']}"
    assert ended.code == (0 if set(expected.values()) == {"proven"} else 1)


@every_stroll
def test_good_manners_of_walks(play: Play, stroll: Stroll, outcome: Walked) -> None:
    """What an independent listener saw leave the station keeps to the addresses and the pace that 4-proof.md sets."""
    assert ill_manners(outcome.frames, outcome.planned) == []
