"""Tests of `netcheck walk` on real kernels: cables pulled in any order, the verdicts, and the rate of the watch."""

from __future__ import annotations

import pytest

from tests.lab.parallel import Job
from tests.lab.traffic_rules import violations
from tests.lab.walks import Walk, WalkResult, as_job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]

WALKS = (
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
every_walk = pytest.mark.parametrize(
    ("job", "case"), [pytest.param(as_job(case), case, id=case.name) for case in WALKS]
)


@every_walk
def test_walks_on_real_kernels(job: Job, case: Walk, outcome: WalkResult) -> None:
    """Each device gets its verdict, the sentence names the cause, and the exit code agrees with the verdicts."""
    ended = outcome.ended
    print(f"{case.name:60} {ended.ended - ended.began:6.1f} s")
    expected = {f"{name}/cpu:1": verdict for name, verdict in case.verdicts.items() if verdict}
    assert ended.verdicts == expected, ended.text
    assert all(outcome.noticed), ended.text
    for name, words in case.says.items():
        proof = ended.proofs[f"{name}/cpu:1"]
        assert words in f"{proof['why']} {proof['notes']}"
    assert ended.code == (0 if set(expected.values()) == {"proven"} else 1)


@every_walk
def test_frames_of_walks_keep_to_addresses_and_pace(job: Job, case: Walk, outcome: WalkResult) -> None:
    """The frames that an independent listener saw leave the station keep to the allowed addresses and pace."""
    assert violations(outcome.frames, outcome.planned) == []
