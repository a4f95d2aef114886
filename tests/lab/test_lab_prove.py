"""Every verdict of `netcheck prove` on real kernels: network namespaces, a technician at the cables, the JSON result.

The scenarios run in parallel, because they mostly wait; each test checks the result of its own scenario.
"""

from __future__ import annotations

import re
from functools import partial

import pytest

from tests.lab.parallel import Job
from tests.lab.plant import STATION_MAC
from tests.lab.scenarios import AS_PORTABLE, ODD, PORT, USUAL, Expected, Scenario, ScenarioResult, prove
from tests.lab.technician import Request, request_in
from tests.lab.traffic_rules import violations

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
SCENARIOS = (*USUAL, *ODD, *AS_PORTABLE)


def acted(scenario: Scenario) -> Job:
    """Return the scenario as a job."""
    return Job(scenario.name, partial(prove, scenario), scenario.lasts)


every_scenario = pytest.mark.parametrize(
    ("job", "scenario"), [pytest.param(acted(scenario), scenario, id=scenario.name) for scenario in SCENARIOS]
)


@every_scenario
def test_verdict_on_real_kernels(job: Job, scenario: Scenario, outcome: ScenarioResult) -> None:
    """Each scenario gets its verdict, its exit code and a sentence that names the cause."""
    ended, expected = outcome.ended, scenario.expected
    print(f"{scenario.name:40} {ended.ended - ended.began:6.1f} s  {list(ended.verdicts.values())}")
    assert {port: ended.verdicts[port] for port in expected.verdicts} == expected.verdicts, ended.text
    assert_details(expected, outcome)
    everything_proven = all(verdict == "proven" for verdict in ended.verdicts.values())
    assert ended.code == (expected.code if expected.code is not None else 0 if everything_proven else 1), ended.text


def assert_details(expected: Expected, outcome: ScenarioResult) -> None:
    """Check the first port's proof and the lines of the run."""
    first = outcome.ended.proofs[next(iter(expected.verdicts))]
    assert expected.says in first["why"]
    assert expected.notes in " ".join(first.get("notes", ()))
    assert expected.warns in outcome.ended.text
    assert expected.echo in (first["echo"] or "")
    assert expected.cable in (first["cable"] or "")
    assert expected.connector in (first["connector"] or "")
    assert "Traceback" not in outcome.ended.text


@every_scenario
def test_frames_keep_to_addresses_and_pace(job: Job, scenario: Scenario, outcome: ScenarioResult) -> None:
    """The frames that an independent listener saw leave the station keep to the allowed addresses and pace."""
    assert any(frame.source == STATION_MAC for frame in outcome.frames)
    assert violations(outcome.frames, outcome.planned, scenario.limits) == []


PULLS = {"healthy through a switch": 2, "healthy, direct": 1, "Enter confirms": 1}
LOUD = re.compile(r"\b(?:pull|plug)\b", re.IGNORECASE)


def requests_of(result: ScenarioResult) -> list[Request]:
    """Return the requests of a run, in order."""
    return [request for line in result.ended.lines if (request := request_in(line.text)) is not None]


@pytest.mark.parametrize(
    ("job", "pulls"),
    [pytest.param(acted(case), PULLS[case.name], id=case.name) for case in SCENARIOS if case.name in PULLS],
)
def test_each_request_is_one_line(job: Job, pulls: int, outcome: ScenarioResult) -> None:
    """A script that obeys each line with `pull` or `plug` and the port moves the cable often enough.

    Hands-free through a switch it moves the cable twice, because only an answered request shows a technician; in other
    runs once.
    """
    moves = [request for request in requests_of(outcome) if request.port == PORT and (request.pulls or request.plugs)]
    first = next(number for number, request in enumerate(moves) if request.pulls)
    assert [request.pulls for request in moves[first:]] == [True, False] * pulls
    others = [line.text for line in outcome.ended.lines if PORT in line.text and not line.text.startswith("do ")]
    assert [text for text in others if LOUD.search(text)] == []
