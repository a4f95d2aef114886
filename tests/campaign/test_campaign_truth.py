"""Tests of a small campaign: no false proof, healthy ports proven, faults named, the same result on any machine.

The full campaign: `netcheck rehearse --campaign 37000 --seed 1`.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace

import pytest

from netcheck.proof.result import Verdict
from netcheck.report.text.campaign import to_json, to_text
from netcheck.rig.campaign.distribution import Fault
from netcheck.rig.campaign.run import Summary, prove, summed, trial, trials
from netcheck.rig.campaign.sites import site_of
from netcheck.rig.truth import Unmet
from tests.rig.scenes import Ran, forbidden_frames

SITES, SEED = 240, 9


@pytest.fixture(scope="module")
def summary() -> Summary:
    """Return the summary of some hundred sites."""
    return summed(SEED, trials(SITES, SEED, 1))


def test_no_false_proof(summary: Summary) -> None:
    """No port is proven unless the cable that was out leads to the only owner of the address."""
    assert summary.sites == SITES
    assert summary.false_proofs == ()
    assert summary.undeserved.of > SITES / 3


def test_healthy_ports_are_proven_and_faults_named(summary: Summary) -> None:
    """Almost all healthy ports are proven, and almost all faults are named."""
    assert summary.healthy.seen >= 0.97 * summary.healthy.of > 20
    assert summary.faulty.seen >= 0.95 * summary.faulty.of > 80


def test_every_site_is_in_one_row(summary: Summary) -> None:
    """The rows count every site exactly once, by class and by verdict."""
    assert sum(row.sites for row in summary.rows) == SITES
    assert all(sum(count for _, count in row.counts) == row.sites for row in summary.rows)


def test_same_seed_same_result_on_any_number_of_processes() -> None:
    """Two processes give the same trials as one."""
    assert trials(60, 4, 2) == trials(60, 4, 1)


def test_campaigns_of_different_seeds_share_no_site() -> None:
    """Campaigns with different seeds draw different sites."""
    assert {one.seed for one in trials(3, 1, 1)}.isdisjoint(one.seed for one in trials(3, 2, 1))


@pytest.mark.parametrize("seed", range(70_000, 70_030))
def test_only_permitted_frames_at_any_site(seed: int) -> None:
    """Only permitted frames are sent at any site."""
    site = site_of(seed)
    began = site.rig.now()
    prober = prove(site, seed)
    assert forbidden_frames(Ran(prober, site.rig, [], site.rig.now() - began)) == []


def test_false_proofs_are_shown(summary: Summary) -> None:
    """A false proof is counted and named with its site, and is not counted among the indistinguishable cases."""
    honest = next(one for one in trials(60, SEED, 1) if one.verdict is Verdict.PROVEN and not one.apart)
    wrong = replace(honest, deserved=False, unmet=(Unmet.CONNECTOR,))
    shown = summed(SEED, [honest, wrong])
    assert shown.false_proofs == (wrong,)
    assert f"FALSE PROOF site {wrong.seed}" in to_text(shown)
    assert to_json(shown)["false_proofs"]["seen"] == 1


def test_impersonators_count_apart() -> None:
    """A perfect impersonator is proven, as the README says, and counts only among the indistinguishable cases."""
    seed = next(seed for seed in range(1000) if site_of(seed).drawn.fault is Fault.TWIN)
    shown = summed(0, [trial(seed)])
    assert shown.undeserved.of == shown.faulty.of == 0
    assert shown.apart.of == 1


def test_the_command_prints_the_table_and_is_the_same_under_any_hash_seed() -> None:
    """`netcheck rehearse --campaign` exits with 0 and prints the same bytes under any hash seed; its JSON adds up."""
    words = [sys.executable, "-m", "netcheck", "rehearse", "--campaign", "30", "--seed", "5", "--format", "json"]
    runs = [
        subprocess.run(words, capture_output=True, text=True, check=False, env={**os.environ, "PYTHONHASHSEED": seed})
        for seed in ("1", "2")
    ]
    assert [run.returncode for run in runs] == [0, 0], runs[0].stderr
    assert runs[0].stdout == runs[1].stdout
    shown = json.loads(runs[0].stdout)
    assert sum(row["sites"] for row in shown["rows"]) == shown["campaign"]["sites"] == 30


@pytest.mark.parametrize("width", [80, 100, 140])
def test_the_table_keeps_to_the_terminal(summary: Summary, width: int) -> None:
    """No line is wider than the terminal, and every class and verdict is in the table."""
    shown = to_text(replace(summary, false_proofs=()), width=width)
    assert max(map(len, shown.splitlines())) <= width
    assert all(row.label.split()[0] in shown for row in summary.rows)
    assert "still-answering" in shown
