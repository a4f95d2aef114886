"""Tests of sites that the campaign judged wrongly, each reduced to a small scene."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from netcheck.proof.events import Action, Event, What
from netcheck.proof.port.phase_in import ENOUGH_IN
from netcheck.proof.result import Phase, Verdict
from netcheck.rig.devices import Faults
from netcheck.rig.network import Jack, Rig
from tests.rig.scenes import MACS, Scene
from tests.rig.troubles import alone, keyed, pair, wrong_cable


def pulled_when_heard(scene: Scene, after: float) -> Scene:
    """Pull the cable *after* seconds after its first answer, before the request.

    Later the technician follows the instructions.
    """
    tell, jack = scene.hand.told, scene.jacks["alpha/cpu"]

    def told(event: Event) -> None:
        tell(event)
        if event.what is What.HEARD and event.port == "alpha/cpu:1":
            scene.rig.after(after, partial(scene.rig.plug, jack, False))

    scene.hand.told = told  # type: ignore[method-assign]
    return scene


def test_a_direct_cable_out_before_the_request_ends_the_wait() -> None:
    """A hands-free run ends when the direct cable was out before the request, instead of waiting without end."""
    ran = pulled_when_heard(alone(), 0.7).prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert ran.seconds < 120
    assert any("before it was asked for" in event.text for event in ran.log)


def test_cable_out_just_after_the_first_answer_is_noticed() -> None:
    """A silence before the request is noticed even if no reply is left among the stored probes."""
    scene = pulled_when_heard(pair(), 0.5)
    scene.hand.hand = 0.4  # the cable is in again before the request
    ran = scene.prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert any("fell silent before" in event.text for event in ran.log)


def test_an_announcement_after_a_short_pull_counts_once() -> None:
    """If a device announces its address after a short pull, this pull is refused once, not once for each probe."""
    scene = pair()
    scene.devices["alpha/cpu"].faults = Faults(checks_itself=True)
    jack, tell = scene.jacks["alpha/cpu"], scene.hand.told
    asked: list[Event] = []

    def told(event: Event) -> None:
        if event.action is Action.PULL and not asked:
            asked.append(event)
            scene.rig.after(1.0, partial(scene.rig.plug, jack, False))
            scene.rig.after(1.3, partial(scene.rig.plug, jack, True))
            scene.hand.log.append(event)
        else:
            tell(event)

    scene.hand.told = told  # type: ignore[method-assign]
    ran = scene.prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert sum(event.action is Action.PULL for event in ran.log) == 3


def test_pulling_the_only_control_is_not_an_outage_of_the_switch() -> None:
    """If the technician pulls the only other device, the port is swapped: the whole switch has not fallen silent."""
    ran = keyed(wrong_cable(corrected=False)).prove()
    assert ran.proof.verdict is Verdict.SWAPPED
    assert not any("everything fell silent" in event.text for event in ran.log)


def test_a_reply_delayed_past_the_return_is_not_from_phase_out() -> None:
    """A reply to a request that was delayed past the return of the cable is not a reply with the cable out."""
    scene = pair()
    scene.hand.hand = 0.4
    scene.jacks["alpha/cpu"].jitter = 0.7
    for seed in range(6):
        again = replace(scene, seed=seed, targets=[])
        again.add("alpha/cpu", 20).jitter = 0.7
        again.add("beta/cpu", 21)
        again.hand.hand = 0.4
        assert again.prove().proof.verdict is Verdict.PROVEN, seed


def test_a_second_owner_heard_before_enter_is_heard_in_phase_out() -> None:
    """A second owner that answers between the pull and Enter counts as heard with the cable out."""
    for early in range(5):
        scene = keyed(pair(seed=early))
        scene.hand.hand = 1.0 + 0.2 * early
        scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["alpha/cpu"], slow=0.3), mac=MACS + 0x99)
        assert scene.prove().proof.verdict is Verdict.IMPOSTOR, early


def test_a_lost_last_request_of_phase_in_is_repeated() -> None:
    """If the last ARP request of phase in is lost, the phase continues until five requests have been sent."""
    for seed in (3, 10, 29, 33):
        scene = Scene(seed=seed, own=False)
        scene.hand.hand = 0.4
        scene.add("alpha/cpu", 20, Faults(echo=False)).loss = 0.12
        scene.add("beta/cpu", 21)
        proof = scene.prove().proof
        assert proof.verdict is Verdict.PROVEN, (seed, proof.why)
        assert dict(proof.phases)[Phase.IN].arp.sent >= 5


def test_a_silence_outlasts_a_burst_of_loss() -> None:
    """If replies were lost before, a silence confirmed by a key must outlast the likely bursts of loss."""
    scene = link_down(keyed(pair()), (2.0, 2.6))
    ran = scene.prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert dict(ran.proof.phases)[Phase.OUT].seconds >= 15.0


def link_down(scene: Scene, *spans: tuple[float, float]) -> Scene:
    """Take the link to alpha down at each of these times, in seconds from the start."""
    worn = scene.jacks["alpha/cpu"].behind = Jack(0)
    for since, until in spans:
        scene.rig.after(since, partial(scene.rig.plug, worn, False))
        scene.rig.after(until, partial(scene.rig.plug, worn, True))
    return scene


def asked_at(log: list[Event], action: Action = Action.PULL) -> list[float]:
    """Return the times of the requests for an action."""
    return [event.at for event in log if event.action is action]


def test_the_cable_is_not_requested_during_a_burst_of_loss() -> None:
    """The cable is not requested while a burst of loss may last, and the silence must be much longer than the burst."""
    scene = link_down(keyed(pair()), (4.0, 8.0))
    began = scene.rig.now()
    ran = scene.prove()
    assert all(at > began + ENOUGH_IN for at in asked_at(ran.log))
    assert ran.proof.verdict is Verdict.PROVEN
    assert dict(ran.proof.phases)[Phase.OUT].seconds > 4 * 4.0


def test_long_gaps_need_a_long_silence() -> None:
    """After gaps of nine seconds, a proof needs a silence of four times that length."""
    ran = link_down(keyed(pair()), (3.0, 12.5), (20.0, 29.5)).prove()
    assert ran.proof.verdict is not Verdict.PROVEN or dict(ran.proof.phases)[Phase.OUT].seconds > 4 * 9.0


def test_bursts_of_loss_just_before_the_pull_count() -> None:
    """Bursts of loss between the request and the pull lengthen every silence that is needed."""
    scene = link_down(pair(), *((5.0 + 1.5 * n, 5.8 + 1.5 * n) for n in range(2)))
    scene.hand.hand = 5.0
    ran = scene.prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert dict(ran.proof.phases)[Phase.OUT].seconds > 2 * 8.0


def test_a_request_delayed_past_the_end_of_the_test_is_not_from_phase_out() -> None:
    """A request that is delayed past the end of the port's test and then answered does not make the port
    still-answering.
    """
    for seed in range(6):
        scene = Scene(seed=seed)
        scene.hand.hand = 0.4
        alpha = scene.add("alpha/cpu", 20)
        alpha.jitter = 0.7
        scene.add("beta/cpu", 21)
        scene.add("gamma/cpu", 22).behind = alpha
        proof = scene.prove().proof
        assert proof.verdict is Verdict.UNSETTLED, (seed, proof.why)
        assert "gamma/cpu" in proof.why


def test_a_ring_through_a_blocking_port_carries_no_frames() -> None:
    """A ring through a switch port that does not forward yet carries no frames."""
    rig = Rig(1, [], [])
    first, ring = Jack(MACS + 20, forwarding_from=rig.now() + 15.0), Jack(0)
    second = Jack(MACS + 21, detour=(first, ring), plugged=False)
    assert not second.passes(rig.now() + 10.0, rig.random)
    assert second.passes(rig.now() + 20.0, rig.random)
