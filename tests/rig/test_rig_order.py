"""Tests of the order of the ports on the bench: chosen, put off, proven again, skipped, and announced on a walk."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from netcheck.proof.events import Action, Chosen, Event, Key, Press, RunOptions, What
from netcheck.rig.technicians import Technician
from tests.rig.scenes import Ran, Scene, forbidden_frames
from tests.rig.walks import row_of, walk
from tests.rig.walks import verdicts as walked

NAMES = ("alpha", "beta", "gamma")
A, B, C = (f"{name}/cpu:1" for name in NAMES)
When = Callable[[Event], bool]


class Chooser(Technician):
    """A technician who also presses keys: each once, as soon as an event fits."""

    def __init__(self, scene: Scene, *script: tuple[When, Press], confirms: bool = True) -> None:
        super().__init__(scene.rig, scene.hand.jacks, confirms=confirms)
        self.script = list(script)

    def told(self, event: Event) -> None:
        """Obey, unless a key is pressed instead."""
        due = [one for one in self.script if one[0](event)]
        for one in due[:1]:
            self.script.remove(one)
            self.log.append(event)
            return self.press(one[1])
        return super().told(event)


def begins(port: str) -> When:
    """Return whether the turn of a port begins."""
    return lambda event: event.what is What.BEGIN and event.port == port


def asks(action: Action, port: str) -> When:
    """Return whether the cable of a port is asked for."""
    return lambda event: event.action is action and event.port == port


def ends(port: str) -> When:
    """Return whether a port has its verdict."""
    return lambda event: event.what is What.VERDICT and event.port == port


def ran(*script: tuple[When, Press], revisits: bool = True) -> Ran:
    """Prove three healthy ports with keys, and these presses."""
    scene = Scene(options=RunOptions(revisits=revisits), only=(A, B, C))
    for last, name in enumerate(NAMES, 20):
        scene.add(f"{name}/cpu", last)
    hand = Chooser(scene, *script)
    scene.hand = hand
    found = scene.prove()
    assert hand.script == [], "not every key was pressed"
    assert forbidden_frames(found) == []
    return found


def verdicts(found: Ran) -> list[tuple[str, str]]:
    """Return port and verdict of every proof, in order."""
    return [(proof.subject, str(proof.verdict)) for proof in found.prober.proofs]


@pytest.mark.parametrize("press", [Chosen((C,)), Chosen(("nobody", C)), 3], ids=["name", "one of several", "row"])
def test_the_operator_chooses_the_next_port(press: Press) -> None:
    """While the first port's cable is in, another one is chosen: it begins at once, and the first comes after it."""
    found = ran((asks(Action.PULL, A), press))
    assert verdicts(found) == [(C, "proven"), (A, "proven"), (B, "proven")]


def test_a_port_whose_cable_is_out_ends_before_the_chosen_one() -> None:
    """A port whose cable is out ends first; then the chosen port has its turn."""
    found = ran((lambda event: event.what is What.SILENT and event.port == A, Chosen((C,))))
    assert verdicts(found) == [(A, "proven"), (C, "proven"), (B, "proven")]
    said = [event.text for event in found.log if event.what is What.NOTE]
    assert f"{C} is next after {A}, whose cable is out" in said


def test_a_proven_port_is_proven_again() -> None:
    """`r` chooses the port that ended last. Both attempts are in the result, and the port under test comes after it."""
    found = ran((begins(B), Key.AGAIN))
    assert verdicts(found) == [(A, "proven"), (A, "proven"), (B, "proven"), (C, "proven")]


def test_a_port_that_is_proven_again_may_be_put_off_too() -> None:
    """A port that is put off keeps its second turn, although it has a proof already."""
    turns: list[Event] = []

    def begins_again(event: Event) -> bool:
        turns.extend([event] if begins(A)(event) else [])
        return len(turns) == 2

    found = ran((begins(B), Key.AGAIN), (begins_again, Chosen((C,))))
    assert verdicts(found) == [(A, "proven"), (C, "proven"), (A, "proven"), (B, "proven")]


def test_a_port_that_is_not_proven_is_chosen_first() -> None:
    """If the typed text matches several ports, the first that is not proven is chosen."""
    found = ran((begins(B), Chosen((A, C))))
    assert verdicts(found) == [(A, "proven"), (C, "proven"), (B, "proven")]


def test_a_skipped_port_is_asked_for_once_more_at_the_end() -> None:
    """`s` skips the port. It has one more turn after all others, and the proof of that turn counts."""
    found = ran((asks(Action.PULL, A), Key.SKIP))
    assert verdicts(found) == [(A, "skipped"), (B, "proven"), (C, "proven"), (A, "proven")]


def test_a_port_that_is_skipped_twice_stays_skipped() -> None:
    """A port that is skipped twice has no third turn."""
    found = ran((asks(Action.PULL, A), Key.SKIP), (asks(Action.PULL, A), Key.SKIP))
    assert verdicts(found) == [(A, "skipped"), (B, "proven"), (C, "proven"), (A, "skipped")]


def test_without_revisits_a_skipped_port_has_no_second_turn() -> None:
    """Without `revisits`, as in a scripted run, a skipped port has no second turn."""
    assert verdicts(ran((asks(Action.PULL, A), Key.SKIP), revisits=False))[0] == (A, "skipped")


def test_a_stop_leaves_a_put_off_port_not_tested_and_a_skipped_one_skipped() -> None:
    """Every port is in the result once; a port that was put off was not tested."""
    found = ran((asks(Action.PULL, A), Key.SKIP), (asks(Action.PULL, B), Chosen((C,))), (ends(C), Key.QUIT))
    assert dict(verdicts(found)) == {A: "skipped", C: "proven", B: "not-tested"}
    assert len(found.prober.proofs) == 3


def test_keys_without_a_meaning_are_answered() -> None:
    """A row that does not exist, and `r` before any port has ended, cause a warning and change nothing."""
    found = ran((begins(A), 9), (asks(Action.CONNECT, A), Key.AGAIN))
    assert [port for port, _ in verdicts(found)] == [A, B, C]
    warned = [event.text for event in found.log if event.what is What.WARN]
    assert warned == ["There is no such port", "No port has a verdict yet, so none can be proven again"]


def test_choosing_the_port_under_test_begins_it_again() -> None:
    """The port under test begins again if it is chosen while its cable is in."""
    found = ran((asks(Action.PULL, A), Chosen((A,))))
    assert verdicts(found) == [(A, "proven"), (B, "proven"), (C, "proven")]
    assert sum(event.what is What.BEGIN and event.port == A for event in found.log) == 2


@pytest.mark.parametrize("chosen", [("d22/lan:1",), ("nobody", "d22/lan:1")], ids=["one", "the first that is there"])
def test_on_an_announced_walk_the_operator_chooses_the_next_port(chosen: tuple[str, ...]) -> None:
    """The request that nobody has followed yet is withdrawn, the chosen port is announced, and the others follow in
    their order.
    """
    scene = row_of(3, lasts=600)
    scene.options = RunOptions(in_order=True, lasts=600)
    scene.obeys = True
    scene.hand = Chooser(scene, (asks(Action.PULL, "d20/lan:1"), Chosen(chosen)), confirms=False)
    ran = walk(scene)
    assert list(walked(ran).items()) == [(f"d{n}/lan:1", "proven") for n in (22, 20, 21)]


def test_on_a_walk_in_any_order_nothing_is_announced() -> None:
    """On a walk in any order, `n` causes the warning that any cable may be pulled next. Other keys have no effect."""
    scene = row_of(2, lasts=20)
    scene.rig.after(5, lambda: scene.hand.press(Chosen(("d20/lan:1",))))
    scene.rig.after(6, lambda: scene.hand.press(Key.AGAIN))
    ran = walk(scene)
    assert [event.text for event in ran.log if event.what is What.WARN] == [
        "On a walk any cable may be pulled next; --in-order announces the ports"
    ]
