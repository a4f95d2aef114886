"""`netcheck walk` on real kernels: cables pulled in any order, the verdicts, and how gently all was watched."""

from __future__ import annotations

import pytest

from tests.lab.parallel import Job
from tests.lab.traffic_rules import violations
from tests.lab.walks import Walk, WalkResult, as_job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]

STROLLS = (
    Walk(
        "walk: each twice, in another order than the plan's",
        ("gamma", "alpha", "beta"),
        {"alpha": "proven", "beta": "proven", "gamma": "proven"},
        {"alpha": "inferred", "beta": "inferred", "gamma": "inferred"},
        own=False,
        lasts=150,
    ),
    Walk(
        "walk: two at once, one once, one never",
        ("alpha+beta", "gamma"),
        {"alpha": "unsettled", "beta": "unsettled", "gamma": "unsettled", "delta": "not-tested"},
        {"alpha": "beta/cpu", "beta": "alpha/cpu", "gamma": "pull", "delta": "never pulled"},
        ("--for", "110"),
        ignored=("gamma",),
        lasts=115,
    ),
    Walk(
        "walk: once is enough",
        ("beta",),
        {"alpha": "not-tested", "beta": "proven"},
        {"alpha": "never pulled", "beta": "--once"},
        ("--for", "75", "--once"),
        lasts=80,
    ),
    Walk(
        "walk: only one of them",
        ("beta",),
        {"alpha": "", "beta": "proven"},
        {},
        ("--only", "beta/cpu"),
        lasts=70,
    ),
)
every_stroll = pytest.mark.parametrize(
    ("job", "walk_case"), [pytest.param(as_job(walk_case), walk_case, id=walk_case.name) for walk_case in STROLLS]
)


@every_stroll
def test_walks_on_real_kernels(job: Job, walk_case: Walk, outcome: WalkResult) -> None:
    """Each device gets its verdict, the sentence names what matters, and the exit code follows."""
    ended = outcome.ended
    print(f"{walk_case.name:60} {ended.ended - ended.began:6.1f} s")
    expected = {f"{name}/cpu:1": verdict for name, verdict in walk_case.verdicts.items() if verdict}
    assert ended.verdicts == expected, ended.text
    assert all(outcome.noticed), ended.text
    for name, words in walk_case.says.items():
        proof = ended.proofs[f"{name}/cpu:1"]
        assert words in f"{proof['why']} {proof['notes']}"
    assert ended.code == (0 if set(expected.values()) == {"proven"} else 1)


@every_stroll
def test_good_manners_of_walks(job: Job, walk_case: Walk, outcome: WalkResult) -> None:
    """What an independent listener saw leave the station keeps to the addresses and the pace that 4-proof.md sets."""
    assert violations(outcome.frames, outcome.planned) == []
