"""How a run goes: what is asked when, what is said at once, and what the settings change."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from itertools import pairwise
from random import Random

import pytest

from netcheck.proof.driver import drive
from netcheck.proof.events import Action, Event, Key, What
from netcheck.proof.prober import Prober
from netcheck.proof.probing.scheduler import Send
from netcheck.proof.result import Phase
from netcheck.proof.run_options import RunOptions
from netcheck.proof.verdict.names import Names
from netcheck.rig.devices import Faults
from netcheck.rig.network import Jack, Rig, Segment
from netcheck.wire.frames import REQUEST, arp_from_wire, arp_request
from netcheck.wire.link import News, Way
from tests.rig.scenes import BORROWED, GATEWAY, MACS, Ran, Scene, ill_manners, ip


def pair(**about: object) -> Scene:
    """Two healthy devices on a switch, the first to be proven."""
    scene = Scene(**about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20)
    scene.add("beta/cpu", 21)
    return scene


def said(ran: Ran, what: What) -> list[Event]:
    """The events of a kind."""
    return [event for event in ran.log if event.what is what]


def arps(ran: Ran, target: int, sender: int) -> list[float]:
    """When an address was asked for by ARP from a sender."""
    asked = ((at, arp_from_wire(frame)) for at, _, frame in ran.rig.sent)
    return [at for at, arp in asked if arp and arp.op == REQUEST and (arp.target_ip, arp.sender_ip) == (target, sender)]


@pytest.mark.parametrize("seed", range(5))
def test_a_borrowed_address_is_probed_first(seed: int) -> None:
    """RFC 5227 section 1.1: within PROBE_WAIT 1 s, PROBE_NUM 3 probes, PROBE_MIN 1 to PROBE_MAX 2 s apart, and
    ANNOUNCE_WAIT 2 s before anything is asked from the address; nothing else is sent before."""
    ran = pair(own=False, seed=seed).prove()
    probes = arps(ran, BORROWED, 0)
    began = ran.rig.now() - ran.seconds
    assert len(probes) == 3
    assert probes[0] - began <= 1.0 + 0.06  # the prober looks every 50 ms
    assert all(1.0 <= later - earlier <= 2.06 for earlier, later in pairwise(probes))
    others = [at for at, _, _ in ran.rig.sent if at not in probes]
    assert min(others) >= probes[-1] + 2.0


def test_a_borrowed_address_is_answered_for() -> None:
    """Whoever asks for the borrowed address gets an answer, unicast, so that answers find their way."""
    scene = pair(own=False)
    jack = scene.plug("asker", 77)
    scene.rig.after(10, lambda: scene.rig.transmit(jack, arp_request(jack.mac, ip(77), BORROWED)))
    ran = scene.prove()
    replies = [frame for _, _, frame in ran.rig.sent if (arp := arp_from_wire(frame)) and arp.op != REQUEST]
    assert [frame[:6] for frame in replies] == [jack.mac.to_bytes(6, "big")]
    assert ill_manners(ran) == []


def test_own_address_is_never_probed() -> None:
    """With an address of its own the station borrows nothing."""
    ran = pair().prove()
    assert arps(ran, BORROWED, 0) == []


def test_last_round_after_the_patience() -> None:
    """Three ARP probes with sender 0 are sent, and only when nothing answered until then."""
    scene = pair()
    scene.devices["alpha/cpu"].dead = True
    scene.options = replace(scene.options, patience=20.0)
    ran = scene.prove()
    began = ran.rig.now() - ran.seconds
    probes = arps(ran, ip(20), 0)
    assert len(probes) == 3
    assert min(probes) - began > 20.0
    assert max(arps(ran, ip(20), ip(1))) < min(probes)


def test_nothing_is_sent_where_nothing_may_be() -> None:
    """An address of the station that is planned, or a borrowed one that somebody has: refused, and nobody was asked."""
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
    """Ports of a subnet without a station address are not tested; the others go on."""
    scene = pair()
    far = replace(scene.net, name="far", first=ip(0) + 256, gateway=None, station=None, spare=())
    scene.plan("gamma/cpu", 22)
    scene.targets[-1] = replace(scene.targets[-1], subnet="far", address=ip(0) + 256 + 22)
    scene.only = ("gamma/cpu:1", "alpha/cpu:1")
    scope = replace(scene.scope(), nets=(scene.net, far))
    prober = Prober(scope, scene.rig.ways, Names(lambda mac: "", lambda mac: None), scene.options, Random(1), poll=60.0)
    drive(prober, scene.rig, scene.hand)
    assert {proof.interface: proof.verdict for proof in prober.proofs} == {
        "alpha/cpu": "proven",
        "gamma/cpu": "not-tested",
    }
    assert not prober.refused


@pytest.mark.parametrize("seconds", [0.0, 12.0, 40.0])
def test_out_for_lengthens_the_silence(seconds: float) -> None:
    """`--out-for S` lengthens phase out."""
    scene = pair()
    scene.options = replace(scene.options, out_for=seconds)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert dict(ran.proof.phases)[Phase.OUT].seconds >= max(3.0, seconds)


def test_a_direct_silence_lasts_ten_seconds() -> None:
    """No renegotiation, adapter reset or restart of a transceiver takes the carrier away for so long."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True))
    scene.add("alpha/cpu", 20)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert 10.0 <= dict(ran.proof.phases)[Phase.OUT].seconds < 11.0


def test_the_silence_lasts_three_times_the_longest_gap() -> None:
    """A device that pauses for seconds while its cable is in is not taken for pulled."""
    scene = pair()
    device = scene.devices["alpha/cpu"]
    for second in (2.0, 6.5):
        scene.rig.after(second, partial(device.restart, 2.0))
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert dict(ran.proof.phases)[Phase.OUT].seconds >= 3 * 2.0


@pytest.mark.parametrize("limit", [1e-2, 1e-4, 1e-8])
def test_luck_is_a_setting(limit: float) -> None:
    """A stricter limit takes longer and gives the stricter proof."""
    scene = pair()
    scene.options = replace(scene.options, luck=limit)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert ran.proof.luck is not None
    assert ran.proof.luck <= limit


@pytest.mark.parametrize("limit", [1e-3, 1e-9])
def test_unheard_is_a_setting(limit: float) -> None:
    """`proven` needs a figure for the second owner that is low enough."""
    scene = pair()
    scene.options = replace(scene.options, unheard=limit)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert ran.proof.unheard is not None
    assert ran.proof.unheard <= limit


def test_enough_was_asked_in_every_phase() -> None:
    """At least 5 of each kind in, 5 broadcasts out, 3 back."""
    phases = dict(pair().prove().proof.phases)
    assert min(phases[Phase.IN].arp.sent, phases[Phase.IN].echo.sent, phases[Phase.OUT].arp.sent) >= 5
    assert phases[Phase.BACK].arp.sent >= 3
    assert (phases[Phase.IN].arp.answered, phases[Phase.IN].echo.answered) == (
        phases[Phase.IN].arp.sent,
        phases[Phase.IN].echo.sent,
    )
    assert (phases[Phase.OUT].arp.answered, phases[Phase.OUT].echo.answered) == (0, 0)


def test_the_wrong_cable_is_warned_of_at_once() -> None:
    """It is said long before the patience ends."""
    scene = pair()
    scene.hand.jacks["alpha/cpu:1"] = scene.jacks["beta/cpu"]
    ran = scene.prove()
    request = next(event.at for event in said(ran, What.DO) if event.action is Action.PULL)
    warned = said(ran, What.WARN)
    assert "beta/cpu" in warned[0].text
    assert warned[0].at - request < scene.hand.hand + 6.0
    assert ran.proof.verdict == "swapped"
    assert ran.rig.now() - request >= scene.options.patience


def test_a_port_that_still_answers_is_warned_of_at_once() -> None:
    """Enter was pressed and it still answers: said within a second or so, and again, not only at the end."""
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


def test_every_wait_says_which_it_is_and_ends() -> None:
    """A run of several ports: each begins, is told what to do, and ends with its verdict, in the plan's order."""
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
    assert ill_manners(ran) == []


def test_no_port_begins_while_a_cable_is_out() -> None:
    """Where the verdict is settled before phase back, the cable is still seen back in before the next port's turn."""
    scene = pair()
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["alpha/cpu"]), mac=MACS + 0x99)
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    ran = scene.prove()
    assert [proof.verdict for proof in ran.prober.proofs] == ["impostor", "proven"]
    back = [event.at for event in said(ran, What.DO) if event.action is Action.PLUG and event.port == "alpha/cpu:1"]
    begin = [event.at for event in said(ran, What.BEGIN)]
    assert begin[1] >= back[0] + scene.hand.hand


def test_a_device_checking_itself_keeps_its_address() -> None:
    """RFC 5227 section 2.1.1: a probe with sender 0 in those seconds would make it give its address up."""
    scene = pair()
    device = scene.devices["alpha/cpu"]
    device.faults = Faults(checks_itself=True)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert not device.gave_up


def test_the_rig_device_would_give_up() -> None:
    """The test before means something: the virtual device does give up when somebody probes its address."""
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


def test_watched_addresses_are_asked_gently() -> None:
    """In addition to the port under test, at most one request a second is sent to an address, by unicast echo where the
    address answers echo, by broadcast ARP where it does not; site hosts but the gateway never."""
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
    assert ill_manners(ran) == []


class Raising:
    """An operator who presses Ctrl-C some time into the run."""

    def __init__(self, rig: Rig, after: float) -> None:
        self.rig, self.until = rig, rig.now() + after
        self.log: list[Event] = []

    def pressed(self) -> Iterable[Key]:
        """Raise when the time has come."""
        if self.rig.now() >= self.until:
            raise KeyboardInterrupt
        return ()

    def told(self, event: Event) -> None:
        """Remember it."""
        self.log.append(event)


def test_ctrl_c_ends_the_run_with_its_verdicts() -> None:
    """The interrupt goes on to the caller, after every port got a verdict and every event was told."""
    scene = pair()
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    prober = Prober(scene.scope(), scene.rig.ways, Names(lambda m: "", lambda m: None), scene.options, Random(1))
    operator = Raising(scene.rig, 3.0)
    with pytest.raises(KeyboardInterrupt):
        drive(prober, scene.rig, operator)
    assert [proof.verdict for proof in prober.proofs] == ["unsettled", "not-tested"]
    assert [event.what for event in operator.log].count(What.VERDICT) == 2
    assert prober.done


class Counting(Prober):
    """Counts its turns and what it hears."""

    turns = heard = 0

    def turn(self, now: float) -> list[Send]:
        """Count it."""
        self.turns += 1
        return super().turn(now)

    def hear(self, item: News) -> None:
        """Count it."""
        self.heard += 1
        super().hear(item)


@pytest.mark.parametrize("flood", [0, 1000])
def test_frames_that_call_for_nothing_make_no_turn(flood: int) -> None:
    """Ten seconds with a thousand foreign broadcasts each are all heard; the prober turns no more often, and the proof
    comes to the same."""
    scene = pair()
    stranger = scene.segment.join(Jack(MACS + 0x91))
    for number in range(10 * flood):
        question = arp_request(MACS + 0x91, ip(200), ip(201))
        scene.rig.after(1.0 + number / flood, partial(scene.rig.transmit, stranger, question))
    prober = Counting(scene.scope(), scene.rig.ways, Names(lambda m: "", lambda m: None), scene.options, Random(1))
    drive(prober, scene.rig, scene.hand)
    assert [proof.verdict for proof in prober.proofs] == ["proven"]
    assert prober.heard > 10 * flood
    assert prober.turns < 1500


def test_frames_are_handed_to_a_capture() -> None:
    """Every frame sent and heard goes to the capture, with its direction and way."""
    scene = pair()
    frames: list[tuple[float, int, bytes, bool]] = []
    prober = Prober(scene.scope(), scene.rig.ways, Names(lambda m: "", lambda m: None), scene.options, Random(1))
    drive(prober, scene.rig, scene.hand, lambda *frame: frames.append(frame))
    outbound = [(at, way, frame) for at, way, frame, out in frames if out]
    assert outbound == scene.rig.sent
    assert sum(not out for *_, out in frames) > 50


def test_rig_carries_frames_as_a_switch_does() -> None:
    """Unicast to its MAC alone, broadcast to all, nothing over a cable that is out or blocked, loss by chance."""
    segment = Segment()
    rig = Rig(1, [Way("x0", MACS + 1)], [segment])
    heard: dict[int, list[bytes]] = {}

    class Ear:
        def __init__(self, number: int) -> None:
            self.number = number

        def hear(self, jack: Jack, frame: bytes) -> None:
            heard.setdefault(self.number, []).append(frame)

        def cable(self, jack: Jack, up: bool) -> None:
            heard.setdefault(self.number, []).append(b"up" if up else b"down")

    jacks = [segment.join(Jack(MACS + 10 + number, host=Ear(number))) for number in range(3)]
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
