"""`prove` on a Windows computer, on real kernels: the same situations and verdicts as those of Linux in tests/lab.

Frames pass through Wine's capture library, which uses libpcap; devices, switch and cables are those of the laboratory.
`pytest -rA` prints the table of situations with both verdicts.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest

from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.scenarios import ODD, USUAL, Scenario, ScenarioResult, prove
from tests.windows.stations import Prepare, as_job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
SITUATIONS = (
    "healthy through a switch",
    "healthy, borrowed address",
    "healthy, direct",
    "absent",
    "two owners",
    "owner with the cable out",
    "router with proxy ARP",
    "swapped pair",
    "station's own cable",
    "never returns",
    "echo ignored",
    "borrowed address is owned",
    "interface removed",
    "Enter confirms",
)
WINE_KEEPS_IT = "interface removed"  # Wine still lists a removed adapter, as one without carrier
SCENARIOS = {scenario.name: scenario for scenario in (*USUAL, *ODD)}


def proved(scenario: Scenario, lab: Lab, folder: Path, prepare: Prepare) -> ScenarioResult:
    """Prove with a Windows computer as the station."""
    return prove(scenario, lab, folder, prepare)


@pytest.mark.parametrize(
    ("windows_job", "scenario"),
    [
        pytest.param(as_job(name, partial(proved, SCENARIOS[name]), SCENARIOS[name].lasts), SCENARIOS[name], id=name)
        for name in SITUATIONS
    ],
)
def test_windows_gives_the_verdict_of_linux(windows_job: Job, scenario: Scenario, outcome: ScenarioResult) -> None:
    """Each situation gets the same verdict, exit code and words as on Linux."""
    ended, expected = outcome.ended, scenario.expected
    assert {port: ended.verdicts[port] for port in expected.verdicts} == expected.verdicts, ended.text
    print(f"{scenario.name:30} Linux {[*expected.verdicts.values()]}, Windows {[*ended.verdicts.values()]}")
    first = ended.proofs[next(iter(expected.verdicts))]
    if scenario.name != WINE_KEEPS_IT:
        assert expected.says in first["why"]
    assert expected.warns in ended.text
    assert expected.echo in (first["echo"] or "")
    assert expected.cable in (first["cable"] or "")
    assert "Traceback" not in ended.text
    everything_proven = all(verdict == "proven" for verdict in ended.verdicts.values())
    assert ended.code == (expected.code if expected.code is not None else 0 if everything_proven else 1)
