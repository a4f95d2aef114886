"""Tests of the content of a record: which attempt counts, remarks, and files that belong to it."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from pathlib import Path

import pytest

from netcheck.proof.result import Verdict, standing
from netcheck.record.model import Attachment, PortRemark
from netcheck.record.verify import merged, read_record, verify
from netcheck.record.write import Recorder
from tests.record.conftest import a_run, make_proof

LAN = "line-panel/lan"


@pytest.mark.parametrize(
    ("made", "counts"),
    [
        (["proven", "unsettled"], "proven"),
        (["proven", "not-tested"], "proven"),
        (["swapped", "unsettled"], "swapped"),
        (["swapped", "unsettled", "unsettled"], "swapped"),
        (["proven", "silent"], "silent"),
        (["silent", "proven"], "proven"),
        (["proven", "not-back", "unsettled"], "not-back"),
        (["unsettled", "proven"], "proven"),
        (["unsettled", "not-tested"], "unsettled"),
        (["proven", "skipped"], "proven"),
        (["unsettled", "skipped"], "unsettled"),
        (["skipped", "unsettled"], "unsettled"),
        (["not-tested", "skipped"], "skipped"),
        (["proven", "wrong-settings"], "wrong-settings"),
        (["not-tested", "unsettled"], "unsettled"),
        (["not-tested", "not-tested"], "not-tested"),
    ],
)
def test_the_latest_definite_verdict_counts(
    made: list[str], counts: str, recorder: Callable[..., Recorder], tmp_path: Path
) -> None:
    """A later `unsettled` or `not-tested` never hides an earlier verdict, and all attempts are kept.

    This holds in a list, in a record, in a continued record and between records.
    """
    proofs = [make_proof(LAN, verdict=Verdict(word)) for word in made]
    assert [proof.verdict for proof in standing(proofs)] == [counts]
    with recorder() as record:
        for proof in proofs:
            record.proof(proof)
        assert record.finished[f"{LAN}:1"].verdict == counts
    with recorder() as record:
        assert record.finished[f"{LAN}:1"].verdict == counts
    content = read_record(tmp_path / "run.jsonl").content
    assert [proved.proof.verdict for proved in content.proofs] == [counts]
    assert len(content.older) == len(made) - 1
    (port,) = merged([("run.jsonl", verify(tmp_path / "run.jsonl"))])
    assert port.attempts[0][1].verdict == counts
    assert sorted(str(attempt.verdict) for _, attempt in port.attempts) == sorted(made)


def test_a_definite_verdict_replaces_every_other() -> None:
    """For all pairs: a definite verdict replaces any verdict; the other three never replace a definite verdict."""
    nothing = (Verdict.UNSETTLED, Verdict.SKIPPED, Verdict.NOT_TESTED)
    for later, earlier in product(Verdict, repeat=2):
        weak = later in nothing
        strong_before = earlier not in nothing
        if not weak:
            assert later.replaces(earlier)
        elif strong_before:
            assert not later.replaces(earlier)
        assert later.replaces(None)


def test_the_summary_of_a_run_counts_a_repeated_port_once(recorder: Callable[..., Recorder]) -> None:
    """The summary counts the attempt that counts, and the record has no contradiction."""
    with recorder() as record:
        record.proof(make_proof(LAN))
        record.proof(make_proof(LAN, verdict=Verdict.UNSETTLED))
        record.end({"proven": 1})
    assert verify(record.path).contradictions == ()


def test_remarks_and_files_are_in_the_content(recorder: Callable[..., Recorder], tmp_path: Path) -> None:
    """A remark has its port, its time and its author: the name given with the remark, or the name of the run.

    A file that is given several times is attached once.
    """
    photo = Attachment("photo.jpg", 12, "ab" * 32)
    with recorder() as record:
        record.remark(f"{LAN}:1", "label missing", "A. Example")
        record.attach(photo)
        record.attach(photo)
    with recorder() as record:
        record.attach(photo)
        record.remark("", "rain")
    content = read_record(tmp_path / "run.jsonl").content
    assert [(one.port, one.text, one.by) for one in content.remarks] == [
        (f"{LAN}:1", "label missing", "A. Example"), ("", "rain", ""),
    ]  # fmt: skip
    assert isinstance(content.remarks[0], PortRemark)
    assert content.attachments == (photo,)
    assert verify(tmp_path / "run.jsonl").attachments == (photo,)


def test_a_proof_knows_the_run_that_made_it(recorder: Callable[..., Recorder], tmp_path: Path) -> None:
    """If two technicians use one record one after the other, each proof names its own technician."""
    for name in ("A", "B"):
        run = a_run()
        with recorder(run.__class__(**{**{f: getattr(run, f) for f in run.__slots__}, "by": name})) as record:
            record.proof(make_proof(LAN if name == "A" else "filler-drive/lan"))
    content = read_record(tmp_path / "run.jsonl").content
    assert [proved.run.by for proved in content.proofs if proved.run] == ["A", "B"]
