"""Sites that the campaign found to be judged wrongly, each kept as small as it could be made."""

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
    """The cable is out so many seconds after its first answer, before anybody asked; later the hand does as told."""
    tell, jack = scene.hand.told, scene.jacks["alpha/cpu"]

    def told(event: Event) -> None:
        tell(event)
        if event.what is What.HEARD and event.port == "alpha/cpu:1":
            scene.rig.after(after, partial(scene.rig.plug, jack, False))

    scene.hand.told = told  # type: ignore[method-assign]
    return scene


def test_direct_cable_out_before_it_is_asked_for_ends_by_itself() -> None:
    """A hands-free run waited for ever for answers through a direct cable that was already out."""
    ran = pulled_when_heard(alone(), 0.7).prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert ran.seconds < 120
    assert any("before it was asked for" in event.text for event in ran.log)


def test_cable_out_just_after_the_first_answer_is_noticed() -> None:
    """The silence before the request was so long that no answer was left among the probes that were looked at."""
    scene = pulled_when_heard(pair(), 0.5)
    scene.hand.hand = 0.4  # the cable is in before
    ran = scene.prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert any("fell silent before" in event.text for event in ran.log)


def test_an_announcement_after_a_short_pull_counts_once() -> None:
    """A device that checks its own address announced itself, and in that one moment the pull was refused five times."""
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


def test_the_only_control_pulled_instead_is_not_the_whole_switch() -> None:
    """The technician pulled the only other device and pressed Enter: the port went on answering all the while."""
    ran = keyed(wrong_cable(corrected=False)).prove()
    assert ran.proof.verdict is Verdict.SWAPPED
    assert not any("everything fell silent" in event.text for event in ran.log)


def test_an_answer_delayed_past_the_return_is_no_answer_with_the_cable_out() -> None:
    """A request was under way for half a second, met the cable that was just put in, and counted as still answering."""
    scene = pair()
    scene.hand.hand = 0.4
    scene.jacks["alpha/cpu"].jitter = 0.7
    for seed in range(6):
        again = replace(scene, seed=seed, targets=[])
        again.add("alpha/cpu", 20).jitter = 0.7
        again.add("beta/cpu", 21)
        again.hand.hand = 0.4
        assert again.prove().proof.verdict is Verdict.PROVEN, seed


def test_a_second_owner_heard_before_the_operators_word_is_heard_with_the_cable_out() -> None:
    """It answered between the pull and the Enter that told of it, and was called an owner with the cable in."""
    for early in range(5):
        scene = keyed(pair(seed=early))
        scene.hand.hand = 1.0 + 0.2 * early
        scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["alpha/cpu"], slow=0.3), mac=MACS + 0x99)
        assert scene.prove().proof.verdict is Verdict.IMPOSTOR, early


def test_a_lost_last_request_of_phase_in_is_made_up_for() -> None:
    """By ARP alone, with the fifth request lost, phase in had four: too few, though there was all the time for more."""
    for seed in (3, 10, 29, 33):
        scene = Scene(seed=seed, own=False)
        scene.hand.hand = 0.4
        scene.add("alpha/cpu", 20, Faults(echo=False)).loss = 0.12
        scene.add("beta/cpu", 21)
        proof = scene.prove().proof
        assert proof.verdict is Verdict.PROVEN, (seed, proof.why)
        assert dict(proof.phases)[Phase.IN].arp.sent >= 5


def test_a_silence_outlasts_a_burst_of_loss() -> None:
    """Where answers were lost before, a key alone says little: the silence must be longer than a link is likely bad."""
    scene = gone(keyed(pair()), (2.0, 2.6))
    ran = scene.prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert dict(ran.proof.phases)[Phase.OUT].seconds >= 15.0


def gone(scene: Scene, *spans: tuple[float, float]) -> Scene:
    """The link to alpha is gone by itself at these times, in seconds from the start."""
    worn = scene.jacks["alpha/cpu"].behind = Jack(0)
    for since, until in spans:
        scene.rig.after(since, partial(scene.rig.plug, worn, False))
        scene.rig.after(until, partial(scene.rig.plug, worn, True))
    return scene


def asked_at(log: list[Event], action: Action = Action.PULL) -> list[float]:
    """When something was asked for."""
    return [event.at for event in log if event.action is action]


def test_the_cable_is_not_asked_for_while_a_burst_of_loss_may_be_on() -> None:
    """Phase in ended while the link was gone, and a burst was taken for the pull; one alone tells little of others."""
    scene = gone(keyed(pair()), (4.0, 8.0))
    began = scene.rig.now()
    ran = scene.prove()
    assert all(at > began + ENOUGH_IN for at in asked_at(ran.log))
    assert ran.proof.verdict is Verdict.PROVEN
    assert dict(ran.proof.phases)[Phase.OUT].seconds > 4 * 4.0


def test_a_link_that_is_gone_for_long_needs_a_long_silence() -> None:
    """After gaps of nine seconds a silence must last four times as long."""
    ran = gone(keyed(pair()), (3.0, 12.5), (20.0, 29.5)).prove()
    assert ran.proof.verdict is not Verdict.PROVEN or dict(ran.proof.phases)[Phase.OUT].seconds > 4 * 9.0


def test_bursts_of_loss_just_before_the_pull_count() -> None:
    """They showed themselves only after the request: each silence is longer all the same."""
    scene = gone(pair(), *((5.0 + 1.5 * n, 5.8 + 1.5 * n) for n in range(2)))
    scene.hand.hand = 5.0
    ran = scene.prove()
    assert ran.proof.verdict is Verdict.PROVEN
    assert dict(ran.proof.phases)[Phase.OUT].seconds > 2 * 8.0


def test_a_request_delayed_past_the_end_of_the_case_is_no_answer_with_the_cable_out() -> None:
    """What hung behind the port fell silent with it, so that nothing more was to be learned; the last request then met
    the cable that was just put in, and its answer made `still-answering` of it."""
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


def test_no_frame_goes_round_a_ring_through_a_port_that_blocks() -> None:
    """On the bench a ring led through a switch port that had not begun to forward, and the only control went on."""
    rig = Rig(1, [], [])
    first, ring = Jack(MACS + 20, forwarding_from=rig.now() + 15.0), Jack(0)
    second = Jack(MACS + 21, detour=(first, ring), plugged=False)
    assert not second.passes(rig.now() + 10.0, rig.random)
    assert second.passes(rig.now() + 20.0, rig.random)
