"""Tests of the walk: cables pulled in any order, the result of each pull, and the limits on the frames sent.

The faults of the plants are common practice (no source).
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import permutations

import pytest

from netcheck.proof.events import Action, Event, Key, RunOptions, What
from netcheck.proof.prober import Prober
from netcheck.proof.result import Proof
from netcheck.proof.view import seconds_to_hold
from netcheck.rig.devices import Faults
from netcheck.rig.network import Jack
from netcheck.wire.frames import BROADCAST, arp_from_wire
from tests.rig.scenes import MACS, STATION_MAC, Ran, Scene, forbidden_frames, ip
from tests.rig.walks import SETTLED, events, proofs, pull, pull_first, row_of, said, verdicts, walk

STRANGER, STRANGER_TEXT = MACS + 0x99, "00-00-5E-00-53-99"


def pull_twice(scene: Scene, name: str, at: float) -> None:
    """Pull a cable, and pull it again on request."""
    pull_first(scene, name, at)


def two_ports(lasts: float = 300.0, ports: int = 2) -> Scene:
    """Return a scene with one device that has *ports* ports and one cable, and another device."""
    scene = Scene(options=RunOptions(lasts=lasts))
    scene.add("alpha/cpu", 20, ports=ports)
    scene.add("beta/cpu", 21)
    return scene


def press(scene: Scene, key: Key | int, *moments: float) -> None:
    """Press a key at each of these times."""
    for at in moments:
        scene.rig.after(at, partial(scene.hand.press, key))


def press_when(scene: Scene, key: Key | int, what: What, time: int = 1) -> None:
    """Press a key one second after the given occurrence of an event of a kind."""
    tell = scene.hand.told
    seen: list[Event] = []

    def told(event: Event) -> None:
        if event.what is what:
            seen.append(event)
            if len(seen) == time:
                scene.rig.after(1.0, partial(scene.hand.press, key))
        tell(event)

    scene.hand.told = told  # type: ignore[method-assign]


def the(ran: Ran, subject: str) -> Proof:
    """Return the proof of a port, and assert that only permitted frames were sent."""
    assert forbidden_frames(ran) == []
    return proofs(ran)[subject]


# Pulls


@pytest.mark.parametrize("order", list(permutations(("d20/lan", "d21/lan", "d22/lan"))), ids=lambda o: " ".join(o))
def test_two_pulls_each_in_any_order_prove_every_port(order: tuple[str, ...]) -> None:
    """Three devices that are pulled twice each, in any order, are proven in that order, and the walk ends by itself."""
    scene = row_of(3, lasts=600)
    for number, name in enumerate(order):
        pull_twice(scene, name, SETTLED + 50 * number)
    ran = walk(scene)
    assert list(verdicts(ran).items()) == [(f"{name}:1", "proven") for name in order]
    assert {proof.cable for proof in ran.prober.proofs} == {"inferred"}
    assert {proof.identity for proof in ran.prober.proofs} == {"planned"}
    assert ran.seconds < 200
    assert forbidden_frames(ran) == []


def test_ports_may_be_pulled_one_after_the_other() -> None:
    """All ports are proven when each cable is pulled as soon as the previous one is back."""
    scene = row_of(3)
    for number, name in enumerate(("d20/lan", "d21/lan", "d22/lan")):
        pull_twice(scene, name, SETTLED + 30 * number)
    assert set(verdicts(walk(scene)).values()) == {"proven"}


def test_one_pull_is_not_enough() -> None:
    """One silence could be a restart: without the second pull that is asked for, the port stays unsettled."""
    scene = row_of(2, lasts=120)
    pull(scene, "d20/lan", SETTLED)
    ran = walk(scene)
    proof = the(ran, "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "its second pull was asked for and did not come" in proof.why
    assert said(ran, What.SEEN) == ["d20/lan:1 seen. Wait for the second request"]
    assert said(ran, What.DO, "d20/lan:1")[1:] == ["Pull the cable of d20/lan:1 once more"] * 3


def test_one_pull_before_the_walk_ends_is_unsettled() -> None:
    """If the walk ends before the second pull is asked for, the port is unsettled and the reason says what to do."""
    scene = row_of(2, lasts=SETTLED + 9.5)
    pull_twice(scene, "d20/lan", SETTLED)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "pull the cable once more" in proof.why


def test_a_restart_by_itself_is_not_proven() -> None:
    """A device that restarts once while all cables stay in is not proven."""
    scene = row_of(2, lasts=150)
    scene.rig.after(SETTLED, partial(scene.devices["d20/lan"].restart, 20.0))
    assert the(walk(scene), "d20/lan:1").verdict == "unsettled"


def test_with_once_one_pull_is_enough() -> None:
    """With `once`, one pull proves the port, and a note says so."""
    scene = row_of(2, lasts=120)
    scene.options = replace(scene.options, once=True)
    pull(scene, "d20/lan", SETTLED, out=20)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "proven"
    assert any("--once" in note for note in proof.notes)


def test_never_pulled_is_not_tested() -> None:
    """A port whose cable was never pulled is not tested."""
    proof = the(walk(row_of(2, lasts=60)), "d20/lan:1")
    assert (proof.verdict, proof.why) == ("not-tested", "Not tested: its cable was never pulled.")


@pytest.mark.parametrize(("hand", "verdict"), [(1.0, "proven"), (7.0, "proven"), (12.0, "unsettled")])
def test_the_second_pull_must_answer_the_request(hand: float, verdict: str) -> None:
    """The second silence counts only if it begins within ten seconds of the request; a later one could be a restart."""
    scene = row_of(2, lasts=300)
    scene.hand.hand = hand
    pull_twice(scene, "d20/lan", SETTLED)
    assert the(walk(scene), "d20/lan:1").verdict == verdict


@pytest.mark.parametrize("after", [15.0, 20.0, 50.0])
def test_a_second_silence_without_a_request_proves_nothing(after: float) -> None:
    """A device that restarts twice is not proven, because outages come in clusters."""
    scene = row_of(2, lasts=200)
    for at in (SETTLED, SETTLED + 12 + after):
        scene.rig.after(at, partial(scene.devices["d20/lan"].restart, 12.0))
    assert the(walk(scene), "d20/lan:1").verdict == "unsettled"


def test_a_silence_between_the_pulls_makes_a_third_pull_necessary() -> None:
    """After a silence that was not asked for, two more requests must be answered."""
    scene = row_of(2)
    pull_twice(scene, "d20/lan", SETTLED)
    scene.rig.after(SETTLED + 8.9, partial(scene.devices["d20/lan"].restart, 5.0))
    ran = walk(scene)
    assert the(ran, "d20/lan:1").verdict == "proven"
    assert said(ran, What.DO, "d20/lan:1").count("Pull the cable of d20/lan:1 once more") == 2


@pytest.mark.parametrize("out", [3.0, 5.0, 6.5])
def test_too_short_pulls_prove_nothing(out: float) -> None:
    """A pull that is too short gives no proof, however often it is repeated, and a warning says so."""
    scene = row_of(2, lasts=200)
    pull(scene, "d20/lan", SETTLED, SETTLED + 25, SETTLED + 50, out=out)
    ran = walk(scene)
    proof = the(ran, "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "put back too soon" in proof.why
    assert "leave the cable out until you" in said(ran, What.WARN)[0]


def test_a_cable_that_returns_in_the_moment_of_the_request_was_not_put_back_too_soon() -> None:
    """No hand is that fast, so the pull does not count; but the run had asked, and must not say that it had not."""
    scene = row_of(2, lasts=200)
    right = scene.hand.told

    def told(event: Event) -> None:
        if event.action is Action.PLUG:
            scene.hand.told = right  # type: ignore[method-assign]
            scene.rig.plug(scene.jacks["d20/lan"], True)
        else:
            right(event)

    scene.hand.told = told  # type: ignore[method-assign]
    pull(scene, "d20/lan", SETTLED, out=60.0)
    warned = said(walk(scene), What.WARN)
    assert "it answered in the same moment as the request to plug in" in warned[0]
    assert not any("too soon" in one for one in warned)


def test_a_too_short_pull_does_not_lengthen_the_next() -> None:
    """A pull that is too short does not lengthen the silence that the next pulls need."""
    scene = row_of(2)
    pull(scene, "d20/lan", SETTLED, out=6.0)
    pull_twice(scene, "d20/lan", SETTLED + 20)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


def test_a_too_short_second_pull_is_repeated() -> None:
    """A second pull that is too short does not count, and two more pulls prove the port."""
    scene = row_of(2)
    pull_twice(scene, "d20/lan", SETTLED)
    tell = scene.hand.told
    asked: list[Event] = []

    def told(event: Event) -> None:
        if event.action is Action.PULL and not asked:
            asked.append(event)
            scene.rig.after(2.0, partial(scene.rig.plug, scene.jacks["d20/lan"], False))
            scene.rig.after(5.0, partial(scene.rig.plug, scene.jacks["d20/lan"], True))
            scene.rig.after(25.0, partial(scene.rig.plug, scene.jacks["d20/lan"], False))
        tell(event) if event not in asked else scene.hand.log.append(event)

    scene.hand.told = told  # type: ignore[method-assign]
    ran = walk(scene)
    assert the(ran, "d20/lan:1").verdict == "proven"
    assert len(events(ran, What.SEEN)) == 2


def test_following_the_screen_proves_every_port() -> None:
    """A technician who follows the instructions on the screen gets every port proven."""
    scene = row_of(3, lasts=400)
    for number, name in enumerate(("d21/lan", "d22/lan", "d20/lan")):
        pull_twice(scene, name, SETTLED + 60 * number)
    ran = walk(scene)
    assert list(verdicts(ran).items()) == [(f"{name}:1", "proven") for name in ("d21/lan", "d22/lan", "d20/lan")]


# Several ports at once


def test_two_pulled_together_name_each_other() -> None:
    """Two ports that are pulled together are both unsettled, and each verdict names the other port."""
    scene = row_of(3, lasts=150)
    for name in ("d20/lan", "d21/lan"):
        pull_twice(scene, name, SETTLED)
    ran = walk(scene)
    for one, other in (("d20/lan", "d21/lan"), ("d21/lan", "d20/lan")):
        proof = the(ran, f"{one}:1")
        assert proof.verdict == "unsettled"
        assert f"{other} (" in proof.why
        assert "fell silent within about 2 s of it" in proof.why
    assert verdicts(ran)["d22/lan:1"] == "not-tested"


@pytest.mark.parametrize(
    ("after", "verdict"), [(0.5, "unsettled"), (1.0, "unsettled"), (3.0, "proven"), (9.0, "proven"), (30.0, "proven")]
)
def test_a_port_is_pulled_while_another_is_out(after: float, verdict: str) -> None:
    """Two ports that fall silent within about two seconds are unsettled.

    If they fall silent further apart, the causes are different, and the third device shows that the switch works.
    """
    scene = row_of(3, lasts=200)
    pull_twice(scene, "d20/lan", SETTLED)
    pull_twice(scene, "d21/lan", SETTLED + after)
    ran = walk(scene)
    assert verdicts(ran) == {"d20/lan:1": verdict, "d21/lan:1": verdict, "d22/lan:1": "not-tested"}


def test_ports_pulled_together_are_proven_when_pulled_alone() -> None:
    """Ports that fell silent together are proven once each is pulled alone."""
    scene = row_of(3)
    for name in ("d20/lan", "d21/lan"):
        pull(scene, name, SETTLED)
    pull_twice(scene, "d20/lan", SETTLED + 25)
    pull_twice(scene, "d21/lan", SETTLED + 75)
    assert verdicts(walk(scene)) == {"d20/lan:1": "proven", "d21/lan:1": "proven", "d22/lan:1": "not-tested"}


def chain(behind: str) -> Scene:
    """Return a scene in which gamma is behind alpha's second port, and beta is on the switch."""
    scene = Scene(options=RunOptions(lasts=350))
    gamma = scene.add("gamma/cpu", 22, behind=behind)
    gamma.behind = scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21)
    return scene


def test_daisy_chain_that_the_plan_knows() -> None:
    """A planned chain is proven port by port.

    The device behind falls silent too, stays open, and is proven by its own cable. A key that names the port applies to
    that port only.
    """
    scene = chain("alpha/cpu:2")
    pull_first(scene, "alpha/cpu", 30, 100)
    press(scene, 2, 33)  # the rows of the screen: gamma, alpha's two ports, beta
    press(scene, 3, 103)
    pull_twice(scene, "gamma/cpu", 170)
    ran = walk(scene)
    assert verdicts(ran) == {
        "alpha/cpu:1": "proven",
        "alpha/cpu:2": "proven",
        "gamma/cpu:1": "proven",
        "beta/cpu:1": "not-tested",
    }
    assert the(ran, "alpha/cpu:2").connector == "operator"
    assert the(ran, "gamma/cpu:1").connector == "assumed"


@pytest.mark.parametrize("pulls", [1, 2])
def test_daisy_chain_that_the_plan_does_not_know(pulls: int) -> None:
    """In a chain that is not planned, both devices are unsettled.

    The reason proposes the key `behind` once both fell silent and returned together twice.
    """
    scene = chain("")
    pull(scene, "alpha/cpu", SETTLED, *(() if pulls == 1 else (SETTLED + 60,)), out=25)
    ran = walk(scene)
    assert verdicts(ran)["gamma/cpu:1"] == verdicts(ran)["alpha/cpu:1"] == "unsettled"
    assert "gamma/cpu" in the(ran, "alpha/cpu:1").why
    assert ("(behind)" in the(ran, "alpha/cpu:1").why) is (pulls == 2)


def test_without_another_device_no_port_is_proven() -> None:
    """Without another device on the switch, no port is proven: the silence may be the station's own cable."""
    scene = row_of(1, lasts=150)
    pull_twice(scene, "d20/lan", SETTLED)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "--direct" in proof.why


def test_the_gateway_alone_suffices_as_a_control() -> None:
    """The gateway is enough as a control if no other device answers."""
    scene = row_of(1)
    scene.plug("gateway", 254)
    pull_twice(scene, "d20/lan", SETTLED)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


def test_only_selected_ports_get_a_proof() -> None:
    """Only the selected port gets a proof; the other ports serve as controls."""
    scene = row_of(60)
    scene.only = ("d33/lan:1",)
    pull_twice(scene, "d33/lan", SETTLED)
    ran = walk(scene)
    assert verdicts(ran) == {"d33/lan:1": "proven"}
    assert forbidden_frames(ran) == []


# Ports of one interface


def test_ports_named_in_any_order() -> None:
    """Ports that the technician names are proven by two pulls each, in any order."""
    scene = two_ports()
    pull_first(scene, "alpha/cpu", 30, 90)
    press(scene, 2, 33)
    press(scene, 1, 93)
    ran = walk(scene)
    assert verdicts(ran) == {"alpha/cpu:2": "proven", "alpha/cpu:1": "proven", "beta/cpu:1": "not-tested"}
    for port in ("alpha/cpu:1", "alpha/cpu:2"):
        assert (the(ran, port).connector, the(ran, port).cable) == ("operator", "operator")


def test_ports_without_a_name_are_taken_in_order() -> None:
    """Of two ports that nobody names, the first is proven; the connector of the second pair of pulls is unknown."""
    scene = two_ports()
    pull_first(scene, "alpha/cpu", 30, 90)
    ran = walk(scene)
    assert (the(ran, "alpha/cpu:1").verdict, the(ran, "alpha/cpu:1").connector) == ("proven", "assumed")
    assert the(ran, "alpha/cpu:2").verdict == "unsettled"
    assert "The connector is not known" in the(ran, "alpha/cpu:2").why


def test_two_pulls_of_two_ports_prove_neither() -> None:
    """One pull for each of two ports proves neither."""
    scene = two_ports(75)
    pull_first(scene, "alpha/cpu", 30)
    press_when(scene, 2, What.SILENT)
    press_when(scene, 1, What.SILENT, 2)
    ran = walk(scene)
    assert "proven" not in verdicts(ran).values()
    assert said(ran, What.SEEN, "alpha/cpu:1") == ["alpha/cpu:1 seen. Wait for the second request"]


def test_a_pull_named_for_another_port_is_its_first() -> None:
    """A requested pull that is named for another port counts as the first pull of that port."""
    scene = two_ports(130)
    pull_first(scene, "alpha/cpu", 30)
    press_when(scene, 2, What.SILENT)
    press_when(scene, 1, What.SILENT, 2)
    ran = walk(scene)
    assert verdicts(ran)["alpha/cpu:1"] == "proven"
    assert verdicts(ran)["alpha/cpu:2"] in ("unsettled", "not-tested")


def test_a_named_pull_that_is_too_short_does_not_count() -> None:
    """A named pull that is too short does not count, and two more pulls prove the port."""
    scene = two_ports(150)
    pull(scene, "alpha/cpu", 30, out=5)
    press(scene, 1, 33)
    pull_first(scene, "alpha/cpu", 50)
    press(scene, 1, 53)
    assert the(walk(scene), "alpha/cpu:1").verdict == "proven"


@pytest.mark.parametrize("key", [Key.ENTER, Key.SKIP, 2])
def test_keys_pressed_with_all_cables_in_name_no_pull(key: Key | int) -> None:
    """A key that is pressed while all cables are in does not name the next pull."""
    scene = two_ports(200)
    press(scene, key, 10, 20, 40.5)
    pull_twice(scene, "alpha/cpu", 30)
    proof = the(walk(scene), "alpha/cpu:1")
    assert (proof.verdict, proof.cable, proof.connector) == ("proven", "inferred", "assumed")


def test_a_number_is_the_row_of_the_screen() -> None:
    """The row number of another device names no port of the device that is out, and a warning says so.

    The number of its own row names it, whatever its ports are called.
    """
    scene = two_ports(200)
    scene.targets = [scene.targets[-1], *scene.targets[:-1]]  # beta is row 1
    scene.targets = [replace(target, row=row) for row, target in enumerate(scene.targets, 1)]
    pull_first(scene, "alpha/cpu", 30)
    press(scene, 1, 33)
    press(scene, 3, 34)
    ran = walk(scene)
    assert "Row 1: this number names no cable that is out now" in said(ran, What.WARN)
    assert (the(ran, "alpha/cpu:2").verdict, the(ran, "alpha/cpu:2").connector) == ("proven", "operator")
    assert "press 2 for 1 or 3 for 2 to say" in said(ran, What.SILENT)[0]


def test_ports_whose_names_are_not_digits_have_numbers() -> None:
    """A port whose name is not a digit is selected by its row, and the screen says by which number."""
    scene = two_ports()
    scene.targets[:2] = [replace(t, port=name) for t, name in zip(scene.targets, ("X1 P1", "X1 P2"), strict=False)]
    scene.hand.jacks["alpha/cpu:X1 P2"] = scene.hand.jacks["alpha/cpu:X1 P1"] = scene.jacks["alpha/cpu"]
    pull_first(scene, "alpha/cpu", 30)
    press(scene, 2, 33)
    ran = walk(scene)
    assert "press 1 for X1 P1 or 2 for X1 P2" in said(ran, What.SILENT)[0]
    assert the(ran, "alpha/cpu:X1 P2").verdict == "proven"


# Verdicts without a pull


def plant_without_pull(build: str) -> tuple[Scene, str, tuple[str, ...]]:
    """Return a plant in which no pull is needed, the verdict, and words of the reason."""
    scene = row_of(3, lasts=60)
    match build:
        case "two owners":
            scene.plug("stranger", 20, mac=STRANGER)
            return scene, "contested", (STRANGER_TEXT,)
        case "proxy ARP":
            scene.devices["d20/lan"].dead = True
            scene.plug("router", 254, Faults(answers_all=True))
            return scene, "relayed", ("anything",)
        case "swapped":
            scene.jacks["d20/lan"].mac, scene.jacks["d21/lan"].mac = MACS + 21, MACS + 20
            return scene, "swapped", ("d21/lan",)
        case _:
            scene.jacks["d20/lan"].mac = STRANGER
            return scene, "wrong-hardware", (STRANGER_TEXT, "00-00-5E-00-53-14")


@pytest.mark.parametrize("build", ["two owners", "proxy ARP", "swapped", "other hardware"])
def test_verdicts_without_a_pull_come_at_once(build: str) -> None:
    """Two owners, a relay, a swap and wrong hardware are reported within seconds, before any pull."""
    scene, verdict, words = plant_without_pull(build)
    ran = walk(scene)
    proof = the(ran, "d20/lan:1")
    assert proof.verdict == verdict
    assert [word for word in words if word not in proof.why] == []
    told = next(event.at for event in events(ran, What.VERDICT) if event.port == "d20/lan:1")
    assert told - 1000 < 15


def test_all_ports_of_an_interface_are_settled_at_once() -> None:
    """A second owner of the address contests every port of the interface."""
    scene = two_ports(60)
    scene.plug("stranger", 20, mac=STRANGER)
    ran = walk(scene)
    assert {verdicts(ran)[f"alpha/cpu:{port}"] for port in (1, 2)} == {"contested"}


def test_a_second_owner_that_appears_later_is_found() -> None:
    """A second owner that appears before the first pull, or between the two, is found."""
    for at in (SETTLED, SETTLED + 18):
        scene = row_of(2, lasts=150)
        scene.plug("stranger", 20, mac=STRANGER)
        stranger = scene.devices["stranger"]
        stranger.dead = True
        scene.rig.after(at, partial(setattr, stranger, "dead", False))
        pull_twice(scene, "d20/lan", SETTLED)
        proof = the(walk(scene), "d20/lan:1")
        assert proof.verdict in ("contested", "impostor")
        assert STRANGER_TEXT in proof.why


@pytest.mark.parametrize("out", [14.0, 5.0])
@pytest.mark.parametrize("slow", [0.0, 2.0])
def test_impostor_with_the_cable_out(out: float, slow: float) -> None:
    """A MAC that answers only while the cable is out is an impostor, even if the pull was too short."""
    scene = row_of(2, lasts=90)
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["d20/lan"], slow=slow), mac=STRANGER)
    pull(scene, "d20/lan", SETTLED, out=out)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "impostor", proof
    assert STRANGER_TEXT in proof.why


def test_impostor_at_the_second_pull() -> None:
    """An impostor that appears only at the second pull is found."""
    scene = row_of(2, lasts=150)
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["d20/lan"]), mac=STRANGER)
    scene.devices["stranger"].dead = True
    scene.rig.after(SETTLED + 20, partial(setattr, scene.devices["stranger"], "dead", False))
    pull_twice(scene, "d20/lan", SETTLED)
    ran = walk(scene)
    assert said(ran, What.SEEN)
    assert the(ran, "d20/lan:1").verdict == "impostor"


def test_another_module_of_the_device_takes_over() -> None:
    """If another MAC of the same device answers while the cable is out, the port is still answering."""
    scene = row_of(1, lasts=90)
    scene.plan("d20/module", 22)
    scene.add("d30/lan", 30)
    scene.plug("module", 20, Faults(only_while_out=scene.jacks["d20/lan"]), mac=MACS + 22)
    pull(scene, "d20/lan", SETTLED)
    assert the(walk(scene), "d20/lan:1").verdict == "still-answering"


def test_one_address_planned_twice() -> None:
    """Of two rows with one address, the row with the device's MAC is proven, and the other is swapped at once."""
    scene = row_of(2)
    scene.plan("d20/again", 20, mac=STRANGER)
    scene.jacks["d20/lan"].mac = STRANGER
    scene.hand.jacks["d20/again:1"] = scene.jacks["d20/lan"]
    pull_twice(scene, "d20/lan", SETTLED)
    assert verdicts(walk(scene)) == {"d20/lan:1": "swapped", "d20/again:1": "proven", "d21/lan:1": "not-tested"}


def test_absent_is_silent() -> None:
    """An address that never answered is silent when the walk ends after the patience."""
    scene = row_of(3, lasts=90)
    scene.devices["d20/lan"].dead = True
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "silent"
    assert "192.0.2.20" in proof.why


def test_never_returns() -> None:
    """A port is not back after three times the patience; a later return and two more pulls prove it."""
    scene = row_of(2, lasts=400)
    pull(scene, "d20/lan", SETTLED, out=300)
    ran = walk(scene)
    assert "did not return" in said(ran, What.WARN)[0]
    assert the(ran, "d20/lan:1").verdict == "not-back"
    scene = row_of(2, lasts=500)
    scene.hand.returns = False
    pull_twice(scene, "d20/lan", SETTLED)
    scene.rig.after(SETTLED + 250, partial(scene.rig.plug, scene.jacks["d20/lan"], True))
    scene.rig.after(SETTLED + 250, partial(setattr, scene.hand, "returns", True))
    pull_twice(scene, "d20/lan", SETTLED + 280)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


@pytest.mark.parametrize("share", [0.1, 0.2])
def test_a_lossy_link_takes_longer_and_is_proven(share: float) -> None:
    """On a link with loss, a longer silence is needed, and a technician who waits for it gets the proof."""
    scene = row_of(3, lasts=600)
    scene.jacks["d20/lan"].loss = share
    scene.obeys = True
    pull_twice(scene, "d20/lan", 80)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


def test_echo_blocked_is_proven_by_arp() -> None:
    """A device that answers only ARP is proven by ARP."""
    scene = row_of(2, lasts=300)
    scene.devices["d20/lan"].faults = Faults(echo=False)
    pull_twice(scene, "d20/lan", 40)
    proof = the(walk(scene), "d20/lan:1")
    assert (proof.verdict, proof.echo) == ("proven", "blocked")


# The station, and the end of the walk


def test_own_cable_pulled() -> None:
    """Without carrier at the station, no pull counts and a warning says so; later pulls prove as usual."""
    scene = row_of(2)
    pull(scene, scene.rig.jacks[0], SETTLED, out=10)
    pull_twice(scene, "d20/lan", SETTLED + 30)
    ran = walk(scene)
    assert said(ran, What.WARN)[0] == "This computer's own cable is out: plug it in again"
    assert verdicts(ran) == {"d20/lan:1": "proven", "d21/lan:1": "not-tested"}
    assert forbidden_frames(ran) == []


def test_own_cable_pulled_while_another_is_out() -> None:
    """A pull during which the station's own carrier drops does not count."""
    scene = row_of(2, lasts=120)
    pull(scene, "d20/lan", SETTLED)
    pull(scene, scene.rig.jacks[0], SETTLED + 5, out=5)
    ran = walk(scene)
    assert any("does not count" in text for text in said(ran, What.WARN))
    assert the(ran, "d20/lan:1").verdict == "unsettled"
    assert "the station's own cable came out" in the(ran, "d20/lan:1").why


def test_the_cable_between_two_switches() -> None:
    """If everything falls silent at once with carrier, nothing counts and no port is proven."""
    scene = row_of(3, lasts=150)
    trunk = Jack(0)
    for name in ("d20/lan", "d21/lan", "d22/lan"):
        scene.jacks[name].behind = trunk
    pull(scene, trunk, SETTLED, SETTLED + 25)
    ran = walk(scene)
    assert set(verdicts(ran).values()) <= {"not-tested", "unsettled"}
    assert any("everything fell silent at once" in text for text in said(ran, What.WARN))


def test_the_walk_ends_after_its_time() -> None:
    """The walk ends after `--for`, and a port whose cable is out then is cut short."""
    scene = row_of(2, lasts=40)
    pull(scene, "d20/lan", SETTLED)
    ran = walk(scene)
    assert 40 <= ran.seconds < 41
    assert the(ran, "d20/lan:1").verdict == "unsettled"
    assert "cut short: the walk ended" in the(ran, "d20/lan:1").why


def test_key_q_ends_the_walk() -> None:
    """Key q cuts short the open port; proven ports and single pulls keep their verdicts."""
    scene = row_of(4)
    pull_twice(scene, "d20/lan", SETTLED)
    del scene.hand.jacks["d21/lan:1"]
    pull(scene, "d21/lan", SETTLED + 50)
    pull(scene, "d22/lan", SETTLED + 70)
    press(scene, Key.QUIT, SETTLED + 76)
    ran = walk(scene)
    assert list(verdicts(ran).values()) == ["proven", "unsettled", "unsettled", "not-tested"]
    assert "once more" in the(ran, "d21/lan:1").why
    assert "cut short: the run was stopped" in the(ran, "d22/lan:1").why
    assert ran.seconds == pytest.approx(SETTLED + 76, abs=0.5)


def test_an_impostor_is_kept_when_the_walk_is_stopped() -> None:
    """If the walk is stopped while another MAC answers with the cable out, the verdict is impostor."""
    scene = row_of(2)
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["d20/lan"]), mac=STRANGER)
    pull(scene, "d20/lan", SETTLED)
    press(scene, Key.QUIT, SETTLED + 5)
    assert the(walk(scene), "d20/lan:1").verdict == "impostor"


def test_the_walk_is_stopped_before_the_first_request() -> None:
    """If key q is pressed while the borrowed address is checked, every port is not tested."""
    scene = row_of(2, own=False)
    press(scene, Key.QUIT, 2)
    assert set(verdicts(walk(scene)).values()) == {"not-tested"}


def test_borrowed_address() -> None:
    """Without an own address, the station borrows the planned one (RFC 5227), and the walk is the same."""
    scene = row_of(2, own=False)
    pull_twice(scene, "d20/lan", SETTLED + 10)
    ran = walk(scene)
    assert the(ran, "d20/lan:1").verdict == "proven"
    senders = {arp.sender_ip for _, _, frame in ran.rig.sent if (arp := arp_from_wire(frame)) is not None}
    assert senders == {0, ip(240)}


def test_the_interface_is_removed() -> None:
    """If the adapter is removed, the walk waits for it, then ends and gives the reason."""
    scene = row_of(2)
    scene.rig.after(SETTLED, scene.rig.remove)
    ran = walk(scene)
    assert "the interface is gone" in the(ran, "d20/lan:1").why
    assert SETTLED + 60 < ran.seconds < SETTLED + 61


def test_ports_that_cannot_be_probed() -> None:
    """Ports that cannot be probed are not tested, with the reason, and the walk does not wait for them."""
    scene = row_of(2)
    scene.plan("six/lan", 30, barred="IPv6 is not probed")
    pull_twice(scene, "d20/lan", SETTLED)
    pull_twice(scene, "d21/lan", SETTLED + 50)
    ran = walk(scene)
    assert verdicts(ran) == {"six/lan:1": "not-tested", "d20/lan:1": "proven", "d21/lan:1": "proven"}
    assert ran.seconds < 140


# Limits on the frames sent


def test_the_pace_is_kept_on_a_large_walk() -> None:
    """On a walk over seventy ports, some absent, some with loss, the default pace is kept."""
    scene = row_of(70, lasts=80)
    for last in range(30, 40):
        scene.devices[f"d{last}/lan"].dead = True
    for last in range(50, 55):
        scene.jacks[f"d{last}/lan"].loss = 0.3
    for number in range(6):
        pull(scene, f"d{60 + number}/lan", 45 + 3 * number)
    ran = walk(scene)
    assert forbidden_frames(ran) == []
    broadcasts = [at for at, _, frame in ran.rig.sent if int.from_bytes(frame[:6], "big") == BROADCAST]
    assert 5 < len(broadcasts) / ran.seconds <= 10


def test_frames_go_only_to_permitted_hosts() -> None:
    """Site hosts other than the gateway are never asked, and no frame comes from a planned address."""
    scene = row_of(3, lasts=60)
    scene.plug("camera", 77, mac=STRANGER)
    ran = walk(scene)
    assert forbidden_frames(ran) == []
    assert {frame[6:12] for _, _, frame in ran.rig.sent} == {STATION_MAC.to_bytes(6, "big")}
    assert STRANGER.to_bytes(6, "big") not in {frame[:6] for _, _, frame in ran.rig.sent}


def test_the_same_seed_gives_the_same_walk() -> None:
    """A walk with the same seed repeats the same frames, times, events and proofs."""

    def once() -> Ran:
        scene = row_of(4, lasts=120, seed=7)
        scene.jacks["d21/lan"].loss = 0.2
        pull_twice(scene, "d20/lan", SETTLED)
        pull(scene, "d22/lan", SETTLED + 10)
        return walk(scene, seed=7)

    one, other = once(), once()
    assert one.rig.sent
    assert (one.rig.sent, one.log, one.prober.proofs) == (other.rig.sent, other.log, other.prober.proofs)


# The remaining time


def test_the_remaining_time_is_right_within_three_seconds() -> None:
    """With the cable out, the displayed remaining seconds are right within three, at either pull."""
    scene = row_of(2)
    pull_twice(scene, "d20/lan", SETTLED)
    told: list[tuple[float, float]] = []
    walkers: list[Prober] = []

    def look() -> None:
        case = walkers[0].port if walkers else None
        if case is not None and case.phase == "out":
            told.append((scene.rig.now(), seconds_to_hold(case)))

    for tick in range(1, 300):
        scene.rig.after(SETTLED + tick / 4, look)
    ran = walk(scene, began=walkers.append)
    ends = [event.at for event in events(ran, What.ENOUGH)]
    assert len(ends) == 2
    for at, left in told:
        end = next((end for end in ends if end >= at), None)
        if end is not None:
            assert abs(at + left - end) < 3, (at, left, end)
    assert len(told) > 30
