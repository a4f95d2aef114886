"""Tests of situations in which a port was once called proven by mistake, and of sound ports that were refused.

Each is common in the trade (common practice, no source) or was seen on real kernels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest

from netcheck.proof.events import Action, Event, Key, RunOptions, What
from netcheck.rig.devices import Faults, lldp_frame
from netcheck.rig.network import Jack
from tests.rig.scenes import MACS, Ran, Scene, forbidden_frames, ip
from tests.rig.troubles import STRANGER, STRANGER_TEXT, alone, faulty, keyed, pair
from tests.rig.walks import SETTLED, pull_first, row_of, verdicts, walk

BOTH = pytest.mark.parametrize("keys", [False, True], ids=["hands-free", "keys"])


def either(scene: Scene, keys: bool) -> Scene:
    """Return the scene, hands-free or with a technician who confirms each movement."""
    return keyed(scene) if keys else scene


def when(scene: Scene, action: Action, act: Callable[[], None], after: float) -> Scene:
    """Call *act* *after* seconds after each request of a kind, in addition to what the technician does."""
    tell = scene.hand.told

    def told(event: Event) -> None:
        tell(event)
        if event.action is action:
            scene.rig.after(after, act)

    scene.hand.told = told  # type: ignore[method-assign]
    return scene


def proof_of(scene: Scene) -> Ran:
    """Prove, and assert that only permitted frames were sent."""
    ran = scene.prove()
    assert forbidden_frames(ran) == []
    return ran


# The connector


def test_a_cable_above_in_a_chain_that_was_in_again_in_time_is_not_its_own() -> None:
    """The cable of the device above is pulled and put back before the silence is long enough, and the right one is
    pulled just before. The other device is silent for too short a time to be certain, and the phase is repeated.
    """
    scene = Scene(options=RunOptions())
    scene.add("alpha/cpu", 20, behind="upper/cpu:1")
    scene.add("upper/cpu", 21)
    scene.add("gamma/cpu", 22)
    own, above = scene.jacks["alpha/cpu"], scene.jacks["upper/cpu"]
    own.behind, scene.hand.jacks = above, {}
    plug, enter = scene.rig.plug, partial(scene.hand.press, Key.ENTER)
    when(scene, Action.PULL, partial(plug, above, False), 0.5)
    when(scene, Action.PULL, enter, 0.6)
    when(scene, Action.PULL, partial(plug, own, False), 6.8)
    when(scene, Action.PULL, partial(plug, above, True), 6.9)
    for action in (Action.PLUG, Action.RESTORE):
        when(scene, action, partial(plug, own, True), 1.0)
        when(scene, action, enter, 1.2)
    scene.rig.after(300, partial(scene.hand.press, Key.QUIT))
    proof = proof_of(scene).proof
    assert proof.verdict == "unsettled"
    assert "upper/cpu" in proof.why


@BOTH
def test_one_mac_for_two_interfaces_of_a_device_does_not_say_which_connector(keys: bool) -> None:
    """A weak host (RFC 1122 section 3.3.4.2) answers through one connector for the addresses of both.

    The plan has no MACs that would say which connector it is.
    """
    scene = pair()
    scene.targets = []
    scene.plan("alpha/cpu", 20, mac=None)
    scene.plan("alpha/module", 30, mac=None)
    scene.plan("beta/cpu", 21)
    scene.devices["alpha/cpu"].addresses = {scene.jacks["alpha/cpu"]: {ip(20), ip(30)}}
    proof = proof_of(either(scene, keys)).proof
    assert proof.verdict == "unsettled"
    assert "alpha/module" in proof.why


# The return of the cable


@BOTH
@pytest.mark.parametrize("contact", [0.3, 1.2, 1.8])
def test_a_plug_that_slips_out_again_is_not_back(keys: bool, contact: float) -> None:
    """A plug that slips out again after its first replies is `not-back`, because the cable is out at the verdict."""
    scene = either(pair(), keys)
    scene.options = replace(scene.options, patience=20.0)
    when(scene, Action.PLUG, partial(scene.rig.plug, scene.jacks["alpha/cpu"], False), scene.hand.hand + contact)
    scene.rig.after(300, partial(scene.hand.press, Key.QUIT))
    assert proof_of(scene).proof.verdict in ("not-back", "unsettled", "still-answering")


@BOTH
def test_a_device_that_dies_after_its_first_answer_is_not_back(keys: bool) -> None:
    """A device that answers once after its return and then fails is `not-back`."""
    scene = either(pair(), keys)
    scene.options = replace(scene.options, patience=20.0)
    device = scene.devices["alpha/cpu"]
    when(scene, Action.PLUG, partial(setattr, device, "dead", True), scene.hand.hand + 0.4)
    scene.rig.after(300, partial(scene.hand.press, Key.QUIT))
    assert proof_of(scene).proof.verdict in ("not-back", "unsettled", "still-answering")


@BOTH
def test_contact_bounces_are_waited_out(keys: bool) -> None:
    """After two contact bounces, phase back begins again and the port is proven."""
    scene = either(pair(), keys)
    jack = scene.jacks["alpha/cpu"]
    bounced: list[bool] = []

    def bounce() -> None:
        if not bounced:
            bounced.append(True)
            for after, plugged in ((0.5, False), (3.5, True), (4.0, False), (7.0, True)):
                scene.rig.after(after, partial(scene.rig.plug, jack, plugged))

    when(scene, Action.PLUG, bounce, scene.hand.hand)
    assert proof_of(scene).proof.verdict == "proven"


@BOTH
@pytest.mark.parametrize("heals", [7.0, 13.0, 30.0])
def test_a_second_path_that_heals_is_no_return(keys: bool, heals: float) -> None:
    """A second path that spanning tree opens after the silence does not count as the return of the cable."""
    scene = either(pair(), keys)
    scene.options = replace(scene.options, patience=20.0)
    alpha, beta = scene.jacks["alpha/cpu"], scene.jacks["beta/cpu"]
    alpha.detour, alpha.heals = (beta,), heals
    scene.hand.returns = False
    assert proof_of(scene).proof.verdict == "still-answering"


def test_a_return_with_a_key_has_no_deadline() -> None:
    """With keys a return has no deadline: a device that its cable powers may take minutes to start."""
    scene = keyed(faulty(Faults(boots_in=240.0)))
    assert proof_of(scene).proof.verdict == "proven"


def test_a_device_may_start_for_75_seconds_hands_free() -> None:
    """Hands-free, the run waits for a return for three times the patience."""
    assert proof_of(faulty(Faults(boots_in=75.0))).proof.verdict == "proven"


# The request for the cable


@pytest.mark.parametrize("after", [0.0, 2.0, 7.0])
def test_one_restart_after_the_request_proves_nothing(after: float) -> None:
    """One restart of the device after the request does not prove the port while nobody moves a cable."""
    scene = pair()
    scene.hand.pulls = False
    restarted: list[bool] = []

    def restart() -> None:
        if not restarted:
            restarted.append(True)
            scene.devices["alpha/cpu"].restart(20.0)

    when(scene, Action.PULL, restart, after)
    assert proof_of(scene).proof.verdict == "still-answering"


@pytest.mark.parametrize("after", [12.0, 40.0, 90.0])
def test_a_late_silence_with_keys_must_be_confirmed(after: float) -> None:
    """With keys, a silence that begins long after the request does not prove the port without Enter."""
    scene = pair()
    scene.options = replace(scene.options, hands_free=False)
    scene.hand.pulls = False
    restarts: list[bool] = []

    def restart() -> None:
        if not restarts:
            restarts.append(True)
            scene.devices["alpha/cpu"].restart(30.0)

    when(scene, Action.PULL, restart, after)
    when(scene, Action.PLUG, partial(scene.hand.press, Key.ENTER), 2.0)
    scene.rig.after(400, partial(scene.hand.press, Key.QUIT))
    assert proof_of(scene).proof.verdict != "proven"


def test_a_slow_hand_confirms_with_enter() -> None:
    """A cable that is pulled half a minute after the request proves the port if Enter confirms it."""
    scene = keyed(pair())
    scene.hand.hand = 25.0
    assert proof_of(scene).proof.verdict == "proven"


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("off", "on"), [(12.0, 15.0), (20.0, 25.0)])
def test_clustered_restarts_prove_nothing_on_a_walk(off: float, on: float, seed: int) -> None:
    """Clustered restarts do not prove a port on a walk on which nobody moves a cable."""
    scene = row_of(2, lasts=200, seed=seed)
    for number in range(2 if on < 20 else 4):
        scene.rig.after(SETTLED + number * (off + on), partial(scene.devices["d20/lan"].restart, off))
    assert verdicts(walk(scene, seed=seed))["d20/lan:1"] == "unsettled"


# The connector


def exchanged(in_order: bool) -> Scene:
    """Return a scene with two devices that have each other's address, and a plan without MACs.

    The technician pulls the cables by their labels.
    """
    scene = Scene(options=RunOptions(lasts=400.0, in_order=in_order), obeys=True)
    for name, planned, real in (("d20/lan", 20, 21), ("d21/lan", 21, 20)):
        scene.plan(name, planned, mac=None)
        scene.hand.jacks[f"{name}:1"] = scene.plug(name, real, mac=MACS + 0x40 + real)
    scene.add("d22/lan", 22)
    return scene


def test_a_walk_without_macs_proves_no_connector() -> None:
    """Without planned MACs, a walk proves no connector, and a note announces this before the first pull."""
    scene = exchanged(in_order=False)
    pull_first(scene, "d20/lan", SETTLED)
    tell = scene.hand.told
    labels = {"d20/lan:1": "d21/lan:1", "d21/lan:1": "d20/lan:1", "d22/lan:1": "d22/lan:1"}
    scene.hand.told = lambda event: tell(replace(event, port=labels.get(event.port, event.port)))  # type: ignore[method-assign]
    ran = walk(scene)
    assert "proven" not in verdicts(ran).values()
    assert any("Which connector was pulled is not known" in proof.why for proof in ran.prober.proofs)
    assert any("The plan has no MAC for 2 of 3 ports" in event.text for event in ran.log if event.what is What.NOTE)


def test_the_pressed_number_proves_the_connector_without_a_mac() -> None:
    """Without a planned MAC, the number of the port that the technician presses proves the connector."""
    scene = row_of(2)
    scene.targets[0] = replace(scene.targets[0], mac=None)
    pull_first(scene, "d20/lan", SETTLED)
    scene.rig.after(SETTLED + 3.5, partial(scene.hand.press, 1))
    proof = next(proof for proof in walk(scene).prober.proofs if proof.interface == "d20/lan")
    assert (proof.verdict, proof.connector) == ("proven", "operator")


def test_an_announced_order_finds_exchanged_addresses() -> None:
    """If the announced address keeps answering and another falls silent, the verdict names both explanations."""
    ran = walk(exchanged(in_order=True))
    assert verdicts(ran)["d20/lan:1"] == verdicts(ran)["d21/lan:1"] == "swapped"
    assert "their addresses are swapped, or the wrong cable was pulled" in ran.prober.proofs[0].why


def test_an_announced_order_proves_without_macs() -> None:
    """With an announced order, each port is asked for twice, in the plan's order, and proven without a planned MAC."""
    scene = row_of(3, lasts=400.0)
    scene.targets = [replace(target, mac=None) for target in scene.targets]
    scene.options, scene.obeys = replace(scene.options, in_order=True), True
    assert list(verdicts(walk(scene)).items()) == [(f"d{last}/lan:1", "proven") for last in (20, 21, 22)]


def two_ports_direct(chassis: int) -> Scene:
    """Return a scene with a direct cable to a device with two ports, on which *chassis* announces port 2 by LLDP."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True), only=("alpha/cpu:2",))
    scene.add("alpha/cpu", 20, ports=2)
    for second in range(1, 200, 5):
        scene.rig.after(second, partial(scene.rig.say_to_station, lldp_frame(chassis, chassis, "port 2")))
    return scene


def test_lldp_of_a_switch_names_no_port_of_the_device() -> None:
    """LLDP from a switch between the computer and the device does not name a port of the device."""
    proof = proof_of(two_ports_direct(MACS + 0xF0)).proof
    assert proof.verdict == "unsettled"
    assert "The direct cable is not direct: 00-00-5E-00-53-F0 announces itself" in proof.why


def test_lldp_of_the_device_names_its_port() -> None:
    """LLDP from the device itself proves the connector."""
    proof = proof_of(two_ports_direct(MACS + 20)).proof
    assert (proof.verdict, proof.connector) == ("proven", "lldp")


# Other owners


@BOTH
def test_an_owner_that_answers_only_requests_without_a_sender(keys: bool) -> None:
    """A second owner that answers only requests without a sender address is found, because those are sent as well."""
    scene = either(pair(), keys)
    scene.plug("hidden", 20, Faults(deaf_to=bool), mac=STRANGER)
    proof = proof_of(scene).proof
    assert proof.verdict == "impostor"
    assert STRANGER_TEXT in proof.why


@BOTH
def test_an_owner_that_was_heard_earlier_in_the_run_counts(keys: bool) -> None:
    """Another MAC that answered for an address earlier in the run bars the proof of that address."""
    scene = either(pair(), keys)
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    jack = scene.plug("stranger", 21, mac=STRANGER)
    scene.devices["stranger"].dead = True
    scene.rig.after(2.0, partial(scene.devices["stranger"].announce, jack))
    ran = scene.prove()
    first, second = ran.prober.proofs
    assert (first.verdict, second.verdict) == ("proven", "unsettled")
    assert f"In this run {STRANGER_TEXT} (2 s to 2 s after the start) was heard" in second.why


# The station


def test_a_direct_link_that_is_down_for_some_seconds_is_not_pulled() -> None:
    """A direct link that is down for a few seconds (renegotiation, adapter reset) does not count as a pull."""
    scene = alone()
    scene.hand.pulls = False
    away: list[bool] = []

    def blink() -> None:
        if not away:
            away.append(True)
            scene.rig.plug(scene.jacks["alpha/cpu"], False)
            scene.rig.after(3.3, partial(scene.rig.plug, scene.jacks["alpha/cpu"], True))

    when(scene, Action.PULL, blink, 2.0)
    assert proof_of(scene).proof.verdict == "still-answering"


@pytest.mark.parametrize("seconds", [5.0, 600.0])
@pytest.mark.parametrize("at", [3.0, 9.0, 14.0])
def test_a_suspend_voids_the_phase_that_it_interrupts(at: float, seconds: float) -> None:
    """A suspend voids the phase that it interrupts, and the repeated phase proves the port."""
    scene = pair()
    scene.rig.after(at, partial(scene.rig.suspend, seconds))
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert any("suspended" in event.text for event in ran.log if event.what is What.WARN)


def test_a_direct_link_that_is_down_during_a_suspend_is_not_pulled() -> None:
    """A direct link that is down during a suspend, while the pull is asked for, does not count as a pull."""
    scene = alone()
    scene.hand.pulls = False
    when(scene, Action.PULL, partial(scene.rig.suspend, 60.0), 1.0)
    assert scene.prove().proof.verdict != "proven"


def test_a_stalled_process_is_noticed() -> None:
    """If the process is stopped for five seconds, a warning says so and the device is not blamed."""
    scene = pair()
    stalls = iter([False] * 40 + [True] + [False] * 10_000)
    pressed = scene.hand.pressed

    def slow() -> object:
        if next(stalls):
            scene.rig.receive(scene.rig.now() + 5.0)
        return pressed()

    scene.hand.pressed = slow  # type: ignore[method-assign, assignment]
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert any("netcheck itself was not running for 5 s" in event.text for event in ran.log)


def test_frames_that_did_not_leave_are_no_requests() -> None:
    """Frames that did not leave the adapter are no requests, so the missing replies are no silence."""
    scene = pair()
    scene.hand.pulls = False
    when(scene, Action.PULL, partial(scene.rig.mute, 40.0), 1.0)
    assert scene.prove().proof.verdict != "proven"


def test_dropped_frames_bar_a_proof() -> None:
    """Frames that the kernel dropped while the cable was out bar a proof: a second owner's reply may be among them."""
    scene = pair()
    when(scene, Action.PULL, partial(scene.rig.lose, 3), scene.hand.hand + 3.0)
    proof = scene.prove().proof
    assert proof.verdict == "unsettled"
    assert "frames were dropped unread since the cable was first out" in proof.why


def test_dropped_frames_bar_a_proof_of_a_repeated_phase_too() -> None:
    """After a suspend the phase is repeated, but the dropped frames may still have contained a second owner's reply."""
    scene = pair()

    first = iter([True])

    def disturb() -> None:
        if next(first, False):
            scene.rig.suspend(4.0)
            scene.rig.after(4.5, partial(scene.rig.lose, 3))

    when(scene, Action.PULL, disturb, scene.hand.hand + 2.0)
    proof = scene.prove().proof
    assert proof.verdict == "unsettled"
    assert "frames were dropped unread since the cable was first out" in proof.why


@BOTH
def test_an_interface_that_is_down_for_a_moment_is_waited_for(keys: bool) -> None:
    """An interface that is down for a moment is waited for, and the phase is repeated."""
    scene = either(pair(), keys)
    scene.rig.after(9.0, scene.rig.remove)
    scene.rig.after(14.0, partial(scene.rig.plug, scene.rig.jacks[0], True))
    assert proof_of(scene).proof.verdict == "proven"


# Sound ports that were refused


def test_addresses_that_were_exchanged_are_proven_again_in_the_same_record() -> None:
    """Two ports that were proven with each other's address are proven again when both are asked for."""
    scene = pair()
    scene.targets = [replace(target, mac=None) for target in scene.targets]
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    scene.proven = {MACS + 20: "beta/cpu", MACS + 21: "alpha/cpu"}
    assert [proof.verdict for proof in scene.prove().prober.proofs] == ["proven", "proven"]


def test_a_proof_of_a_port_that_is_not_asked_for_still_counts() -> None:
    """The earlier proof of a port that is not asked for again still counts."""
    scene = pair()
    scene.targets = [replace(target, mac=None) for target in scene.targets]
    scene.proven = {MACS + 20: "beta/cpu"}
    assert scene.prove().proof.verdict == "swapped"


@BOTH
def test_broadcast_arp_replies_count(keys: bool) -> None:
    """ARP replies to the broadcast address count (RFC 3927 section 2.5)."""
    assert proof_of(either(faulty(Faults(to_all=True)), keys)).proof.verdict == "proven"


def test_one_unlisted_address_is_no_proxy() -> None:
    """A device that answers for one unlisted address is proven with a note; it is not proxy ARP."""
    scene = pair()
    jack = scene.jacks["alpha/cpu"]
    scene.devices["alpha/cpu"].addresses = {jack: {ip(20), ip(253)}}
    proof = proof_of(scene).proof
    assert proof.verdict == "proven"
    assert any("192.0.2.253, which no list has" in note for note in proof.notes)


def test_two_interfaces_of_one_device_keep_a_cable_direct() -> None:
    """A cable is still direct if a second interface of the device answers for its own planned address."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True))
    for name, last in (("alpha/cpu", 20), ("alpha/module", 22)):
        scene.plan(name, last, mac=None)
    jack = scene.segment.join(Jack(MACS + 20))
    scene.jacks["alpha/cpu"] = scene.hand.jacks["alpha/cpu:1"] = jack
    scene.plug("alpha/cpu", 20)
    scene.segment.jacks.remove(jack)
    cpu = scene.jacks["alpha/cpu"]
    scene.hand.jacks["alpha/cpu:1"] = cpu
    scene.plug("alpha/module", 22).behind = cpu
    proof = scene.prove().proof
    assert proof.verdict == "proven"
