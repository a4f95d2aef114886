"""The walk: cables pulled in any order, what each pull comes to, and the good manners of the whole of it.

What goes wrong at a panel is common
practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import permutations

import pytest

from netcheck.proof.events import Action, Event, Key, What
from netcheck.proof.port.countdown import seconds_to_hold
from netcheck.proof.prober import Prober
from netcheck.proof.result import Proof
from netcheck.proof.run_options import RunOptions
from netcheck.rig.devices import Faults
from netcheck.rig.network import Jack
from netcheck.wire.frames import BROADCAST, arp_from_wire
from tests.rig.scenes import MACS, STATION_MAC, Ran, Scene, ill_manners, ip
from tests.rig.walks import SETTLED, events, proofs, pull, pull_first, row_of, said, verdicts, walk

STRANGER, STRANGER_TEXT = MACS + 0x99, "00-00-5E-00-53-99"


def twice(scene: Scene, name: str, at: float) -> None:
    """Pull a cable, and once more when that is asked for."""
    pull_first(scene, name, at)


def two_ports(lasts: float = 300.0, ports: int = 2) -> Scene:
    """A device with a built-in switch, whose cable is moved from port to port, and another device."""
    scene = Scene(options=RunOptions(lasts=lasts))
    scene.add("alpha/cpu", 20, ports=ports)
    scene.add("beta/cpu", 21)
    return scene


def press(scene: Scene, key: Key | int, *moments: float) -> None:
    """Press a key at these times."""
    for at in moments:
        scene.rig.after(at, partial(scene.hand.press, key))


def press_when(scene: Scene, key: Key | int, what: What, time: int = 1) -> None:
    """Press a key a second after the event of a kind that comes as the first, second and so on."""
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
    """The proof of a port, after a look at the manners of the run."""
    assert ill_manners(ran) == []
    return proofs(ran)[subject]


# Pulls


@pytest.mark.parametrize("order", list(permutations(("d20/lan", "d21/lan", "d22/lan"))), ids=lambda o: " ".join(o))
def test_each_twice_in_any_order_is_proven(order: tuple[str, ...]) -> None:
    """Three devices, pulled in any order and twice each, are proven in that order, and the walk ends by itself."""
    scene = row_of(3, lasts=600)
    for number, name in enumerate(order):
        twice(scene, name, SETTLED + 50 * number)
    ran = walk(scene)
    assert list(verdicts(ran).items()) == [(f"{name}:1", "proven") for name in order]
    assert {proof.cable for proof in ran.prober.proofs} == {"inferred"}
    assert {proof.identity for proof in ran.prober.proofs} == {"planned"}
    assert ran.seconds < 200
    assert ill_manners(ran) == []


def test_ports_may_be_pulled_one_after_the_other() -> None:
    """The next cable is pulled as soon as the one before is back: all are proven."""
    scene = row_of(3)
    for number, name in enumerate(("d20/lan", "d21/lan", "d22/lan")):
        twice(scene, name, SETTLED + 30 * number)
    assert set(verdicts(walk(scene)).values()) == {"proven"}


def test_once_is_not_enough() -> None:
    """One silence could be a restart: a second pull is asked for, and without it the port stays unsettled."""
    scene = row_of(2, lasts=120)
    pull(scene, "d20/lan", SETTLED)
    ran = walk(scene)
    proof = the(ran, "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "its second pull was asked for and did not come" in proof.why
    assert said(ran, What.SEEN) == ["d20/lan:1 seen. Wait for the second request"]
    assert said(ran, What.DO, "d20/lan:1")[1:] == ["Pull the cable of d20/lan:1 once more"] * 3


def test_what_is_seen_once_when_the_walk_ends() -> None:
    """The second pull was not asked for yet when the walk ended: unsettled, and the next step is said."""
    scene = row_of(2, lasts=SETTLED + 9.5)
    twice(scene, "d20/lan", SETTLED)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "pull the cable once more" in proof.why


def test_a_restart_by_itself_is_not_proven() -> None:
    """A device that restarts once while all cables stay in gets no proof."""
    scene = row_of(2, lasts=150)
    scene.rig.after(SETTLED, partial(scene.devices["d20/lan"].restart, 20.0))
    assert the(walk(scene), "d20/lan:1").verdict == "unsettled"


def test_once_where_one_pull_was_to_be_enough() -> None:
    """With `once` a single pull proves, and the proof says so."""
    scene = row_of(2, lasts=120)
    scene.options = replace(scene.options, once=True)
    pull(scene, "d20/lan", SETTLED, out=20)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "proven"
    assert any("--once" in note for note in proof.notes)


def test_never_pulled_is_not_tested() -> None:
    """A port whose cable stayed in has not been tested."""
    proof = the(walk(row_of(2, lasts=60)), "d20/lan:1")
    assert (proof.verdict, proof.why) == ("not-tested", "Not tested: its cable was never pulled.")


@pytest.mark.parametrize(("hand", "verdict"), [(1.0, "proven"), (7.0, "proven"), (12.0, "unsettled")])
def test_the_second_pull_must_answer_the_request(hand: float, verdict: str) -> None:
    """A silence counts that begins within ten seconds of the request; a later one could be a restart."""
    scene = row_of(2, lasts=300)
    scene.hand.hand = hand
    twice(scene, "d20/lan", SETTLED)
    assert the(walk(scene), "d20/lan:1").verdict == verdict


@pytest.mark.parametrize("after", [15.0, 20.0, 50.0])
def test_a_second_silence_that_nobody_asked_for_proves_nothing(after: float) -> None:
    """Outages come in clusters: a device that restarts twice does not prove itself, whenever it does so."""
    scene = row_of(2, lasts=200)
    for at in (SETTLED, SETTLED + 12 + after):
        scene.rig.after(at, partial(scene.devices["d20/lan"].restart, 12.0))
    assert the(walk(scene), "d20/lan:1").verdict == "unsettled"


def test_a_silence_between_the_two_makes_a_third_necessary() -> None:
    """Where the device falls silent while nobody asks for it, two requests must be answered."""
    scene = row_of(2)
    twice(scene, "d20/lan", SETTLED)
    scene.rig.after(SETTLED + 8.9, partial(scene.devices["d20/lan"].restart, 5.0))
    ran = walk(scene)
    assert the(ran, "d20/lan:1").verdict == "proven"
    assert said(ran, What.DO, "d20/lan:1").count("Pull the cable of d20/lan:1 once more") == 2


@pytest.mark.parametrize("out", [3.0, 5.0, 6.5])
def test_too_short_pulls_prove_nothing(out: float) -> None:
    """A cable that is put back before its silence means anything is seen and said, however often it is done."""
    scene = row_of(2, lasts=200)
    pull(scene, "d20/lan", SETTLED, SETTLED + 25, SETTLED + 50, out=out)
    ran = walk(scene)
    proof = the(ran, "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "put back too soon" in proof.why
    assert "leave the cable out until told" in said(ran, What.WARN)[0]


def test_a_too_short_pull_is_made_good() -> None:
    """The short pull leaves no gap that the next ones are measured by: the same fourteen seconds prove as ever."""
    scene = row_of(2)
    pull(scene, "d20/lan", SETTLED, out=6.0)
    twice(scene, "d20/lan", SETTLED + 20)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


def test_a_too_short_second_pull_is_made_good() -> None:
    """The short one does not count, and two more prove the port."""
    scene = row_of(2)
    twice(scene, "d20/lan", SETTLED)
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


def test_who_obeys_the_screen_gets_the_proof() -> None:
    """A technician who leaves the cable out until told, and pulls again when told, has every port proven."""
    scene = row_of(3, lasts=400)
    for number, name in enumerate(("d21/lan", "d22/lan", "d20/lan")):
        twice(scene, name, SETTLED + 60 * number)
    ran = walk(scene)
    assert list(verdicts(ran).items()) == [(f"{name}:1", "proven") for name in ("d21/lan", "d22/lan", "d20/lan")]


# More than one


def test_two_pulled_together_name_each_other() -> None:
    """Which of two connectors was pulled is not known: unsettled, with the other's name."""
    scene = row_of(3, lasts=150)
    for name in ("d20/lan", "d21/lan"):
        twice(scene, name, SETTLED)
    ran = walk(scene)
    for one, other in (("d20/lan", "d21/lan"), ("d21/lan", "d20/lan")):
        proof = the(ran, f"{one}:1")
        assert proof.verdict == "unsettled"
        assert f"{other} (" in proof.why
        assert "fell silent together with it" in proof.why
    assert verdicts(ran)["d22/lan:1"] == "not-tested"


@pytest.mark.parametrize(
    ("after", "verdict"), [(0.5, "unsettled"), (2.0, "unsettled"), (9.0, "unsettled"), (30.0, "proven")]
)
def test_one_pulled_while_another_is_out(after: float, verdict: str) -> None:
    """Two that fall silent almost at once cannot be told apart; one that falls silent alone can, whatever is pulled
    once its silence has meant something."""
    scene = row_of(3, lasts=200)
    twice(scene, "d20/lan", SETTLED)
    twice(scene, "d21/lan", SETTLED + after)
    ran = walk(scene)
    assert verdicts(ran) == {"d20/lan:1": verdict, "d21/lan:1": verdict, "d22/lan:1": "not-tested"}


def test_pulled_together_stays_open() -> None:
    """Those that fell silent together are proven once each is pulled alone."""
    scene = row_of(3)
    for name in ("d20/lan", "d21/lan"):
        pull(scene, name, SETTLED)
    twice(scene, "d20/lan", SETTLED + 25)
    twice(scene, "d21/lan", SETTLED + 75)
    assert verdicts(walk(scene)) == {"d20/lan:1": "proven", "d21/lan:1": "proven", "d22/lan:1": "not-tested"}


def chain(behind: str) -> Scene:
    """Gamma hangs behind alpha's second port, and stands before it in the plan; beta is on the switch."""
    scene = Scene(options=RunOptions(lasts=350))
    gamma = scene.add("gamma/cpu", 22, behind=behind)
    gamma.behind = scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21)
    return scene


def test_daisy_chain_that_the_plan_knows() -> None:
    """Pulling the first of a chain proves it although the one behind it falls silent too; that one stays open and is
    proven by its own cable. The key that names the port is not taken by the other case."""
    scene = chain("alpha/cpu:2")
    pull_first(scene, "alpha/cpu", 30, 100)
    press(scene, 1, 33)
    press(scene, 2, 103)
    twice(scene, "gamma/cpu", 170)
    ran = walk(scene)
    assert verdicts(ran) == {
        "alpha/cpu:1": "proven",
        "alpha/cpu:2": "proven",
        "gamma/cpu:1": "proven",
        "beta/cpu:1": "not-tested",
    }
    assert the(ran, "alpha/cpu:2").connector == "operator"
    assert the(ran, "gamma/cpu:1").connector == "assumed"


def test_daisy_chain_that_the_plan_does_not_know() -> None:
    """Both depend on one another for all that is known: unsettled, with the advice to write it into the plan."""
    scene = chain("")
    twice(scene, "alpha/cpu", SETTLED)
    ran = walk(scene)
    assert verdicts(ran)["gamma/cpu:1"] == verdicts(ran)["alpha/cpu:1"] == "unsettled"
    assert "gamma/cpu" in the(ran, "alpha/cpu:1").why
    assert "behind" in the(ran, "alpha/cpu:1").why


def test_no_other_device_no_proof() -> None:
    """With nothing else on the switch a silence may be the station's own cable."""
    scene = row_of(1, lasts=150)
    twice(scene, "d20/lan", SETTLED)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "unsettled"
    assert "--direct" in proof.why


def test_the_gateway_is_control_enough() -> None:
    """Where it is the only other thing heard."""
    scene = row_of(1)
    scene.plug("gateway", 254)
    twice(scene, "d20/lan", SETTLED)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


def test_only_what_is_asked_for() -> None:
    """Of a large plan one port is asked for: the others serve as controls, and get no proof."""
    scene = row_of(60)
    scene.only = ("d33/lan:1",)
    twice(scene, "d33/lan", SETTLED)
    ran = walk(scene)
    assert verdicts(ran) == {"d33/lan:1": "proven"}
    assert ill_manners(ran) == []


# Ports of one interface


def test_ports_named_in_any_order() -> None:
    """The technician names the second port first: each named port is proven by its two pulls."""
    scene = two_ports()
    pull_first(scene, "alpha/cpu", 30, 90)
    press(scene, 2, 33)
    press(scene, 1, 93)
    ran = walk(scene)
    assert verdicts(ran) == {"alpha/cpu:2": "proven", "alpha/cpu:1": "proven", "beta/cpu:1": "not-tested"}
    for port in ("alpha/cpu:1", "alpha/cpu:2"):
        assert (the(ran, port).connector, the(ran, port).cable) == ("operator", "operator")


def test_ports_that_nobody_names_are_taken_in_order() -> None:
    """The first port is proven; which connector the second pair of pulls was is not known."""
    scene = two_ports()
    pull_first(scene, "alpha/cpu", 30, 90)
    ran = walk(scene)
    assert (the(ran, "alpha/cpu:1").verdict, the(ran, "alpha/cpu:1").connector) == ("proven", "assumed")
    assert the(ran, "alpha/cpu:2").verdict == "unsettled"
    assert "Which connector is not known" in the(ran, "alpha/cpu:2").why


def test_two_pulls_of_two_ports_prove_neither() -> None:
    """The pull on request, named for another port than the first, is a first pull of that port."""
    scene = two_ports(75)
    pull_first(scene, "alpha/cpu", 30)
    press_when(scene, 2, What.SILENT)
    press_when(scene, 1, What.SILENT, 2)
    ran = walk(scene)
    assert "proven" not in verdicts(ran).values()
    assert said(ran, What.SEEN, "alpha/cpu:1") == ["alpha/cpu:1 seen. Wait for the second request"]


def test_a_pull_named_for_another_port_is_its_first() -> None:
    """Two, then one where two was asked for, then one again: port 1 is proven by its own two pulls."""
    scene = two_ports(130)
    pull_first(scene, "alpha/cpu", 30)
    press_when(scene, 2, What.SILENT)
    press_when(scene, 1, What.SILENT, 2)
    ran = walk(scene)
    assert verdicts(ran)["alpha/cpu:1"] == "proven"
    assert verdicts(ran)["alpha/cpu:2"] in ("unsettled", "not-tested")


def test_a_named_pull_that_is_too_short_is_said_at_once() -> None:
    """The word of the operator does not turn a cable that is back too soon into one that never was out."""
    scene = two_ports(150)
    pull(scene, "alpha/cpu", 30, out=5)
    press(scene, 1, 33)
    pull_first(scene, "alpha/cpu", 50)
    press(scene, 1, 53)
    assert the(walk(scene), "alpha/cpu:1").verdict == "proven"


@pytest.mark.parametrize("key", [Key.ENTER, Key.SKIP, 2])
def test_keys_pressed_with_all_cables_in_say_nothing(key: Key | int) -> None:
    """A key from before is no word about the cable that is pulled next."""
    scene = two_ports(200)
    press(scene, key, 10, 20, 40.5)
    twice(scene, "alpha/cpu", 30)
    proof = the(walk(scene), "alpha/cpu:1")
    assert (proof.verdict, proof.cable, proof.connector) == ("proven", "inferred", "assumed")


def test_ports_whose_names_are_no_digits_have_numbers() -> None:
    """Keys are digits: a port called otherwise is named by its place, and the screen says by which."""
    scene = two_ports()
    scene.targets[:2] = [replace(t, port=name) for t, name in zip(scene.targets, ("X1 P1", "X1 P2"), strict=False)]
    scene.hand.jacks["alpha/cpu:X1 P2"] = scene.hand.jacks["alpha/cpu:X1 P1"] = scene.jacks["alpha/cpu"]
    pull_first(scene, "alpha/cpu", 30)
    press(scene, 2, 33)
    ran = walk(scene)
    assert "press 1 for X1 P1 or 2 for X1 P2" in said(ran, What.SILENT)[0]
    assert the(ran, "alpha/cpu:X1 P2").verdict == "proven"


# Settled at once


def settled_at_once(build: str) -> tuple[Scene, str, tuple[str, ...]]:
    """A plant in which no pull is needed, the verdict, and words of the sentence."""
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
def test_what_needs_no_pull_is_settled_at_once(build: str) -> None:
    """Two owners, a relay, a swap and other hardware are told within seconds, before anybody pulls a cable."""
    scene, verdict, words = settled_at_once(build)
    ran = walk(scene)
    proof = the(ran, "d20/lan:1")
    assert proof.verdict == verdict
    assert [word for word in words if word not in proof.why] == []
    told = next(event.at for event in events(ran, What.VERDICT) if event.port == "d20/lan:1")
    assert told - 1000 < 15


def test_all_ports_of_an_interface_are_settled_at_once() -> None:
    """Two owners of the address are two owners at each port."""
    scene = two_ports(60)
    scene.plug("stranger", 20, mac=STRANGER)
    ran = walk(scene)
    assert {verdicts(ran)[f"alpha/cpu:{port}"] for port in (1, 2)} == {"contested"}


def test_a_second_owner_that_comes_later_is_told() -> None:
    """Somebody takes the address while it is watched, before the first pull or between the two."""
    for at in (SETTLED, SETTLED + 18):
        scene = row_of(2, lasts=150)
        scene.plug("stranger", 20, mac=STRANGER)
        stranger = scene.devices["stranger"]
        stranger.dead = True
        scene.rig.after(at, partial(setattr, stranger, "dead", False))
        twice(scene, "d20/lan", SETTLED)
        proof = the(walk(scene), "d20/lan:1")
        assert proof.verdict in ("contested", "impostor")
        assert STRANGER_TEXT in proof.why


@pytest.mark.parametrize("out", [14.0, 5.0])
@pytest.mark.parametrize("slow", [0.0, 2.0])
def test_impostor_with_the_cable_out(out: float, slow: float) -> None:
    """Somebody answers only while the cable is out: impostor, at the first pull, even at one that was too short."""
    scene = row_of(2, lasts=90)
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["d20/lan"], slow=slow), mac=STRANGER)
    pull(scene, "d20/lan", SETTLED, out=out)
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "impostor", proof
    assert STRANGER_TEXT in proof.why


def test_impostor_at_the_second_pull() -> None:
    """Who is heard in either pull is heard."""
    scene = row_of(2, lasts=150)
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["d20/lan"]), mac=STRANGER)
    scene.devices["stranger"].dead = True
    scene.rig.after(SETTLED + 20, partial(setattr, scene.devices["stranger"], "dead", False))
    twice(scene, "d20/lan", SETTLED)
    ran = walk(scene)
    assert said(ran, What.SEEN)
    assert the(ran, "d20/lan:1").verdict == "impostor"


def test_its_own_module_takes_over() -> None:
    """Another MAC of the same device answers while its cable is out: still-answering."""
    scene = row_of(1, lasts=90)
    scene.plan("d20/module", 22)
    scene.add("d30/lan", 30)
    scene.plug("module", 20, Faults(only_while_out=scene.jacks["d20/lan"]), mac=MACS + 22)
    pull(scene, "d20/lan", SETTLED)
    assert the(walk(scene), "d20/lan:1").verdict == "still-answering"


def test_one_address_planned_twice() -> None:
    """The device is the one of the second plan row: the first is told at once, and the second can be proven."""
    scene = row_of(2)
    scene.plan("d20/again", 20, mac=STRANGER)
    scene.jacks["d20/lan"].mac = STRANGER
    scene.hand.jacks["d20/again:1"] = scene.jacks["d20/lan"]
    twice(scene, "d20/lan", SETTLED)
    assert verdicts(walk(scene)) == {"d20/lan:1": "swapped", "d20/again:1": "proven", "d21/lan:1": "not-tested"}


def test_absent_is_silent() -> None:
    """An address from which nothing ever came is silent after the patience, when the walk ends."""
    scene = row_of(3, lasts=90)
    scene.devices["d20/lan"].dead = True
    proof = the(walk(scene), "d20/lan:1")
    assert proof.verdict == "silent"
    assert "192.0.2.20" in proof.why


def test_never_returns() -> None:
    """Not back within three times the patience; when it is put back later, two more pulls prove it."""
    scene = row_of(2, lasts=400)
    pull(scene, "d20/lan", SETTLED, out=300)
    ran = walk(scene)
    assert "did not return" in said(ran, What.WARN)[0]
    assert the(ran, "d20/lan:1").verdict == "not-back"
    scene = row_of(2, lasts=500)
    scene.hand.returns = False
    twice(scene, "d20/lan", SETTLED)
    scene.rig.after(SETTLED + 250, partial(scene.rig.plug, scene.jacks["d20/lan"], True))
    scene.rig.after(SETTLED + 250, partial(setattr, scene.hand, "returns", True))
    twice(scene, "d20/lan", SETTLED + 280)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


@pytest.mark.parametrize("share", [0.1, 0.2])
def test_a_lossy_link_takes_longer_and_is_proven(share: float) -> None:
    """The silence asked for grows with what was lost before; a technician who waits until told gets the proof."""
    scene = row_of(3, lasts=600)
    scene.jacks["d20/lan"].loss = share
    scene.obeys = True
    twice(scene, "d20/lan", 80)
    assert the(walk(scene), "d20/lan:1").verdict == "proven"


def test_echo_blocked_is_proven_by_arp() -> None:
    """A device that answers ARP alone is watched by it."""
    scene = row_of(2, lasts=300)
    scene.devices["d20/lan"].faults = Faults(echo=False)
    twice(scene, "d20/lan", 40)
    proof = the(walk(scene), "d20/lan:1")
    assert (proof.verdict, proof.echo) == ("proven", "blocked")


# The station, and the end


def test_own_cable_pulled() -> None:
    """The station's carrier drops: nothing is taken for a pull, it is said, and pulls afterwards prove as ever."""
    scene = row_of(2)
    pull(scene, scene.rig.jacks[0], SETTLED, out=10)
    twice(scene, "d20/lan", SETTLED + 30)
    ran = walk(scene)
    assert said(ran, What.WARN)[0] == "The station's own cable is out: plug it in again"
    assert verdicts(ran) == {"d20/lan:1": "proven", "d21/lan:1": "not-tested"}
    assert ill_manners(ran) == []


def test_own_cable_pulled_while_another_is_out() -> None:
    """The pull that was being looked at does not count."""
    scene = row_of(2, lasts=120)
    pull(scene, "d20/lan", SETTLED)
    pull(scene, scene.rig.jacks[0], SETTLED + 5, out=5)
    ran = walk(scene)
    assert any("does not count" in text for text in said(ran, What.WARN))
    assert the(ran, "d20/lan:1").verdict == "not-tested"


def test_the_cable_between_two_switches() -> None:
    """Everything falls silent at once, the carrier stays: nothing counts, and nobody is proven."""
    scene = row_of(3, lasts=150)
    trunk = Jack(0)
    for name in ("d20/lan", "d21/lan", "d22/lan"):
        scene.jacks[name].behind = trunk
    pull(scene, trunk, SETTLED, SETTLED + 25)
    ran = walk(scene)
    assert set(verdicts(ran).values()) <= {"not-tested", "unsettled"}
    assert any("everything fell silent at once" in text for text in said(ran, What.WARN))


def test_it_ends_after_its_time() -> None:
    """`--for` ends it, whatever is open; a port whose cable is out then was cut short."""
    scene = row_of(2, lasts=40)
    pull(scene, "d20/lan", SETTLED)
    ran = walk(scene)
    assert 40 <= ran.seconds < 41
    assert the(ran, "d20/lan:1").verdict == "unsettled"
    assert "cut short: the walk ended" in the(ran, "d20/lan:1").why


def test_q_ends_it() -> None:
    """What is open is cut short or not tested; what is proven, and what was seen once, stays."""
    scene = row_of(4)
    twice(scene, "d20/lan", SETTLED)
    del scene.hand.jacks["d21/lan:1"]
    pull(scene, "d21/lan", SETTLED + 50)
    pull(scene, "d22/lan", SETTLED + 70)
    press(scene, Key.QUIT, SETTLED + 76)
    ran = walk(scene)
    assert list(verdicts(ran).values()) == ["proven", "unsettled", "unsettled", "not-tested"]
    assert "once more" in the(ran, "d21/lan:1").why
    assert "cut short: the run was stopped" in the(ran, "d22/lan:1").why
    assert ran.seconds == pytest.approx(SETTLED + 76, abs=0.5)


def test_an_impostor_heard_so_far_is_not_forgotten_at_the_end() -> None:
    """The cable is out and somebody else answers when the walk is stopped: impostor, not unsettled."""
    scene = row_of(2)
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["d20/lan"]), mac=STRANGER)
    pull(scene, "d20/lan", SETTLED)
    press(scene, Key.QUIT, SETTLED + 5)
    assert the(walk(scene), "d20/lan:1").verdict == "impostor"


def test_stopped_before_it_began() -> None:
    """While the borrowed address is being made sure of, q leaves every port untested."""
    scene = row_of(2, own=False)
    press(scene, Key.QUIT, 2)
    assert set(verdicts(walk(scene)).values()) == {"not-tested"}


def test_borrowed_address() -> None:
    """Without an address of its own the station borrows the plan's, as RFC 5227 asks, and the walk is the same."""
    scene = row_of(2, own=False)
    twice(scene, "d20/lan", SETTLED + 10)
    ran = walk(scene)
    assert the(ran, "d20/lan:1").verdict == "proven"
    senders = {arp.sender_ip for _, _, frame in ran.rig.sent if (arp := arp_from_wire(frame)) is not None}
    assert senders == {0, ip(240)}


def test_interface_gone() -> None:
    """The adapter is pulled: the walk waits for it, then ends, and says why."""
    scene = row_of(2)
    scene.rig.after(SETTLED, scene.rig.remove)
    ran = walk(scene)
    assert "the interface is gone" in the(ran, "d20/lan:1").why
    assert SETTLED + 60 < ran.seconds < SETTLED + 61


def test_ports_that_cannot_be_probed() -> None:
    """They are not tested, with the reason, and the walk does not wait for them."""
    scene = row_of(2)
    scene.plan("six/lan", 30, barred="IPv6 is not probed")
    twice(scene, "d20/lan", SETTLED)
    twice(scene, "d21/lan", SETTLED + 50)
    ran = walk(scene)
    assert verdicts(ran) == {"six/lan:1": "not-tested", "d20/lan:1": "proven", "d21/lan:1": "proven"}
    assert ran.seconds < 140


# Manners


def test_good_manners_of_a_walk_over_many() -> None:
    """Seventy ports, some absent, some lossy, pulled here and there: the default pace holds all the time."""
    scene = row_of(70, lasts=80)
    for last in range(30, 40):
        scene.devices[f"d{last}/lan"].dead = True
    for last in range(50, 55):
        scene.jacks[f"d{last}/lan"].loss = 0.3
    for number in range(6):
        pull(scene, f"d{60 + number}/lan", 45 + 3 * number)
    ran = walk(scene)
    assert ill_manners(ran) == []
    broadcasts = [at for at, _, frame in ran.rig.sent if int.from_bytes(frame[:6], "big") == BROADCAST]
    assert 5 < len(broadcasts) / ran.seconds <= 10


def test_every_frame_is_from_the_station_to_whom_it_may_ask() -> None:
    """Site hosts other than the gateway are never asked, and nothing comes from a planned address."""
    scene = row_of(3, lasts=60)
    scene.plug("camera", 77, mac=STRANGER)
    ran = walk(scene)
    assert ill_manners(ran) == []
    assert {frame[6:12] for _, _, frame in ran.rig.sent} == {STATION_MAC.to_bytes(6, "big")}
    assert STRANGER.to_bytes(6, "big") not in {frame[:6] for _, _, frame in ran.rig.sent}


def test_same_seed_same_walk() -> None:
    """Frames, times, events and proofs are the same when a walk is repeated."""

    def once() -> Ran:
        scene = row_of(4, lasts=120, seed=7)
        scene.jacks["d21/lan"].loss = 0.2
        twice(scene, "d20/lan", SETTLED)
        pull(scene, "d22/lan", SETTLED + 10)
        return walk(scene, seed=7)

    one, other = once(), once()
    assert one.rig.sent
    assert (one.rig.sent, one.log, one.prober.proofs) == (other.rig.sent, other.log, other.prober.proofs)


# What is said of the time left


def test_the_time_left_is_about_right() -> None:
    """With the cable out, the seconds that the screen names come true within three, at either pull."""
    scene = row_of(2)
    twice(scene, "d20/lan", SETTLED)
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
