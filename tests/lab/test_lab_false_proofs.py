"""Ports that look proven and are not, on real kernels: `prove` and `walk` must not call one of them `proven`.

Each case was called `proven` before the rule existed that it tests. Three cases need the rig or a link, and their tests
are there: a suspend of the computer, frames that the queue refuses, and the luck of a walk.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import pytest

from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.lab.plants import false_proofs as bad
from tests.lab.plants.usual import IMPOSTOR_MAC, swapped_pair
from tests.lab.scenarios import ONE, PORT, PORTABLE, SHORT, Expected, Scenario, ScenarioResult, one, prove
from tests.lab.walks import Walk, WalkResult, as_job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(900)]

NOT_BACK = one(("not-back", "unsettled"))
GIVEN_UP = one(("not-back", "unsettled", "skipped"))  # with keys the technician skips a device that does not return
LOOSE = one(("not-back", "unsettled", "still-answering"))  # the loose plug makes contact from time to time
WRONG = one(("still-answering", "swapped"))
UNDECIDED = one(("unsettled", "still-answering"))
DIRECT = (*SHORT, "--direct")
RING_FAST = one(("still-answering", "unsettled"))  # the second path opens while the silence is counted, or soon after
RING = (*ONE, "--patience", "30")  # longer than the 26 s until the second path opens

PROVING: tuple[Scenario, ...] = (
    # Phase back: one reply or three replies after the plug are not a return.
    Scenario("back: one reply, then out", bad.slips_out(1), NOT_BACK, SHORT, lasts=60),
    Scenario("back: one reply, then out, keyed", bad.slips_out(1), GIVEN_UP, keys=True, lasts=60),
    Scenario("back: three replies, then out", bad.slips_out(3), NOT_BACK, SHORT, lasts=60),
    Scenario("back: three contacts of two replies", bad.slips_out(2, contacts=3), LOOSE, SHORT, lasts=70),
    Scenario("back: flaps for good", bad.slips_out(2, contacts=30), LOOSE, SHORT, lasts=120),
    Scenario("back: dies after one reply", bad.dies_after_one_reply(), NOT_BACK, SHORT, lasts=60),
    Scenario("back: one reply, direct", bad.slips_out(1, direct=True), NOT_BACK, DIRECT, direct=True, lasts=60),
    Scenario("back: dies, direct", bad.dies_after_one_reply(direct=True), NOT_BACK, DIRECT, direct=True, lasts=60),
    # Wrong keys of the operator.
    Scenario("confirmed without pulling, keyed", bad.confirmed_without_pulling, WRONG, SHORT, keys=True, lasts=50),
    Scenario("confirmed wrong cable, keyed", bad.confirmed_wrong_cable, WRONG, SHORT, keys=True, lasts=50),
    # Silences without a pull.
    Scenario("restarts 40 s after the request", bad.restarts_late, UNDECIDED, lasts=200),
    Scenario("direct: link away for 3.3 s", bad.link_away(3.3), UNDECIDED, DIRECT, direct=True, lasts=60),
    Scenario("direct: link away for 8 s", bad.link_away(8.0), UNDECIDED, DIRECT, direct=True, lasts=60),
    # Connectors and second paths.
    Scenario(
        "direct: a quiet switch that sends LLDP",
        bad.quiet_switch_with_lldp,
        Expected({"alpha/cpu:2": "unsettled"}),
        ("--only", "alpha/cpu:2", "--direct"),
        direct=True,
        own=False,
        lasts=60,
    ),
    Scenario("ring heals in 26 s, hands-free", bad.ring_heals(13), one("still-answering"), RING, lasts=150),
    Scenario("ring heals in 26 s, keyed", bad.ring_heals(13), one("still-answering"), RING, keys=True, lasts=150),
    Scenario("ring heals in 10 s, hands-free", bad.ring_heals(5), RING_FAST, RING, lasts=100),
    Scenario("ring heals in 10 s, keyed", bad.ring_heals(5), RING_FAST, RING, keys=True, lasts=100),
    # Second owners.
    Scenario(
        "owner that answers only probes without a sender",
        bad.owner_for_anonymous_requests,
        one(("impostor", "contested"), IMPOSTOR_MAC),
        lasts=60,
    ),
    Scenario("owner at the return", bad.owner_at_the_return, one("contested", IMPOSTOR_MAC), lasts=60),
    Scenario(
        "owner heard while another port was under test",
        bad.owner_during_another_port,
        Expected({"beta/cpu:1": ("unsettled", "contested"), PORT: "proven"}, IMPOSTOR_MAC),
        ("--only", "alpha/cpu", "--only", "beta/cpu"),
        lasts=100,
    ),
    Scenario(
        "owner announced while another port was under test",
        bad.owner_announces_during_another_port,
        Expected({"beta/cpu:1": ("unsettled", "contested"), PORT: "proven"}, IMPOSTOR_MAC),
        (),
        lasts=100,
    ),
    Scenario(
        "portable: owner that answers only probes without a sender",
        bad.owner_for_anonymous_requests,
        one(("impostor", "contested"), IMPOSTOR_MAC),
        (*ONE, *PORTABLE),
        lasts=60,
    ),
    Scenario("portable: one reply, then out", bad.slips_out(1), NOT_BACK, (*SHORT, *PORTABLE), lasts=60),
    Scenario("frames lost while the cable is out", bad.frames_lost_while_out, one(("unsettled", "impostor")), lasts=60),
)


@pytest.mark.parametrize(
    ("job", "scenario"),
    [pytest.param(Job(case.name, partial(prove, case), case.lasts), case, id=case.name) for case in PROVING],
)
def test_prove_gives_no_false_proof(job: Job, scenario: Scenario, outcome: ScenarioResult) -> None:
    """The port gets a verdict that is true, the sentence names the other owner, and the exit code is 1."""
    ended, expected = outcome.ended, scenario.expected
    print(f"{scenario.name:50} {ended.ended - ended.began:6.1f} s  {ended.verdicts}")
    for port, allowed in expected.verdicts.items():
        assert ended.verdicts[port] in ((allowed,) if isinstance(allowed, str) else allowed), ended.text
    assert expected.says in ended.proofs[next(iter(expected.verdicts))]["why"]
    assert ended.code == 1
    assert "Traceback" not in ended.text


def restarts(*seconds: float) -> Callable[[Plant], None]:
    """Return a step of a walk without a technician: the first device is off, on, off for these seconds.

    It begins 10 s after the addresses are known, so that the walk counts a silence of 12 s.
    """

    def happen(plant: Plant) -> None:
        time.sleep(10.0)
        bad.off_and_on(plant, plant.devices[0], *seconds)

    return happen


NOT_IN_PLACE = ("swapped", "unsettled")
EXCHANGED = {"alpha": "beta", "beta": "alpha"}
WALKS: tuple[Walk, ...] = (
    Walk(
        "walk: swapped addresses, no MAC in the plan",
        ("alpha", "beta"),
        {"alpha": "unsettled", "beta": "unsettled"},
        {"alpha": "MAC", "beta": "MAC"},
        ("--for", "150"),
        mistaken=EXCHANGED,
        macs=False,
        build=swapped_pair,
        lasts=155,
    ),
    Walk(
        "walk: in order, swapped addresses, no MAC in the plan",
        (),
        {"alpha": NOT_IN_PLACE, "beta": NOT_IN_PLACE},
        words=("--in-order", "--for", "120"),
        macs=False,
        build=swapped_pair,
        lasts=125,
    ),
    Walk(
        "walk: no MAC in the plan",
        ("alpha", "beta"),
        {"alpha": "unsettled", "beta": "unsettled"},
        {"alpha": "MAC", "beta": "MAC"},
        ("--for", "150"),
        macs=False,
        lasts=155,
    ),
    Walk(
        "walk: nobody there, two restarts of 12 s",
        (),
        {"alpha": "unsettled", "beta": "not-tested"},
        words=("--for", "100"),
        ignored=("alpha",),
        happens=restarts(12, 15, 12),
        lasts=105,
    ),
    Walk(
        "walk: nobody there, boot loop of 20 s and 25 s",
        (),
        {"alpha": "unsettled", "beta": "not-tested"},
        words=("--for", "190"),
        ignored=("alpha",),
        happens=restarts(20, 25, 20, 25, 20, 25, 20),
        lasts=195,
    ),
)


@pytest.mark.parametrize(
    ("job", "case"), [pytest.param(as_job(case), case, id=case.name.removeprefix("walk: ")) for case in WALKS]
)
def test_walk_gives_no_false_proof(job: Job, case: Walk, outcome: WalkResult) -> None:
    """No port is proven, and the sentence names the missing evidence."""
    ended = outcome.ended
    print(f"{case.name:50} {ended.ended - ended.began:6.1f} s  {ended.verdicts}")
    expected = {f"{name}/cpu:1": verdict for name, verdict in case.verdicts.items()}
    for port, verdict in ended.verdicts.items():
        assert verdict in (expected[port] if isinstance(expected[port], tuple) else (expected[port],)), ended.text
    assert ended.verdicts.keys() == expected.keys()
    for name, words in case.says.items():
        assert words in ended.proofs[f"{name}/cpu:1"]["why"]
    assert ended.code == 1
