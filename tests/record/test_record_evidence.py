"""Recorded evidence is judged again: a valid chain does not make a proof valid whose counts do not support it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from netcheck.proof.result import Other, Phase, PhaseResult, Proof, Tally, Verdict
from netcheck.proof.verdict.silence_rule import luck
from netcheck.record.evidence import MOST, contradictions
from netcheck.record.model import Run
from netcheck.record.verify import Verification, verify
from netcheck.record.write import Recorder
from netcheck.rig.campaign.run import prove
from netcheck.rig.campaign.sites import site_of
from tests.record.conftest import make_proof

SOUND = make_proof("pasteuriser-plc/cpu")


def with_out(arp: Tally, echo: Tally) -> Proof:
    """Return the sound proof with other counts in phase `out`."""
    phases = dict(SOUND.phases) | {Phase.OUT: PhaseResult(arp, echo, 5.0)}
    asked = sum(result.arp.sent for result in phases.values())
    return replace(SOUND, phases=tuple(phases.items()), unheard=0.5**asked)


FORGED: dict[str, tuple[Proof, str]] = {
    "answers with the cable out": (
        with_out(Tally(13, 13), Tally(19, 19)),
        "the verdict proven does not follow from the counts, which give still-answering",
    ),
    "nothing was sent with the cable out": (with_out(Tally(0, 0), Tally(0, 0)), "which give unsettled"),
    "it never came back": (replace(SOUND, phases=SOUND.phases[:2], unheard=0.5**15), "which give not-back"),
    "no counts at all": (replace(SOUND, phases=(), unheard=None, luck=None), "does not follow from the counts"),
    "another owner with the cable out": (
        replace(SOUND, others=(Other(0x00005E005399, 0xC000023D, "out"),)),
        "which give impostor",
    ),
    "two owners with the cable in": (
        replace(SOUND, others=(Other(0x00005E005399, 0xC000023D, "in"),)),
        "which give contested",
    ),
    "proven with a wrong mask": (
        replace(SOUND, evidence=(("mask", "mask is /25, planned /24"),)),
        "the verdict proven does not follow from the counts, which give wrong-settings",
    ),
    "wrong settings that nothing shows": (replace(SOUND, verdict=Verdict.WRONG_SETTINGS), "which give proven"),
    "silent with answers": (replace(SOUND, verdict=Verdict.SILENT), "requests were answered"),
    "luck better than the counts": (
        replace(SOUND, luck=1e-20),
        "luck is 1.0e-20, but the counts give at least 6.8e-15",
    ),
    "luck of several pulls better than the counts": (
        replace(SOUND, luck=1e-12, evidence=(("pulls", "silent for 5.0 s"),)),
        "luck is 1.0e-12, but the counts give at least 3.3e-05",
    ),
    "unheard better than the counts": (replace(SOUND, unheard=1e-12), "but 18 broadcast requests give 3.8e-06"),
}


@pytest.mark.parametrize("name", FORGED)
def test_a_proof_that_does_not_follow_from_its_counts(name: str) -> None:
    """The contradiction names the verdict that the counts give; own arithmetic: 0.5 ** 18 = 3.8e-6."""
    proof, words = FORGED[name]
    assert words in " ".join(contradictions(proof))


def test_a_sound_proof_has_no_contradiction() -> None:
    """A verdict that is worse than its counts is no contradiction: the judge knew more than the record holds."""
    assert list(contradictions(SOUND)) == []
    assert list(contradictions(replace(SOUND, verdict=Verdict.UNSETTLED))) == []
    assert luck(8, 8, 7) == SOUND.luck


def test_proofs_of_simulated_sites_have_no_contradiction() -> None:
    """No sound record of any kind of site of the truth campaign is called contradictory."""
    for seed in range(60):
        for proof in prove(site_of(seed), seed).proofs:
            assert list(contradictions(proof)) == [], seed


def written(path: Path, proofs: list[Proof], end: dict[str, int], step: float = 40.0) -> Verification:
    """Return the verification of a record with these proofs, `step` seconds apart."""
    times: Iterator[datetime] = (datetime(2026, 11, 2, tzinfo=UTC) + timedelta(seconds=step * n) for n in range(999))
    run = Run(plan="Tarn Hollow creamery", revision="C", sha256="11" * 32, version="0.1.0")
    with Recorder.open(path, run, {}, lambda: next(times)) as recorder:
        for proof in proofs:
            recorder.proof(proof)
        recorder.end(end)
    return verify(path)


@pytest.mark.parametrize(
    ("end", "words"),
    [({"proven": 2}, "counts 2 proven, but the run has 1 such proofs"), ({}, "counts 0 proven"), ({"proven": 1}, "")],
    ids=["more", "fewer", "right"],
)
def test_the_summary_is_compared_with_the_proofs(end: dict[str, int], words: str, tmp_path: Path) -> None:
    """A false `end` line is reported, although its chain is valid."""
    seen = written(tmp_path / "r.jsonl", [SOUND], end)
    assert (seen.passes, seen.flaw) == (not words, None)
    assert words in " ".join(seen.contradictions)


def test_the_length_of_phases_is_compared_with_the_time_stamps(tmp_path: Path) -> None:
    """Phases cannot last longer than the run, except on a simulated bench, which has its own time."""
    long = replace(SOUND, phases=tuple((p, replace(r, seconds=r.seconds + 60)) for p, r in SOUND.phases))
    seen = written(tmp_path / "r.jsonl", [long], {"proven": 1})
    assert "its phases last 186 s, but only 40 s passed" in seen.contradictions[0]
    assert written(tmp_path / "s.jsonl", [long], {"proven": 1}, step=200).contradictions == ()


def test_contradictions_are_bounded(tmp_path: Path) -> None:
    """A hostile record can have thousands of contradictions; only the first are listed."""
    bad = [replace(SOUND, port=str(port), luck=1e-20) for port in range(MOST + 5)]
    seen = written(tmp_path / "r.jsonl", bad, {"proven": len(bad)}, step=60)
    assert len(seen.contradictions) == MOST + 1
    assert seen.contradictions[-1] == "5 more contradictions"


def test_a_record_of_two_plans_is_reported(tmp_path: Path, proof: Callable[..., Proof]) -> None:
    """A run of another plan that was appended with a valid chain is a contradiction."""
    from netcheck.record.chain import GENESIS, LineKind, to_line

    data, prev = b"", GENESIS
    runs = [
        Run(plan=name, revision="C", sha256="11" * 32, version="0.1.0").to_json()
        for name in ("Tarn Hollow creamery", "Elsewhere")
    ]
    parts = ((LineKind.START, runs[0]), (LineKind.EVENT, {"event": "resumed", "text": "x", "facts": runs[1]}))
    for n, (kind, fields) in enumerate(parts):
        line, prev = to_line(n, kind, "2026-11-02T09:14:03.120Z", json.loads(json.dumps(fields)), prev)
        data += line
    (tmp_path / "r.jsonl").write_bytes(data)
    assert "the run is of plan 'Elsewhere'" in verify(tmp_path / "r.jsonl").contradictions[0]
