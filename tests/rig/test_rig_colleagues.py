"""Tests of days on which several people work at the plant: other cables come out, cables are mistaken, pulls are too
short.

Each situation is common in the trade (common practice, no source) or was seen on real kernels.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from heapq import heappop
from random import Random

import pytest

from netcheck.proof.driver import _turn
from netcheck.proof.events import Action, Event, Key, RunOptions, What
from netcheck.proof.prober import Prober
from netcheck.proof.verdict.names import Names
from netcheck.rig.bench import Bench
from netcheck.rig.devices import VirtualDevice
from netcheck.rig.network import Jack
from netcheck.rig.scenario import Act, Cable, Device, Do, HandMove, On, Scenario
from netcheck.rig.technicians import Technician
from netcheck.wire.frames import padded
from netcheck.wire.link import Adapter, Heard
from tests.rig.scenes import MACS, Ran, Scene, forbidden_frames
from tests.rig.test_rig_false_proofs import when
from tests.rig.troubles import keyed, swapped
from tests.rig.walks import events, proofs, pull, pull_first, row_of, said, verdicts, walk

NOBODY = Names(lambda mac: "", lambda mac: None)


def row(many: int = 4, keys: bool = True) -> Scene:
    """Return *many* healthy devices on a switch, proven port by port."""
    scene = row_of(many)
    scene.options = RunOptions(hands_free=not keys)
    scene.hand.confirms = keys
    return scene


# Silences at the same time, and silences that only seem to have one cause


@pytest.mark.parametrize("keys", [True, False], ids=["keys", "hands-free"])
@pytest.mark.parametrize("after", [3.5, 5.0, 8.0])
def test_a_device_that_drops_during_the_silence_does_not_spoil_it(keys: bool, after: float) -> None:
    """Another device is switched off some seconds after the pull and stays off.

    The other devices show that the switch works, so the port is proven at once.
    """
    scene = row(keys=keys)
    when(scene, Action.PULL, partial(setattr, scene.devices["d21/lan"], "dead", True), scene.hand.hand + after)
    ran = scene.prove()
    assert ran.proof.verdict == "proven"
    assert [event.action for event in ran.log].count(Action.RESTORE) == 0
    assert forbidden_frames(ran) == []


def test_a_device_that_drops_with_it_once_makes_the_phase_repeat() -> None:
    """Another device falls silent at the same moment, once.

    The phase is repeated without a key, and the port is proven. The warning names both possible causes and does not
    propose to change the plan.
    """
    scene = row()
    scene.hand.hand = 1.0
    fell: list[float] = []

    def drop() -> None:
        if not fell:
            fell.append(scene.rig.time)
            scene.devices["d21/lan"].restart(40)

    when(scene, Action.PULL, drop, 1.0)
    ran = scene.prove()
    warned = next(text for text in said(ran, What.WARN) if "does not count" in text)
    assert "one cable leads to both" in warned
    assert "at the same moment" in warned
    assert "behind" not in warned
    assert ran.proof.verdict == "proven"


def test_behind_is_proposed_once_both_fell_and_returned_together_twice() -> None:
    """A chain that the plan does not know is unsettled after two pulls, and the reason proposes `behind`."""
    scene = row()
    scene.jacks["d21/lan"].behind = scene.jacks["d20/lan"]
    ran = scene.prove()
    assert ran.proof.verdict == "unsettled"
    assert "returned together twice" in ran.proof.why
    assert "(behind)" in ran.proof.why
    assert [event.action for event in ran.log].count(Action.PULL) == 2


class Laptops:
    """Several laptops with a technician each on one bench, in one virtual time."""

    def __init__(self, scene: Scene, ports: list[list[str]], seed: int) -> None:
        """Give each laptop its ports; all share the scene's switch."""
        self.rig = scene.rig
        self.probers: list[Prober] = []
        self.hands: list[Technician] = []
        self.links: list[SharedLink] = []
        for number, mine in enumerate(ports):
            link = SharedLink(scene, MACS + 2 + number, number)
            asked = tuple(target for target in scene.targets if target.interface in mine)
            scope = replace(scene.scope(), asked=asked)
            self.probers.append(Prober(scope, link.adapters, NOBODY, scene.options, Random(seed + number), poll=60.0))
            self.hands.append(Technician(scene.rig, dict(scene.hand.jacks), hand=scene.hand.hand, confirms=True))
            self.links.append(link)

    def run(self, apart: float) -> list[Ran]:
        """Start each laptop *apart* seconds after the one before, and run all to the end."""
        began = self.rig.time
        waiting = list(zip(self.probers, self.links, self.hands, strict=True))
        for number, (_, link, _) in enumerate(waiting):
            link.starts = began + number * apart
        while not all(prober.done for prober in self.probers):
            self.rig.receive(min(self._next(waiting)))
            for prober, link, hand in waiting:
                if self.rig.time < link.starts or prober.done:
                    continue
                if link.starts >= began:
                    link.starts = -1.0
                    prober.start(link.now(), {0: True})
                for item in link.take():
                    prober.hear(item)
                if prober.wake <= self.rig.time or hand._keys:
                    _turn(prober, link, hand, None)  # type: ignore[arg-type]
        return [Ran(prober, self.rig, hand.log, 0.0) for prober, _, hand in waiting]

    def _next(self, waiting: list[tuple[Prober, SharedLink, Technician]]) -> Iterator[float]:
        for prober, link, _ in waiting:
            if not prober.done:
                yield link.starts if link.starts > self.rig.time else max(prober.wake, self.rig.time + 0.01)


class SharedLink:
    """The link of one of several stations on a bench."""

    kind, hears_all, overhears = "rig", True, False

    def __init__(self, scene: Scene, mac: int, number: int) -> None:
        """Connect to the switch of the scene."""
        self.rig, self.starts = scene.rig, 0.0
        self.adapters = (Adapter("x0", mac, ((scene.net.first + 2 + number, 24),)),)
        self.jack = scene.segment.join(Jack(mac))
        self._news: list[Heard] = []
        link = self

        class Receiver(VirtualDevice):
            """Receives every frame that reaches this station."""

            def hear(self, jack: Jack, frame: bytes) -> None:
                """Keep the frame for the laptop."""
                link._news.append(Heard(link.rig.time, 0, frame))
                link.rig.stir()

        Receiver(scene.rig, {self.jack: set()})

    def now(self) -> float:
        """Return the time of the bench."""
        return self.rig.time

    def carrier(self, adapter: int = 0) -> bool:
        """Return that the link is up."""
        return True

    def send(self, frame: bytes, adapter: int = 0) -> float:
        """Send a frame from this station."""
        self.rig.transmit(self.jack, padded(frame))
        return self.rig.time

    def take(self) -> list[Heard]:
        """Return what was heard since the last call."""
        news, self._news = self._news, []
        return list(news)

    def receive(self, until: float) -> list[object]:
        """Return nothing: the test that runs all laptops moves the time of the bench."""
        return []


@pytest.mark.parametrize("seed", range(4))
def test_two_laptops_that_pull_one_second_apart_prove_all_four_ports(seed: int) -> None:
    """Two technicians prove two ports each, and their pulls are one second apart: all four ports are proven."""
    scene = row(6)
    laptops = Laptops(scene, [["d20/lan", "d21/lan"], ["d22/lan", "d23/lan"]], 100 * seed)
    found = [verdict for ran in laptops.run(apart=1.0) for verdict in verdicts(ran).values()]
    assert found == ["proven"] * 4


# Swapped addresses, and mistaken cables


@pytest.mark.parametrize("enter", [True, False], ids=["Enter", "no key"])
def test_a_swap_ends_by_itself_and_its_partner_is_not_silent(enter: bool) -> None:
    """Two devices have each other's addresses.

    The run ends each port within 45 s of its request, with few sounds, and asks for the pulled cable back. The other
    port is `swapped` too.
    """
    scene = keyed(swapped(False))
    scene.hand.confirms = False
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    for jack in ("alpha/cpu", "beta/cpu"):
        scene.hand.jacks[f"{jack}:1"] = scene.jacks[jack]
    if enter:
        when(scene, Action.PULL, partial(scene.hand.press, Key.ENTER), scene.hand.hand + 2)
    ran = scene.prove()
    assert verdicts(ran) == {"alpha/cpu:1": "swapped", "beta/cpu:1": "swapped"}
    asked = [event.at for event in events(ran, What.DO) if event.action is Action.PULL]
    ended = [event.at for event in events(ran, What.VERDICT)]
    assert all(end - at < (20 if enter else 45) for at, end in zip(asked, ended, strict=True))
    restored = [event for event in events(ran, What.DO) if event.action is Action.RESTORE]
    assert "beta/cpu" in restored[0].text
    assert len(said(ran, What.WARN, "alpha/cpu:1")) <= 3


def test_a_swap_of_the_first_port_ends_although_little_was_heard_before() -> None:
    """At the first port the other address was asked only a few times before its cable is pulled, so its silence is
    certain only after more than eight seconds. The run waits for that and asks for no second pull and no second Enter.
    The pulled cable is asked back.
    """
    scene = keyed(swapped(False))
    scene.hand.hand, scene.hand.confirms = 0.3, False
    scene.hand.jacks["alpha/cpu:1"] = scene.jacks["alpha/cpu"]
    when(scene, Action.PULL, partial(scene.hand.press, Key.ENTER), 0.4)
    ran = scene.prove()
    assert verdicts(ran) == {"alpha/cpu:1": "swapped"}
    assert len([event for event in events(ran, What.DO) if event.action is Action.PULL]) == 1
    assert any(event.action is Action.RESTORE for event in events(ran, What.DO))
    assert ran.seconds < 30


@pytest.mark.parametrize("seed", [2, 3, 5])
@pytest.mark.parametrize("enter", [False, True], ids=["no key", "Enter"])
def test_a_silence_long_after_enter_needs_another_enter(enter: bool, seed: int) -> None:
    """Enter confirmed the pull of a wrong cable.

    Its device loses replies, so for a long time it is not certain that it fell silent. The port answers for more than
    eight seconds. A silence after that is not a consequence of this Enter, and the run asks for another one. The other
    device keeps the port from `proven` in both cases.
    """
    acts = (Act(do=Do.RESTART, on=On.PULL, after=15.0, lasts=20.0),)
    again = (Act(do=Do.ENTER, on=On.PULL, after=18.0),) if enter else ()
    bench = Bench(
        Scenario(
            seed=seed, devices=(Device(), Device(loss=0.1), Device()), acts=(*acts, *again),
            pulls=(HandMove(cable=Cable.OTHER, after=0.3, enter=0.4),),
            plugs=(HandMove(cable=Cable.NONE, enter=6.0),),
        )
    )  # fmt: skip
    verdict = str(bench.run()[0].verdict)
    asked = [event.text for _, event in bench.hand.log if "press Enter if its cable is out" in event.text]
    assert asked
    assert verdict == ("unsettled" if enter else "swapped")


# A walk shows every silence


@pytest.mark.parametrize("seed", range(12))
def test_every_silence_of_a_walk_shows_within_three_seconds(seed: int) -> None:
    """Cables are pulled for random times, most of them too short, in any order.

    Each silence is shown as out within three seconds of the pull; if it can count, the screen shows the seconds that
    are still needed.
    """
    random = Random(seed)
    many = random.choice((3, 12, 40))
    scene = row_of(many, lasts=400.0)
    at, pulls = 40.0 if many < 40 else 70.0, []
    while at < 330:
        name, out = f"d{random.randrange(20, 20 + many)}/lan", random.uniform(3.2, 12)
        pulls.append((at, name, out))
        pull(scene, name, at, out=out)
        at += out + random.uniform(1.5, 12)
    began = scene.rig.now()
    ran = walk(scene, seed)
    shown = [(event.at - began, event.port) for event in events(ran, What.SILENT)]
    deaf = [
        (when_, name)
        for when_, name, _ in pulls
        if not any(port == f"{name}:1" and when_ < at <= when_ + 3.3 for at, port in shown)
    ]
    assert deaf == []
    assert all(event.until is not None for event in events(ran, What.SILENT) if "leave its cable out" in event.text)


def test_a_pull_after_one_that_was_too_short_is_proven_at_once() -> None:
    """After a pull of four seconds the walk still detects new silences: ten seconds later a long pull is followed by
    the second request within twenty seconds.
    """
    scene = row_of(20, lasts=200.0)
    pull(scene, "d20/lan", 60.0, out=4.0)
    pull_first(scene, "d20/lan", 74.0)
    began = scene.rig.now()
    ran = walk(scene)
    asked = next(event.at - began for event in events(ran, What.DO) if event.action is Action.PULL)
    assert asked < 74.0 + 20.0
    assert proofs(ran)["d20/lan:1"].verdict == "proven"


# This computer itself


class Stopped(Technician):
    """A technician whose computer stops for a minute while the cable is out: no frame is read or sent meanwhile."""

    stops = True

    def told(self, event: Event) -> None:
        """Stop three seconds after the first silence."""
        super().told(event)
        if event.what is What.SILENT and self.stops:
            self.stops = False
            self.rig.after(3.0, self._stop)

    def _stop(self) -> None:
        until = self.rig.time + 60.0
        while self.rig._queue and self.rig._queue[0][0] < until:
            at, _, action = heappop(self.rig._queue)
            self.rig.time = max(self.rig.time, at)
            action()
        self.rig.time = until


@pytest.mark.parametrize("keys", [True, False], ids=["keys", "hands-free"])
def test_a_stopped_process_repeats_the_phase_and_blames_no_device(keys: bool) -> None:
    """The process is stopped for a minute during the silence.

    The run says so and repeats the phase; it does not say that others fell silent together with the port.
    """
    scene = row(keys=keys)
    scene.hand = Stopped(scene.rig, dict(scene.hand.jacks), confirms=keys)
    ran = scene.prove()
    warned = said(ran, What.WARN)
    assert any("netcheck itself was not running for 60 s" in text for text in warned)
    assert not any("fell silent" in text for text in warned)
    assert ran.proof.verdict == "proven"


# The second connector of a device


class Mover(Technician):
    """A technician who calls `at_move` at the request to move the cable, and otherwise obeys."""

    def told(self, event: Event) -> None:
        """Call `at_move` at the request to move the cable; else obey."""
        if event.action is Action.MOVE:
            self.log.append(event)
            self.at_move()
        else:
            super().told(event)

    def at_move(self) -> None:
        """Press Enter without moving anything."""
        self.rig.after(1.0, partial(self.press, Key.ENTER))


def second_port(behind: bool = False) -> Scene:
    """Return a plant in which both ports of a device are proven with keys; a panel is behind its second port."""
    scene = Scene(options=RunOptions())
    scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21)
    if behind:
        scene.add("panel/lan", 22, behind="alpha/cpu:2").behind = scene.jacks["alpha/cpu"]
    scene.hand.confirms = True
    return scene


def test_a_key_alone_does_not_prove_a_second_connector() -> None:
    """Enter is pressed and no cable is moved; port 1 is pulled again. Port 2 is unsettled, and the reason says why."""
    scene = second_port()
    scene.hand = Mover(scene.rig, dict(scene.hand.jacks), confirms=True)
    ran = scene.prove()
    assert verdicts(ran) == {"alpha/cpu:1": "proven", "alpha/cpu:2": "unsettled"}
    assert proofs(ran)["alpha/cpu:2"].connector == "assumed"
    assert "nothing showed that the cable was moved" in proofs(ran)["alpha/cpu:2"].why
    asked = [event.text for event in events(ran, What.DO) if event.action is Action.MOVE]
    assert len(asked) == 2
    assert "Nothing shows that the cable was moved" in asked[1]


def test_a_moved_cable_proves_the_second_connector() -> None:
    """The cable is moved, so the device is silent for a moment, and both ports are proven."""
    ran = second_port().prove()
    assert verdicts(ran) == {"alpha/cpu:1": "proven", "alpha/cpu:2": "proven"}
    assert proofs(ran)["alpha/cpu:2"].connector == "operator"
    assert forbidden_frames(ran) == []


def test_enter_is_refused_while_a_device_behind_the_connector_answers() -> None:
    """The plan has a panel behind port 2.

    While it answers, Enter is refused and the panel is named; once it is unplugged and the cable is moved, the port is
    proven.
    """
    scene = second_port(behind=True)
    panel, cable = scene.jacks["panel/lan"], scene.jacks["alpha/cpu"]

    class Slow(Mover):
        """Presses Enter at once; 15 s later unplugs the panel, moves the cable and presses Enter again."""

        def at_move(self) -> None:
            self.rig.after(1.0, partial(self.press, Key.ENTER))
            self.rig.after(15.0, partial(self.rig.plug, panel, False))
            self.rig.after(16.0, partial(self.rig.plug, cable, False))
            self.rig.after(18.0, partial(self.rig.plug, cable, True))
            self.rig.after(19.0, partial(self.press, Key.ENTER))

    scene.hand = Slow(scene.rig, dict(scene.hand.jacks), confirms=True)
    ran = scene.prove()
    refused = next(text for text in said(ran, What.WARN, "alpha/cpu:2") if "still answers" in text)
    assert "panel/lan" in refused
    assert "behind alpha/cpu:2" in refused
    assert verdicts(ran) == {"alpha/cpu:1": "proven", "alpha/cpu:2": "proven"}


def test_a_wrong_owner_of_the_address_behind_a_connector_does_not_hold_the_run() -> None:
    """The panel is unplugged and the cable is moved, but another device answers for the panel's address.

    The second Enter of each request goes on, and the port is unsettled.
    """
    scene = second_port(behind=True)
    scene.plug("other", 22, mac=MACS + 99)
    scene.rig.after(600.0, partial(scene.hand.press, Key.QUIT))
    scene.hand.behind = {"alpha/cpu:2": (scene.jacks["panel/lan"],)}
    ran = scene.prove()
    assert len([text for text in said(ran, What.WARN, "alpha/cpu:2") if "still answers" in text]) == 2
    assert verdicts(ran) == {"alpha/cpu:1": "proven", "alpha/cpu:2": "unsettled"}
    assert "nothing showed that the cable was moved" in proofs(ran)["alpha/cpu:2"].why


def test_hands_free_says_before_the_first_pull_what_it_cannot_prove() -> None:
    """A second port cannot be proven without keys through a switch.

    The run says so before the first pull, with what to do, and proves the other ports.
    """
    scene = second_port()
    scene.options = RunOptions(hands_free=True)
    scene.only = ("alpha/cpu:1", "alpha/cpu:2", "beta/cpu:1")
    ran = scene.prove()
    assert verdicts(ran) == {"alpha/cpu:1": "proven", "alpha/cpu:2": "not-tested", "beta/cpu:1": "proven"}
    warned = events(ran, What.WARN)[0]
    assert "alpha/cpu:2" in warned.text
    assert "without --hands-free" in warned.text
    assert warned.at < next(event.at for event in events(ran, What.DO) if event.action is Action.PULL)
    assert not any(event.port == "alpha/cpu:2" for event in events(ran, What.DO))
