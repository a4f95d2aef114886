"""Every verdict on real kernels: `netcheck prove` in network namespaces, a hand on the cables, the JSON that it prints.

Scenarios run beside one another, since they mostly wait; each test then looks at its own.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.lab.hall import Hall
from tests.lab.netns import Lab, why_not
from tests.lab.scenarios import SCENARIOS, Scenario

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
AT_ONCE = 6


@dataclass
class Ran:
    """How a scenario ended."""

    code: int
    out: dict[str, Any]
    lines: list[str]
    seconds: float


def run(scenario: Scenario, folder: Path) -> Ran:
    """Build the plant, prove, and take everything down again."""
    with Lab("ncp") as lab:
        hall = Hall.built(lab, folder, own_address=scenario.own_address, direct=scenario.direct)
        hall.hand = hall.honest
        scenario.build(hall)
        began = time.monotonic()
        code, out = hall.prove(*scenario.words, plan=hall.plan(macs=scenario.macs))
        return Ran(code, out, hall.lines, time.monotonic() - began)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Future[Ran]]]:
    """All scenarios, some at a time."""
    if reason := why_not():
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(f"no laboratory: {reason}")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield {s.name: pool.submit(run, s, tmp_path_factory.mktemp("run")) for s in SCENARIOS}


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_verdict_on_real_kernels(scenario: Scenario, runs: dict[str, Future[Ran]]) -> None:
    """Each scenario gets its verdict, its exit code and a sentence that names what matters."""
    ran = runs[scenario.name].result()
    said = "\n".join(ran.lines)
    proofs = {f"{proof['interface']}:{proof['port']}": proof for proof in ran.out["proofs"]}
    print(f"{scenario.name:40} {ran.seconds:6.1f} s  {[proof['verdict'] for proof in proofs.values()]}")
    assert {port: proofs[port]["verdict"] for port, _ in scenario.expects} == dict(scenario.expects), said
    first = proofs[scenario.expects[0][0]]
    assert scenario.says in (said if scenario.code else first["why"])
    everything_proven = all(verdict == "proven" for _, verdict in scenario.expects)
    assert ran.code == (scenario.code if scenario.code is not None else 0 if everything_proven else 1), said
