"""Tests of the head start of the next port: requests to it begin while the port under test comes back; its cable is
asked for later.
"""

from __future__ import annotations

from bisect import bisect_left
from functools import partial
from itertools import pairwise

import pytest

from netcheck.proof.events import Action, Chosen, Event, Key, RunOptions, What
from netcheck.proof.result import Phase
from netcheck.rig.technicians import Technician
from netcheck.wire.frames import arp_from_wire, echo_from_wire
from tests.rig.scenes import HANDS_FREE, MACS, Ran, Scene, forbidden_frames, ip
from tests.rig.test_rig_screen import watched

NAMES = ("alpha", "beta", "gamma", "delta")
A, B, C, D = (f"{name}/cpu:1" for name in NAMES)
FIRST = 20  # the last octet of alpha's address; the others follow
SPANNING_TREE = 30.0  # seconds that a port blocks: twice the forward delay of 15 s (IEEE 802.1D-2004 table 17-1)


KEYED = RunOptions()


def plant(options: RunOptions = KEYED, blocks: float = 0.0) -> Scene:
    """Return four devices whose switch ports block for some seconds after link up; all four are to be proven."""
    scene = Scene(options=options, only=(A, B, C, D))
    for last, name in enumerate(NAMES, FIRST):
        scene.add(f"{name}/cpu", last).forwards_after = blocks
    scene.hand.confirms = not options.hands_free
    return scene


def when(ran: Ran, what: What | Action, port: str) -> float:
    """Return when an event of a kind, or an instruction, first named a port."""
    return next(event.at for event in ran.log if event.port == port and what in (event.what, event.action))


def asked(ran: Ran, last: int, since: float, until: float) -> int:
    """Return how many requests an address had in a time."""
    return sum(since <= at < until and _target(frame) == ip(last) for at, _, frame in ran.rig.sent)


def _target(frame: bytes) -> int | None:
    arp, echo = arp_from_wire(frame), echo_from_wire(frame)
    return arp.target_ip if arp is not None else None if echo is None else echo.target_ip


def verdicts(ran: Ran) -> list[str]:
    """Return the verdict of each port, in order."""
    return [str(proof.verdict) for proof in ran.prober.proofs]


@pytest.mark.parametrize("blocks", [0.0, SPANNING_TREE], ids=["fast switch", "spanning tree"])
def test_phase_in_of_the_next_port_is_over_when_its_turn_comes(blocks: float) -> None:
    """Once a cable is asked back, the next port gets at least four requests a second.

    Its own cable is asked for within a second of the verdict, and not before. All stamps and limits hold.
    """
    ran = plant(blocks=blocks).prove()
    assert verdicts(ran) == ["proven"] * 4
    assert forbidden_frames(ran) == []
    for number, (port, following) in enumerate([(A, B), (B, C), (C, D)], FIRST + 1):
        back, verdict = when(ran, Action.PLUG, port), when(ran, What.VERDICT, port)
        assert when(ran, What.NEXT, following) == pytest.approx(back, abs=0.3)
        assert asked(ran, number, back, verdict) >= 4 * (verdict - back - 1)
        assert verdict <= when(ran, Action.PULL, following) <= verdict + 1.0
        proof = ran.prober.proofs[number - FIRST]
        phase = dict(proof.phases)[Phase.IN]
        assert phase.seconds >= verdict - back
        assert min(phase.arp.sent, phase.echo.sent) >= 5
        assert any(note.startswith("phase in: counted from") for note in proof.notes)
    assert not any(note.startswith("phase in:") for note in ran.prober.proofs[0].notes)


def test_two_cables_are_never_asked_out_at_once() -> None:
    """Between the request to pull a cable and the verdict of its port no other cable is asked for: if two ports fall
    silent at once, neither silence tells which connector was pulled.
    """
    ran = plant(blocks=SPANNING_TREE).prove()
    open_port = ""
    for event in ran.log:
        if event.action is Action.PULL:
            assert open_port in ("", event.port)
            open_port = event.port
        elif event.what is What.VERDICT:
            open_port = ""
    assert [event.port for event in ran.log if event.action is Action.PULL] == [A, B, C, D]


def test_hands_free_the_next_port_is_not_asked_early() -> None:
    """Hands-free, nobody confirms that the technician stands at the next port, and a silence must begin within eight
    seconds of its request. Phase `in` is the time to walk there.
    """
    ran = plant(HANDS_FREE).prove()
    assert verdicts(ran) == ["proven"] * 4
    assert not [event for event in ran.log if event.what is What.NEXT]
    assert when(ran, Action.PULL, B) > when(ran, What.VERDICT, A) + 3.0


def test_a_slow_pace_leaves_no_room_for_two_ports() -> None:
    """With 20 frames a second a fifth is for the port under test, so that the watch still reaches the controls."""
    ran = plant(RunOptions(pace=20.0)).prove()
    assert verdicts(ran) == ["proven"] * 4
    assert not [event for event in ran.log if event.what is What.NEXT]


@pytest.mark.parametrize("only", [(A, B), (A, "alpha/cpu:2", B)], ids=["behind", "second connector"])
def test_a_device_behind_the_port_is_not_asked_early(only: tuple[str, ...]) -> None:
    """A device behind the port falls silent together with it, so its first answer says nothing yet.

    A second connector is not asked early either, because its cable must be moved first.
    """
    scene = Scene(options=KEYED, only=only)
    jack = scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21, behind=A).behind = jack
    scene.add("gamma/cpu", 22)
    scene.hand.confirms = True
    ran = scene.prove()
    assert not [event for event in ran.log if event.what is What.NEXT]


def at_once(scene: Scene, port: str, do: partial[None], *, what: What | Action, after: float = 0.0) -> None:
    """Call a function once, as soon as an event of a kind names a port."""
    told, left = scene.hand.told, [do]

    def tell(event: Event) -> None:
        if event.port == port and what in (event.what, event.action) and left:
            scene.rig.after(after, left.pop())
        told(event)

    scene.hand.told = tell  # type: ignore[method-assign]


def test_a_cable_that_is_pulled_before_it_is_asked_for_proves_nothing() -> None:
    """A technician reads which port is next and pulls its cable at once.

    The run asks for the cable back, and this silence is no part of its proof.
    """
    scene = plant(blocks=5.0)
    at_once(scene, A, partial(scene.rig.plug, scene.jacks["beta/cpu"], False), what=What.RETURNED)
    ran = scene.prove()
    assert verdicts(ran) == ["proven"] * 4
    restored = [event for event in ran.log if event.action is Action.RESTORE and event.port == B]
    assert restored
    assert when(ran, Action.PULL, B) > restored[0].at
    assert not any(note.startswith("phase in:") for note in ran.prober.proofs[1].notes)


@pytest.mark.parametrize("trouble", ["restarts", "suspended"])
def test_an_interrupted_head_start_counts_for_nothing(trouble: str) -> None:
    """If the next port falls silent for some seconds during its head start, or this computer is suspended, only later
    answers count.
    """
    scene = plant(blocks=SPANNING_TREE)
    act = {
        "restarts": partial(scene.devices["beta/cpu"].restart, 6.0),
        "suspended": partial(scene.rig.suspend, 20.0),
    }[trouble]
    began: list[float] = []

    def do() -> None:
        began.append(scene.rig.now())
        act()

    at_once(scene, A, partial(do), what=Action.PLUG, after=10.0)
    ran = scene.prove()
    assert verdicts(ran)[1:] == ["proven"] * 3
    beta = dict(ran.prober.proofs[1].phases)[Phase.IN]
    assert when(ran, Action.PULL, B) - beta.seconds > began[0]


def test_a_second_owner_during_the_head_start_counts() -> None:
    """A second owner that answers during the head start counts as heard with the cable in, as in phase `in`."""
    scene = plant(blocks=SPANNING_TREE)
    scene.plug("stranger", FIRST + 1, mac=MACS + 0x99)
    stranger = scene.devices["stranger"]
    stranger.dead = True
    at_once(scene, A, partial(setattr, stranger, "dead", False), what=Action.PLUG, after=10.0)
    at_once(scene, A, partial(setattr, stranger, "dead", True), what=Action.PLUG, after=20.0)
    assert verdicts(scene.prove()) == ["proven", "contested", "proven", "proven"]


class Chooser(Technician):
    """A technician who chooses another port while one comes back."""

    def told(self, event: Event) -> None:
        """Obey, and press the key once."""
        super().told(event)
        if event.what is What.NEXT and event.port == B:
            self.rig.after(8.0, partial(self.press, Chosen((C,))))


def test_another_port_that_is_chosen_gets_the_head_start() -> None:
    """The port that was next gets one request a second again.

    The chosen port gets the head start and is proven instead.
    """
    scene = plant(blocks=SPANNING_TREE)
    scene.hand = Chooser(scene.rig, scene.hand.jacks, confirms=True)
    ran = scene.prove()
    assert [proof.subject for proof in ran.prober.proofs] == [A, C, B, D]
    assert verdicts(ran) == ["proven"] * 4
    begins, verdict = when(ran, What.NEXT, C), when(ran, What.VERDICT, A)
    assert verdict - begins > 10
    assert asked(ran, FIRST + 1, begins, verdict) <= 1.2 * (verdict - begins) + 2
    assert when(ran, Action.PULL, C) <= verdict + 1.0
    assert forbidden_frames(ran) == []


def test_no_window_of_a_second_has_more_than_ten_broadcasts() -> None:
    """The port that comes back, the next port, the address that nobody owns and a watch by ARP share ten broadcasts a
    second. The requests of the port that comes back are not delayed.
    """
    scene = plant(blocks=SPANNING_TREE)
    for number in range(12):
        scene.add(f"silent-{number}/cpu", 60 + number)
        scene.jacks[f"silent-{number}/cpu"].plugged = False  # the watch asks them by broadcast ARP all the time
    ran = scene.prove()
    assert verdicts(ran) == ["proven"] * 4
    assert forbidden_frames(ran) == []
    back, verdict = when(ran, Action.PLUG, A), when(ran, What.VERDICT, A)
    own = [at for at, _, frame in ran.rig.sent if (arp := arp_from_wire(frame)) and arp.target_ip == ip(FIRST)]
    inside = own[bisect_left(own, back) : bisect_left(own, verdict)]
    assert max(later - earlier for earlier, later in pairwise(inside)) < 1.5


def test_the_screen_names_the_next_port_while_there_is_nothing_to_do() -> None:
    """The screen names the next port from the Enter that confirms the return until the verdict, at no other time."""
    scene = plant(blocks=5.0)
    run = watched(scene)
    named = [(screen.step, screen.following.split()[0]) for _, screen in run.screens if screen.following]
    assert list(dict.fromkeys(named)) == [(step, port) for port in (B, C, D) for step in ("returning", "back")]
    assert not any(screen.following for _, screen in run.screens if screen.step not in ("returning", "back"))


def test_a_second_pull_is_not_announced_as_the_next_port() -> None:
    """Hands-free a cable is pulled twice: after the first return the next instruction is for the same port."""
    scene = plant(HANDS_FREE)
    run = watched(scene)
    first = next(at for at, screen in run.screens if screen.following)
    pulls = [at for at, screen in run.screens if screen.step == "pull" and screen.port == A]
    assert first > max(pulls)


def test_a_stop_while_the_next_port_is_asked_ends_the_requests() -> None:
    """With `q` during the head start the next port is `not-tested`, and no frame is sent after the end."""
    scene = plant(blocks=SPANNING_TREE)
    at_once(scene, B, partial(scene.hand.press, Key.QUIT), what=What.NEXT, after=10.0)
    ran = scene.prove()
    assert verdicts(ran)[1:] == ["not-tested"] * 3
    assert forbidden_frames(ran) == []


def test_a_port_that_fails_at_its_turn_is_asked_for() -> None:
    """Answers of the head start do not replace the cable: if the port is silent in its own turn, its cable is asked
    for, and after the patience it is `silent`.
    """
    scene = plant(blocks=5.0)
    at_once(scene, A, partial(setattr, scene.devices["beta/cpu"], "dead", True), what=What.VERDICT)
    ran = scene.prove()
    assert verdicts(ran) == ["proven", "silent", "proven", "proven"]
    assert when(ran, Action.CONNECT, B) < when(ran, What.VERDICT, A) + 5.0
    assert not any(note.startswith("phase in:") for note in ran.prober.proofs[1].notes)
