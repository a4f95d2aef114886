"""Tests of the course of a run: the frames and their times, the events, and the effect of the options."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from itertools import pairwise
from random import Random

import pytest

from netcheck.proof.driver import drive
from netcheck.proof.events import Action, Event, Key, RunOptions, What
from netcheck.proof.prober import Prober
from netcheck.proof.probing.scheduler import Send
from netcheck.proof.result import Phase
from netcheck.proof.verdict.names import Names
from netcheck.rig.devices import Faults
from netcheck.rig.network import Jack, Rig, Segment
from netcheck.wire.frames import REQUEST, arp_from_wire, arp_request
from netcheck.wire.link import Adapter, News
from tests.rig.scenes import BORROWED, GATEWAY, MACS, Ran, Scene, forbidden_frames, ip


def pair(**about: object) -> Scene:
    """Return a scene with two healthy devices on a switch; the first is to be proven."""
    scene = Scene(**about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20)
    scene.add("beta/cpu", 21)
    return scene


def said(ran: Ran, what: What) -> list[Event]:
    """Return the events of a kind."""
    return [event for event in ran.log if event.what is what]


def arps(ran: Ran, target: int, sender: int) -> list[float]:
    """Return the times of the ARP requests for *target* from *sender*."""
    asked = ((at, arp_from_wire(frame)) for at, _, frame in ran.rig.sent)
    return [at for at, arp in asked if arp and arp.op == REQUEST and (arp.target_ip, arp.sender_ip) == (target, sender)]


@pytest.mark.parametrize("seed", range(5))
def test_a_borrowed_address_is_probed_first(seed: int) -> None:
    """A borrowed address is probed before use: RFC 5227 section 1.1, PROBE_WAIT 1 s, PROBE_NUM 3, PROBE_MIN 1 s to
    PROBE_MAX 2 s apart, ANNOUNCE_WAIT 2 s. Nothing else is sent before.
    """
    ran = pair(own=False, seed=seed).prove()
    probes = arps(ran, BORROWED, 0)
    began = ran.rig.now() - ran.seconds
    assert len(probes) == 3
    assert probes[0] - began <= 1.0 + 0.06  # the prober takes a step every 50 ms
    assert all(1.0 <= later - earlier <= 2.06 for earlier, later in pairwise(probes))
    others = [at for at, _, _ in ran.rig.sent if at not in probes]
    assert min(others) >= probes[-1] + 2.0


def test_a_request_for_the_borrowed_address_is_answered() -> None:
    """A request for the borrowed address gets a unicast reply."""
    scene = pair(own=False)
    jack = scene.plug("asker", 77)
    scene.rig.after(10, lambda: scene.rig.transmit(jack, arp_request(jack.mac, ip(77), BORROWED)))
    ran = scene.prove()
    replies = [frame for _, _, frame in ran.rig.sent if (arp := arp_from_wire(frame)) and arp.op != REQUEST]
    assert [frame[:6] for frame in replies] == [jack.mac.to_bytes(6, "big")]
    assert forbidden_frames(ran) == []


def test_own_address_is_never_probed() -> None:
    """A station with its own address borrows and probes none."""
    ran = pair().prove()
    assert arps(ran, BORROWED, 0) == []


def test_a_last_attempt_after_the_patience() -> None:
    """If nothing answered within the patience, three ARP requests with sender 0 are sent as a last attempt."""
    scene = pair()
    scene.devices["alpha/cpu"].dead = True
    scene.options = replace(scene.options, patience=20.0)
    ran = scene.prove()
    began = ran.rig.now() - ran.seconds
    probes = arps(ran, ip(20), 0)
    assert len(probes) == 3
    assert min(probes) - began > 20.0
    assert max(arps(ran, ip(20), ip(1))) < min(probes)


def test_a_refused_run_asks_no_port() -> None:
    """A run is refused before any request to a port if a planned address is the station's, or if another host has the
    borrowed address.
    """
    planned = Scene()
    planned.add("alpha/cpu", 1)
    owned = pair(own=False)
    owned.plug("stranger", 240, mac=MACS + 0x99)
    for scene, sent in ((planned, 0), (owned, 1)):
        ran = scene.prove()
        assert ran.prober.refused
        assert [proof.verdict for proof in ran.prober.proofs] == ["not-tested"]
        assert len(ran.rig.sent) == sent
        assert all(
            arp is not None and arp.target_ip == BORROWED for arp in (arp_from_wire(f) for _, _, f in ran.rig.sent)
        )


def test_subnets_without_a_station_do_not_stop_the_others() -> None:
    """Ports of a subnet without a station address are not tested; the other ports are."""
    scene = pair()
    far = replace(scene.net, name="far", first=ip(0) + 256, gateway=None, station=None, spare=())
    scene.plan("gamma/cpu", 22)
    scene.targets[-1] = replace(scene.targets[-1], subnet="far", address=ip(0) + 256 + 22)
    scene.only = ("gamma/cpu:1", "alpha/cpu:1")
    scope = replace(scene.scope(), nets=(scene.net, far))
    prober = Prober(
        scope, scene.rig.adapters, Names(lambda mac: "", lambda mac: None), scene.options, Random(1), poll=60.0
    )
    drive(prober, scene.rig, scene.hand)
    assert {proof.interface: proof.verdict for proof in prober.proofs} == {
        "alpha/cpu": "proven",
        "gamma/cpu": "not-tested",
    }
    assert not prober.refused


@pytest.mark.parametrize("seconds", [0.0, 12.0, 40.0])
def test_out_for_lengthens_the_silence(seconds: float) -> None:
    """`--out-for S` lengthens phase out to at least S seconds."""
    scene = pair()
    scene.options = replace(scene.options, out_for=seconds)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert dict(ran.proof.phases)[Phase.OUT].seconds >= max(3.0, seconds)


def test_a_direct_silence_lasts_ten_seconds() -> None:
    """On a direct cable the silence lasts 10 s: renegotiation, adapter reset and transceiver restart end sooner."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True))
    scene.add("alpha/cpu", 20)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert 10.0 <= dict(ran.proof.phases)[Phase.OUT].seconds < 11.0


def test_the_silence_lasts_three_times_the_longest_gap() -> None:
    """A device that pauses for seconds while its cable is in must be silent for three times its longest gap."""
    scene = pair()
    device = scene.devices["alpha/cpu"]
    for second in (2.0, 6.5):
        scene.rig.after(second, partial(device.restart, 2.0))
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert dict(ran.proof.phases)[Phase.OUT].seconds >= 3 * 2.0


@pytest.mark.parametrize("limit", [1e-2, 1e-4, 1e-8])
def test_the_limit_of_luck_is_an_option(limit: float) -> None:
    """A lower limit for luck gives a proof with a figure below that limit."""
    scene = pair()
    scene.options = replace(scene.options, luck=limit)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert ran.proof.luck is not None
    assert ran.proof.luck <= limit


@pytest.mark.parametrize("limit", [1e-3, 1e-9])
def test_the_limit_of_unheard_is_an_option(limit: float) -> None:
    """A lower limit for an unheard second owner gives a proof with a figure below that limit."""
    scene = pair()
    scene.options = replace(scene.options, unheard=limit)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert ran.proof.unheard is not None
    assert ran.proof.unheard <= limit


def test_every_phase_has_enough_requests() -> None:
    """At least 5 requests of each kind are sent in phase in, 5 broadcasts in phase out and 3 in phase back."""
    phases = dict(pair().prove().proof.phases)
    assert min(phases[Phase.IN].arp.sent, phases[Phase.IN].echo.sent, phases[Phase.OUT].arp.sent) >= 5
    assert phases[Phase.BACK].arp.sent >= 3
    assert (phases[Phase.IN].arp.answered, phases[Phase.IN].echo.answered) == (
        phases[Phase.IN].arp.sent,
        phases[Phase.IN].echo.sent,
    )
    assert (phases[Phase.OUT].arp.answered, phases[Phase.OUT].echo.answered) == (0, 0)


def test_a_warning_names_the_wrong_cable_at_once() -> None:
    """A warning names the wrong cable within seconds of the pull. The run decides after half a minute."""
    scene = pair()
    scene.hand.jacks["alpha/cpu:1"] = scene.jacks["beta/cpu"]
    ran = scene.prove()
    request = next(event.at for event in said(ran, What.DO) if event.action is Action.PULL)
    warned = said(ran, What.WARN)
    assert "beta/cpu" in warned[0].text
    assert warned[0].at - request < scene.hand.hand + 6.0
    assert ran.proof.verdict == "swapped"
    assert 30 < ran.rig.now() - request < 40


def test_a_warning_says_at_once_that_the_port_still_answers() -> None:
    """If the port still answers after Enter, a warning comes within 1.5 s and is repeated."""
    scene = pair()
    scene.options = replace(scene.options, hands_free=False)
    scene.hand.jacks = {"alpha/cpu:1": Jack(0)}
    scene.hand.confirms = True
    ran = scene.prove()
    pressed = said(ran, What.SILENT)[0].at
    warned = [event.at for event in said(ran, What.WARN) if "still answers" in event.text]
    assert warned[0] - pressed < 1.5
    assert len(warned) >= 5
    assert ran.proof.verdict == "still-answering"


def test_the_events_of_each_port_come_in_order() -> None:
    """In a run of several ports, each begins, is asked for, and ends with its verdict, in the plan's order."""
    scene = Scene()
    for number in range(4):
        scene.add(f"device-{number}/cpu", 20 + number)
    scene.only = tuple(f"device-{number}/cpu:1" for number in range(4))
    ran = scene.prove()
    assert [proof.verdict for proof in ran.prober.proofs] == ["proven"] * 4
    assert [event.port for event in said(ran, What.BEGIN)] == list(scene.only)
    assert [event.port for event in said(ran, What.VERDICT)] == list(scene.only)
    for port in scene.only:
        mine = [event.what for event in ran.log if event.port == port]
        order = [What.BEGIN, What.DO, What.WAIT, What.HEARD, What.WAIT]
        order += 2 * [What.DO, What.SILENT, What.ENOUGH, What.DO, What.RETURNED]
        assert [what for what in mine if what is not What.NOTE] == [*order, What.VERDICT]
    assert forbidden_frames(ran) == []


def test_a_silence_with_another_owner_is_not_called_proven() -> None:
    """The line at the end of phase out names the device that answered, because the verdict will be `impostor`."""
    scene = pair()
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["alpha/cpu"]), mac=MACS + 0x99)
    texts = [event.text for event in said(scene.prove(), What.ENOUGH) if event.port == "alpha/cpu:1"]
    assert texts == ["00-00-5E-00-53-99 answered while the cable was out"]


def test_no_port_begins_while_a_cable_is_out() -> None:
    """The next port begins only after the previous cable is in again, even where the verdict needs no phase back."""
    scene = pair()
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["alpha/cpu"]), mac=MACS + 0x99)
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    ran = scene.prove()
    assert [proof.verdict for proof in ran.prober.proofs] == ["impostor", "proven"]
    back = [event.at for event in said(ran, What.DO) if event.action is Action.PLUG and event.port == "alpha/cpu:1"]
    begin = [event.at for event in said(ran, What.BEGIN)]
    assert begin[1] >= back[0] + scene.hand.hand


def test_a_device_checking_itself_keeps_its_address() -> None:
    """No request with sender 0 is sent while a device checks its address: it would give the address up (RFC 5227
    section 2.1.1).
    """
    scene = pair()
    device = scene.devices["alpha/cpu"]
    device.faults = Faults(checks_itself=True)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert not device.gave_up


def test_the_virtual_device_gives_up_a_probed_address() -> None:
    """The virtual device gives its address up when a probe for it arrives, so the previous test can fail."""
    scene = pair()
    device, jack = scene.devices["alpha/cpu"], scene.jacks["alpha/cpu"]
    device.faults = Faults(checks_itself=True)
    scene.rig.plug(jack, False)
    scene.rig.plug(jack, True)
    scene.rig.after(2.0, lambda: scene.rig.transmit(scene.jacks["beta/cpu"], arp_request(MACS + 21, 0, ip(20))))
    end = scene.rig.now() + 10
    while scene.rig.now() < end:
        scene.rig.receive(end)
    assert device.gave_up


def test_watched_addresses_get_one_request_a_second() -> None:
    """Watched addresses get at most one request a second: unicast echo if they answer echo, else broadcast ARP.

    Site hosts other than the gateway get none.
    """
    scene = pair()
    scene.add("gamma/cpu", 22, Faults(echo=False))
    scene.plug("site host", 77)
    scene.plug("gateway", 254)
    ran = scene.prove()
    seconds = ran.seconds
    by_arp = {last: len(arps(ran, ip(last), ip(1))) for last in (21, 22, 77, 254)}
    assert by_arp[77] == 0
    assert by_arp[21] <= 2
    assert by_arp[254] == len(arps(ran, GATEWAY, ip(1))) <= 2
    assert by_arp[22] > seconds / 2
    assert forbidden_frames(ran) == []


class Raising:
    """An operator who presses Ctrl-C after some time."""

    def __init__(self, rig: Rig, after: float) -> None:
        self.rig, self.until = rig, rig.now() + after
        self.log: list[Event] = []

    def pressed(self) -> Iterable[Key]:
        """Raise KeyboardInterrupt once the time has come."""
        if self.rig.now() >= self.until:
            raise KeyboardInterrupt
        return ()

    def told(self, event: Event) -> None:
        """Keep the event."""
        self.log.append(event)


def test_ctrl_c_ends_the_run_with_its_verdicts() -> None:
    """Ctrl-C is passed on to the caller after every port has a verdict and every event is reported."""
    scene = pair()
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    prober = Prober(scene.scope(), scene.rig.adapters, Names(lambda m: "", lambda m: None), scene.options, Random(1))
    operator = Raising(scene.rig, 3.0)
    with pytest.raises(KeyboardInterrupt):
        drive(prober, scene.rig, operator)
    assert [proof.verdict for proof in prober.proofs] == ["unsettled", "not-tested"]
    assert [event.what for event in operator.log].count(What.VERDICT) == 2
    assert prober.done


@pytest.mark.parametrize(("after", "left_out"), [(3.0, ()), (5.0, ("alpha/cpu:1",)), (9.0, ("alpha/cpu:1",))])
def test_a_stopped_run_names_the_cable_that_may_be_out(after: float, left_out: tuple[str, ...]) -> None:
    """From the request to pull until the device is back, the technician may hold the plug in the hand."""
    scene = pair()
    prober = Prober(scene.scope(), scene.rig.adapters, Names(lambda m: "", lambda m: None), scene.options, Random(1))
    with pytest.raises(KeyboardInterrupt):
        drive(prober, scene.rig, Raising(scene.rig, after))
    assert prober.left_out == left_out


class Counting(Prober):
    """A prober that counts its turns and the frames that it hears."""

    turns = heard = 0

    def turn(self, now: float) -> list[Send]:
        """Count the turn."""
        self.turns += 1
        return super().turn(now)

    def hear(self, item: News) -> None:
        """Count the item."""
        self.heard += 1
        super().hear(item)


@pytest.mark.parametrize("flood", [0, 1000])
def test_foreign_frames_cause_no_turn(flood: int) -> None:
    """A flood of foreign broadcasts is heard without further turns of the prober, and the proof is the same."""
    scene = pair()
    stranger = scene.segment.join(Jack(MACS + 0x91))
    for number in range(10 * flood):
        question = arp_request(MACS + 0x91, ip(200), ip(201))
        scene.rig.after(1.0 + number / flood, partial(scene.rig.transmit, stranger, question))
    prober = Counting(scene.scope(), scene.rig.adapters, Names(lambda m: "", lambda m: None), scene.options, Random(1))
    drive(prober, scene.rig, scene.hand)
    assert [proof.verdict for proof in prober.proofs] == ["proven"]
    assert prober.heard > 10 * flood
    assert prober.turns < 1500


def test_frames_are_handed_to_a_capture() -> None:
    """Every frame sent and received goes to the capture, with its direction and interface."""
    scene = pair()
    frames: list[tuple[float, int, bytes, bool]] = []
    prober = Prober(scene.scope(), scene.rig.adapters, Names(lambda m: "", lambda m: None), scene.options, Random(1))
    drive(prober, scene.rig, scene.hand, lambda *frame: frames.append(frame))
    outbound = [(at, adapter, frame) for at, adapter, frame, out in frames if out]
    assert outbound == scene.rig.sent
    assert sum(not out for *_, out in frames) > 50


def test_rig_carries_frames_as_a_switch_does() -> None:
    """The rig delivers unicast to its MAC, broadcast to all, nothing over a cable that is out or blocked, and loses
    frames at random.
    """
    segment = Segment()
    rig = Rig(1, [Adapter("x0", MACS + 1)], [segment])
    heard: dict[int, list[bytes]] = {}

    class Receiver:
        def __init__(self, number: int) -> None:
            self.number = number

        def hear(self, jack: Jack, frame: bytes) -> None:
            heard.setdefault(self.number, []).append(frame)

        def cable(self, jack: Jack, up: bool) -> None:
            heard.setdefault(self.number, []).append(b"up" if up else b"down")

    jacks = [segment.join(Jack(MACS + 10 + number, host=Receiver(number))) for number in range(3)]
    to_first = (MACS + 10).to_bytes(6, "big") + b"x" * 40
    to_all = b"\xff" * 6 + b"y" * 40
    for frame in (to_first, to_all):
        rig.send(frame)
    rig.receive(rig.now() + 1)
    assert [len(heard.get(number, [])) for number in range(3)] == [2, 1, 1]
    rig.plug(jacks[0], False)
    rig.send(to_all)
    rig.receive(rig.now() + 1)
    assert heard[0][2:] == [b"down"]
    jacks[0].forwards_after = 5.0
    rig.plug(jacks[0], True)
    rig.send(to_all)
    rig.receive(rig.now() + 6)
    rig.send(to_all)
    rig.receive(rig.now() + 1)
    assert [len(frame) for frame in heard[0][3:]] == [2, 60]
    jacks[1].loss = 0.5
    heard[1].clear()
    for _ in range(400):
        rig.send(to_all)
        rig.receive(rig.now() + 0.01)
    assert 150 < len(heard[1]) < 250
