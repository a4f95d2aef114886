"""Tests of the truth about a verdict, on a bench without a prober: each condition of a proof, and each case of `Alike`.

The station sends two requests a second. The pull is requested at 10 s, the silence is declared sufficient at 30 s, and
the verdict follows at 40 s, whatever happened.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest

from netcheck.proof.events import Action, Event, What
from netcheck.proof.result import Proof, Verdict
from netcheck.rig.bench import DEVICE, MACS, OWN, STATION_MAC, Bench
from netcheck.rig.history import both, joined, longest, total, union, within, without
from netcheck.rig.network import START
from netcheck.rig.scenario import Device, Mode, Replies, Scenario, Stranger
from netcheck.rig.truth import Alike, Judgement, Truth, Unmet
from netcheck.wire.frames import arp_request

PULLED, ENOUGH, VERDICT = 10.0, 30.0, 40.0
PORT = "d0/lan:1"
Doing = Callable[[Bench], None]


def cable(*moves: float, index: int = 0) -> Doing:
    """Return an action: the cable of a device goes out at the first of these times, in at the second, and so on."""

    def do(bench: Bench) -> None:
        jack = bench.jack_of(index)
        for turn, at in enumerate(moves):
            bench.rig.after(at, partial(bench.rig.plug, jack, bool(turn % 2)))

    return do


def upstream(out: float, back: float) -> Doing:
    """Return an action: a cable that leads only to the device goes out and in."""

    def do(bench: Bench) -> None:
        bench.rig.after(out, partial(bench.rig.plug, bench.trunks[0], False))
        bench.rig.after(back, partial(bench.rig.plug, bench.trunks[0], True))

    return do


def restart(at: float, seconds: float) -> Doing:
    """Return an action: the device restarts."""
    return lambda bench: bench.rig.after(at, partial(bench.devices[0].restart, seconds))


def visit(at: float, until: float) -> Doing:
    """Return an action: the stranger is present from *at* to *until*."""

    def do(bench: Bench) -> None:
        bench.rig.after(at, partial(setattr, bench.strangers[0], "dead", False))
        bench.rig.after(until, partial(setattr, bench.strangers[0], "dead", True))

    return do


def stations(out: float, back: float) -> Doing:
    """Return an action: the station's own end of the cable goes out and in."""

    def do(bench: Bench) -> None:
        bench.rig.after(out, partial(bench.rig.plug, bench.rig.jacks[0], False))
        bench.rig.after(back, partial(bench.rig.plug, bench.rig.jacks[0], True))

    return do


def link_down(at: float, until: float) -> Doing:
    """Return an action: the station's link goes down while the cable stays in."""

    def do(bench: Bench) -> None:
        bench.rig.after(at, partial(bench.rig.link, bench.rig.jacks[0], False))
        bench.rig.after(until, partial(bench.rig.link, bench.rig.jacks[0], True))

    return do


def judged(
    scenario: Scenario, *doings: Doing, connector: str = "operator", entered: tuple[float, ...] = ()
) -> Judgement:
    """Return the judgement of a proof after these actions, with Enter pressed at *entered*."""
    bench = Bench(scenario)
    for do in doings:
        do(bench)
    for turn in range(100):
        bench.rig.after(turn / 2, partial(bench.rig.send, arp_request(STATION_MAC, OWN, DEVICE)))
    end = START + VERDICT
    while bench.rig.now() < end:
        bench.rig.receive(end)
    log = [
        (START, Event(at=START, what=What.BEGIN, port=PORT, text="")),
        (START + PULLED, Event(at=START + PULLED, what=What.DO, port=PORT, text="", action=Action.PULL)),
        (START + ENOUGH, Event(at=START + ENOUGH, what=What.ENOUGH, port=PORT, text="")),
        (end, Event(at=end, what=What.VERDICT, port=PORT, text="")),
    ]
    place = bench.places[PORT]
    proof = Proof(
        interface="d0/lan",
        port="1",
        address="192.0.2.20",
        verdict=Verdict.PROVEN,
        why="",
        mac=MACS + 20 + scenario.swapped,
        connector=connector,
    )
    return Truth(bench.rig, log, entered=[START + at for at in entered]).of(place, proof)


HONEST = cable(11.0, 32.0)
SWITCHED = Scenario(mode=Mode.DIRECT, through_switch=True)
CASES = {
    "honest": (Scenario(), [HONEST], (), set()),
    "never pulled": (Scenario(), [], (Unmet.CONNECTOR,), set()),
    "pulled late": (Scenario(), [cable(20.0, 32.0)], (), set()),
    "put back too early": (Scenario(), [cable(11.0, 25.0)], (Unmet.CONNECTOR,), set()),
    "still out at the verdict": (Scenario(), [cable(11.0)], (Unmet.END,), set()),
    "slipped out again": (Scenario(), [cable(11.0, 32.0, 33.0)], (Unmet.END,), set()),
    "the device died after its return": (Scenario(), [HONEST, restart(34.0, 60.0)], (Unmet.END,), set()),
    "a second path": (Scenario(heals=5.0), [HONEST], (Unmet.PATH,), set()),
    "a path that heals later": (Scenario(heals=25.0), [HONEST], (), set()),
    "a second owner": (Scenario(strangers=(Stranger(always=True),)), [HONEST], (Unmet.OWNER, Unmet.HEARD), set()),
    "one that appears later": (Scenario(strangers=(Stranger(),)), [HONEST, visit(30, 36)], (Unmet.OWNER, Unmet.HEARD),
                               set()),
    "one that answers requests without a sender":
        (Scenario(strangers=(Stranger(replies=Replies.PROBES, always=True),)), [HONEST], (Unmet.OWNER,), set()),
    "swapped, planned MACs": (Scenario(swapped=True), [HONEST], (Unmet.PATH, Unmet.DEVICE), set()),
    "a restart long before the request": (Scenario(), [restart(2.0, 30.0)], (Unmet.CONNECTOR,), set()),
    "a restart long after the request": (Scenario(), [restart(27.0, 8.0)], (Unmet.CONNECTOR,), set()),
    "a renegotiation":
        (Scenario(mode=Mode.DIRECT), [link_down(26.0, 32.0)], (Unmet.CONNECTOR,), set()),
    "a quiet switch in the cable":
        (SWITCHED, [stations(11.0, 32.0)], (Unmet.CONNECTOR,), {Alike.QUIET_SWITCH}),
    "a switch in the cable that announces itself":
        (replace(SWITCHED, switch_lldp="port 1"), [stations(11.0, 32.0)], (Unmet.CONNECTOR,), set()),
    "another cable": (Scenario(), [upstream(11.0, 32.0)], (Unmet.CONNECTOR,), {Alike.ANOTHER_CABLE}),
    "a restart just after the request":
        (Scenario(), [restart(11.0, 22.0)], (Unmet.CONNECTOR,), {Alike.BY_ITSELF}),
    "two restarts, half a second apart":
        (Scenario(), [restart(11.0, 12.0), restart(23.5, 9.0)], (Unmet.CONNECTOR,), {Alike.BY_ITSELF}),
    "two restarts, three seconds apart":
        (Scenario(), [restart(11.0, 12.0), restart(26.0, 9.0)], (Unmet.CONNECTOR,), set()),
    "put back early, a slow start": (Scenario(devices=(Device(boots=20.0),)), [cable(11.0, 15.0)], (Unmet.CONNECTOR,),
                                     {Alike.PUT_BACK_EARLY}),
    "a copy of the MAC": (Scenario(strangers=(Stranger(always=True, twin=True),)), [HONEST], (Unmet.OWNER,),
                          {Alike.TWIN}),
    "an owner for two seconds": (Scenario(strangers=(Stranger(replies=Replies.PROBES),)), [HONEST, visit(15, 17)], (),
                                 {Alike.BRIEF}),
    "an owner that answers echo alone":
        (Scenario(strangers=(Stranger(replies=Replies.ECHO, always=True),)), [HONEST], (Unmet.OWNER,), {Alike.MUTE}),
    "an owner without a sender, away meanwhile":
        (Scenario(strangers=(Stranger(replies=Replies.PROBES),)), [HONEST, visit(1, 9)], (Unmet.OWNER,),
         {Alike.PROBES}),
    "slipped out a moment ago": (Scenario(), [cable(11.0, 32.0, 39.0)], (Unmet.END,), {Alike.LAST_MOMENT}),
}  # fmt: skip


@pytest.mark.parametrize(("scenario", "doings", "unmet", "alike"), CASES.values(), ids=CASES.keys())
def test_each_case_fails_the_expected_conditions(
    scenario: Scenario, doings: list[Doing], unmet: tuple[Unmet, ...], alike: set[Alike]
) -> None:
    """Each case fails exactly the expected conditions, and is excused only if no station could have noticed it."""
    found = judged(scenario, *doings)
    assert set(found.unmet) == set(unmet)
    assert found.alike == alike
    assert found.deserved == (not unmet)
    assert found.apart == bool(unmet and alike)


def test_a_false_confirmation_excuses_only_the_confirmed_pull() -> None:
    """A restart 17 s after the request is excused by an Enter that confirms the pull, not by one after the silence."""
    assert judged(Scenario(), restart(27.0, 8.0), entered=(28.0,)).alike == {Alike.FALSE_KEY}
    assert judged(Scenario(), restart(27.0, 8.0), entered=(31.0,)).alike == set()


def test_lldp_of_another_speaker_is_no_excuse() -> None:
    """A quiet switch is no excuse if LLDP from a switch in the cable was accepted as that of the device."""
    found = judged(SWITCHED, stations(11.0, 32.0), connector="lldp")
    assert found.inexcusable == (Unmet.CONNECTOR,)


def test_arithmetic_of_spans() -> None:
    """Union, difference and intersection of time spans are computed correctly."""
    assert union([(1, 3), (5, 6)], [(2, 4)]) == [(1, 4), (5, 6)]
    assert without([(0, 10)], [(2, 3), (5, 20)]) == [(0, 2), (3, 5)]
    assert both([(0, 4), (6, 9)], [(3, 7)]) == [(3, 4), (6, 7)]
    assert within([(0, 4), (6, 9)], 3, 7) == [(3, 4), (6, 7)]
    assert joined([(0, 4), (5, 6), (9, 10)], 1) == [(0, 6), (9, 10)]
    assert (longest([(0, 4), (6, 9)]), total([(0, 4), (6, 9)]), longest([])) == (4, 7, 0.0)
