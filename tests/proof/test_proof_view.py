"""Tests of the remaining seconds of a silence, against a count of further misses with exact fractions."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Address
from netcheck.proof.events import Action, RunOptions
from netcheck.proof.port.pull import Pull
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import Probe, ProbeKind
from netcheck.proof.probing.scheduler import Pace, ProbeScheduler
from netcheck.proof.result import Phase, PhaseResult, Tally
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Net, Scope, Target
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY, LEAST_ARP_OUT, Confirmed
from netcheck.proof.view import seconds_to_hold
from netcheck.wire.link import Adapter

BASE = Address.from_text("192.0.2.0").value
MOST = 300  # misses counted ahead
MAC = 0x00005E005314  # documentation MACs: RFC 7042 section 2.1.2


def misses_to_come(seen: Tally, missed: int, tried: int, step: int, limit: float) -> int:
    """Return how many more misses bring one kind of probe to the limit, by the posterior predictive in exact fractions,
    one miss after another.
    """
    chance, misses, lost = Fraction(1), 0, seen.sent - seen.answered
    while seen.answered and misses < missed + MOST:
        more = misses - missed
        if more >= 0 and chance * (tried + step * more) <= limit:
            return more
        chance *= (Fraction(lost + misses) + Fraction(1, 2)) / (seen.sent + 1 + misses)
        misses += 1
    return MOST if seen.answered else 0


def case_of(
    arp: Tally, echo: Tally, missed: tuple[int, int], silent: float, cable: str, least: float = 7.5
) -> PortState:
    """Return a port whose cable has been out for *silent* seconds, with the given unanswered probes since then."""
    target = Target(
        interface="d20/lan", port="1", device="d20", address=BASE + 20, address_text="192.0.2.20", subnet="process"
    )
    net = Net("process", BASE, 24, None, None, ())
    adapter = Adapter("x0", MAC + 1, ((BASE + 1, 24),))
    run = RunState(
        Scope(targets=(target,), asked=(target,), nets=(net,)),
        RunOptions(),
        ProbeScheduler([adapter], True, Pace(), Random(1)),
        Random(1),
    )
    case = PortState(run, target)
    run.now, case.mac = 1000.0, MAC
    pull = case.pull = Pull(run.now - silent)
    pull.cable, pull.needed = cable, least
    pull.confirmed = Confirmed.CARRIER if cable == "carrier" else Confirmed.OPERATOR
    pull.out_from = pull.counted_from = pull.silent_from = run.now - silent
    case.results[Phase.IN] = PhaseResult(arp, echo)
    for kind, many in zip(ProbeKind, missed, strict=True):
        probes = (
            Probe(kind, target.address, 0, n, pull.counted_from + 0.01, run.now, settled=True) for n in range(many)
        )
        case.entry.probes.extend(probes)
    return case


def tallies(most: int) -> st.SearchStrategy[Tally]:
    """Draw a tally of at most *most* probes, of which some are answered."""
    return st.integers(0, most).flatmap(lambda sent: st.builds(Tally, st.just(sent), st.integers(0, sent)))


@settings(deadline=None, max_examples=60)
@given(
    arp=tallies(60),
    echo=tallies(120),
    missed=st.tuples(st.integers(0, 12), st.integers(0, 30)),
    silent=st.floats(0, 30),
    how=st.sampled_from(["inferred", "operator", "operator, restarted"]),
)
def test_the_remaining_seconds_equal_the_count_of_further_misses(
    arp: Tally, echo: Tally, missed: tuple[int, int], silent: float, how: str
) -> None:
    """The remaining seconds are the largest of three times: the rest of the least silence, the time for the required
    requests, and the time for the misses that each kind needs. Without loss only echo counts. If the start was
    inferred, every searched probe counts.
    """
    case = case_of(arp, echo, missed, silent, how.split(",")[0])
    pull = case.pull
    assert pull is not None
    step = 0 if how == "operator" else 1
    pull.out_from -= 5.0 if "restarted" in how else 0.0
    tried = [max(1, many) if step else 1 for many in missed]
    lossless = echo.answered == echo.sent > 0 and arp.answered in (0, arp.sent)
    waits = [
        pull.needed - silent,
        (LEAST_ARP_OUT - missed[0]) * ARP_EVERY,
        0.0 if lossless else misses_to_come(arp, missed[0], tried[0], step, case.limit) * ARP_EVERY,
        misses_to_come(echo, missed[1], tried[1], step, case.limit) * ECHO_EVERY,
    ]
    assert seconds_to_hold(case) == pytest.approx(max(0.0, *waits))


def test_zero_seconds_remain_once_the_silence_suffices() -> None:
    """Zero seconds remain if and only if the silence of the port is evidence."""
    for arps in range(9):
        case = case_of(Tally(8, 8), Tally(30, 30), (arps, 4 * arps), 1.01 * arps, "operator")
        assert (seconds_to_hold(case) == 0.0) == case.silent_enough(), arps


def test_with_carrier_only_the_least_silence_counts() -> None:
    """With carrier as evidence no requests are sent, and only the least silence counts."""
    left = [
        seconds_to_hold(case_of(Tally(8, 8), Tally(30, 30), (0, 0), since, "carrier", 10.0)) for since in (1.0, 11.0)
    ]
    assert left == pytest.approx([9.0, 0.0])


def test_a_reason_stays_as_long_as_its_request() -> None:
    """The reason of an open request is still shown minutes later.

    It ends with the request. A warning that is not renewed ends within seconds.
    """
    pace = Pace(total=500.0, each=5.0)
    scheduler = ProbeScheduler([Adapter("eth0", MAC, ())], True, pace, Random(1))
    run = RunState(Scope(targets=(), asked=(), nets=()), RunOptions(), scheduler, Random(1))
    run.ask(Action.MOVE, "alpha/cpu:2", "Move the cable")
    run.warn("alpha/cpu:2", "beta still answers")
    run.now = 500.0
    assert run.warning_now() is not None
    run.drop_request("alpha/cpu:2")
    assert run.warning_now() is None
    run.warn("alpha/cpu:2", "the wrong cable", holds=True)
    run.now += 2.0
    assert run.warning_now() is not None
    run.now += 2.0
    assert run.warning_now() is None
