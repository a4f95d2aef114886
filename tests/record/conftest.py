"""Proofs, a run and a clock for the tests of the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from netcheck.proof.result import Phase, PhaseResult, Proof, Rtt, Tally, Verdict
from netcheck.proof.verdict.silence_rule import luck
from netcheck.record.model import Run
from netcheck.record.write import Recorder

ROWS = {"pasteuriser-plc/cpu": "aaaa", "line-panel/lan": "bbbb", "filler-drive/lan": "cccc"}


def make_proof(interface: str, port: str = "1", verdict: Verdict = Verdict.PROVEN) -> Proof:
    """Return a short proof whose verdict follows from its counts."""
    if verdict is Verdict.SILENT:
        nothing = PhaseResult(Tally(8, 0), Tally(30, 0), 1.0)
        return Proof(
            interface=interface,
            port=port,
            address="192.0.2.61",
            verdict=verdict,
            why="made",
            phases=((Phase.IN, nothing),),
        )
    phases = (
        (Phase.IN, PhaseResult(Tally(8, 8), Tally(30, 30), 1.0, Rtt(0.1, 0.2, 0.4))),
        (Phase.OUT, PhaseResult(Tally(7, 0), Tally(19, 0), 5.0)),
        (Phase.BACK, PhaseResult(Tally(3, 3), Tally(9, 9), 0.4, Rtt(0.1, 0.2, 0.4))),
    )
    return Proof(
        interface=interface,
        port=port,
        address="192.0.2.61",
        verdict=verdict,
        why="made",
        mac=0x00005E005321,
        cable="operator",
        connector="operator",
        identity="planned",
        luck=luck(8, 8, 7),
        unheard=0.5**18,
        phases=phases,
    )


def ticking() -> Callable[[], datetime]:
    """Return a clock that advances by 1.001 s at every call, from 2026-11-02 09:14:03.120 UTC."""
    times: Iterator[datetime] = (
        datetime(2026, 11, 2, 9, 14, 3, 120_000, tzinfo=UTC) + timedelta(seconds=1.001 * step)
        for step in range(1_000_000)
    )
    return lambda: next(times)


def a_run(sha256: str = "11" * 32, plan: str = "Tarn Hollow creamery") -> Run:
    """Return a run with a plan of this hash."""
    return Run(
        plan=plan,
        revision="C",
        sha256=sha256,
        version="0.1.0",
        station="192.0.2.245/24",
        interface="eth0",
        permit="work order 4711",
    )


@pytest.fixture
def proof() -> Callable[..., Proof]:
    """Return a function that makes a proof of an interface."""
    return make_proof


@pytest.fixture
def run() -> Callable[..., Run]:
    """Return a function that makes a run."""
    return a_run


@pytest.fixture
def recorder(tmp_path: Path) -> Callable[..., Recorder]:
    """Return a function that opens `run.jsonl` in the test's folder with a run, three rows and a clock."""

    def start(run: Run | None = None, rows: dict[str, str] | None = None) -> Recorder:
        return Recorder.open(tmp_path / "run.jsonl", run or a_run(), ROWS if rows is None else rows, ticking())

    return start


@pytest.fixture
def finished(recorder: Callable[..., Recorder], tmp_path: Path) -> Path:
    """A record of two proofs with an `end` line."""
    with recorder() as record:
        record.event("carrier", "the link came up", speed=100)
        record.proof(make_proof("pasteuriser-plc/cpu"))
        record.proof(make_proof("line-panel/lan", verdict=Verdict.SILENT))
        record.end({"proven": 1, "silent": 1})
    return tmp_path / "run.jsonl"
