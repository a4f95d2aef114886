"""Tests of the screen of whole runs on the rig: its instructions, compared with where the cables really are."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby
from random import Random

import pytest

from netcheck.proof.driver import drive
from netcheck.proof.events import Action, Event, Key, Press, RunOptions
from netcheck.proof.prober import PortByPort, Prober, ProcedureOf
from netcheck.proof.verdict.names import Names
from netcheck.proof.view import Step
from netcheck.proof.walk.walk import Walk
from netcheck.report.live.screen import Board, Screen, Word, screen_of
from tests.rig.scenes import Scene
from tests.rig.walks import SETTLED, pull_first, row_of

LOOK_EVERY = 0.2  # seconds between two drawings, as on a terminal


@dataclass
class Watcher:
    """An operator that passes everything to the technician of a scene, and records every screen with its time."""

    scene: Scene
    prober: Prober
    board: Board
    screens: list[tuple[float, Screen]] = field(default_factory=list)
    drawn: Callable[[Screen], None] = lambda screen: None

    def pressed(self) -> Iterable[Press]:
        """Draw, and return the technician's keys."""
        now = self.scene.rig.now()
        screen = screen_of(self.board, self.prober.view(), now)
        self.screens.append((now - self.prober.run.started, screen))
        self.drawn(screen)
        return self.scene.hand.pressed()

    def told(self, event: Event) -> None:
        """Pass an event on."""
        self.board.keep_proof(event)
        self.scene.hand.told(event)

    def words(self) -> list[str]:
        """Return the words of the screens in order, each with its step."""
        named = [f"{screen.word} {screen.step or ''}".strip() for _, screen in self.screens]
        return [word for word, _ in groupby(named)]

    def first(self, true: Callable[[Screen], bool]) -> float:
        """Return when the first screen of a kind was drawn."""
        return next(at for at, screen in self.screens if true(screen))


def watched(
    scene: Scene, procedure: ProcedureOf = PortByPort, drawn: Callable[[Screen], None] | None = None
) -> Watcher:
    """Run a scene to its end, and return every screen."""
    if procedure is Walk:
        scene.only = tuple(target.subject for target in scene.targets)
        scene.hand.jacks = scene.hand.jacks if scene.obeys else {}
    prober = Prober(
        scene.scope(), scene.rig.adapters, Names(lambda mac: "", lambda mac: None), scene.options, Random(1),
        hears_all=scene.hears_all, poll=LOOK_EVERY, procedure=procedure,
    )  # fmt: skip
    watcher = Watcher(scene, prober, Board.of(scene.scope().asked, [], prober.keys, walks=prober.walks))
    watcher.drawn = drawn or watcher.drawn
    drive(prober, scene.rig, watcher)
    return watcher


def keyed() -> Scene:
    """Return two devices on a switch, of which the first is proven by a technician who confirms every movement."""
    scene = Scene(options=RunOptions())
    scene.add("alpha/cpu", 20)
    scene.add("beta/cpu", 21)
    scene.hand.confirms = True
    return scene


def test_a_guided_port_is_one_instruction_after_the_other() -> None:
    """The screen of a sound port shows: plug in, wait, pull, wait with a falling countdown, plug in, wait.

    It shows no other word.
    """
    run = watched(keyed())
    assert run.words() == [
        "WAIT", "PLUG IN plug in first", "WAIT answers", "PULL pull", "WAIT out", "PLUG IN plug in",
        "WAIT returning", "WAIT back",
    ]  # fmt: skip
    seconds = [screen.seconds for _, screen in run.screens if screen.step is Step.OUT and screen.seconds is not None]
    assert seconds == sorted(seconds, reverse=True)
    assert len(set(seconds)) >= 8
    assert not any(screen.warning or screen.out for _, screen in run.screens)
    assert run.board.proofs["alpha/cpu:1"].verdict == "proven"


def test_the_word_never_contradicts_the_cable() -> None:
    """While the screen says to leave the cable out, the cable is out; while it says to leave the cable in, the cable is
    in.
    """
    scene = keyed()

    def check(screen: Screen) -> None:
        if screen.step in (Step.OUT, Step.ANSWERS, Step.BACK):
            assert scene.jacks["alpha/cpu"].plugged is (screen.step is not Step.OUT)

    watched(scene, drawn=check)


def test_the_wrong_cable_calls_to_the_screen_until_it_is_back() -> None:
    """If another device falls silent instead, the word is LOOK and the device is named as out.

    Once its cable is back, the request is shown again without the warning.
    """
    scene = keyed()
    right = scene.hand.told

    def told(event: Event) -> None:
        if event.action is Action.PULL:
            scene.hand.told = right  # type: ignore[method-assign]
            scene.rig.after(2.0, partial(scene.rig.plug, scene.jacks["beta/cpu"], False))
            scene.rig.after(20.0, partial(scene.rig.plug, scene.jacks["beta/cpu"], True))
            scene.rig.after(30.0, partial(right, event))
        else:
            right(event)

    scene.hand.told = told  # type: ignore[method-assign]
    run = watched(scene)
    asked = run.first(lambda screen: screen.word is Word.PULL)
    looks = run.first(lambda screen: screen.word is Word.LOOK)
    assert looks - asked < 2.0 + 6.0
    assert run.first(lambda screen: screen.out == ("beta/cpu",)) - asked < 2.0 + 8.0
    again = next(screen for at, screen in run.screens if at > asked + 20.0 + 4.0)
    assert (again.word, again.warning, again.out) == (Word.PULL, "", ())


def test_the_wrong_cable_is_never_to_be_left_out() -> None:
    """Enter confirms the pull of a wrong cable.

    While the right device answers, the instruction is to pull the right cable, and the warning does not ask for an
    Enter that has already been pressed. Once the cable is asked back, this warning is gone.
    """
    scene = keyed()
    scene.hand.jacks["alpha/cpu:1"] = scene.jacks["beta/cpu"]
    run = watched(scene)
    assert run.board.proofs["alpha/cpu:1"].verdict == "swapped"
    wrong = [screen for _, screen in run.screens if "fell silent instead" in screen.warning]
    assert {screen.instruction for screen in wrong} == {"Pull the cable of alpha/cpu:1"}
    assert {screen.bar for screen in wrong} == {None}
    assert not any("press Enter" in screen.warning for screen in wrong)
    back = [screen for _, screen in run.screens if screen.step is Step.RESTORE]
    assert {screen.word for screen in back} == {Word.PUT_BACK}
    assert not any(screen.warning for screen in back)


def test_a_pull_that_was_too_short_gives_its_reason_below_the_request() -> None:
    """After a pull that was too short the word is PULL with the reason below; it is gone once the cable is out."""
    scene = Scene(options=RunOptions(hands_free=True))
    scene.add("alpha/cpu", 20)
    scene.add("beta/cpu", 21)
    right = scene.hand.told

    def told(event: Event) -> None:
        right(event)
        if event.action is Action.PULL:
            scene.hand.told = right  # type: ignore[method-assign]
            scene.rig.after(2.0 + 4.0, partial(scene.rig.plug, scene.jacks["alpha/cpu"], True))

    scene.hand.told = told  # type: ignore[method-assign]
    run = watched(scene)
    reasons = [screen for _, screen in run.screens if "too soon" in screen.warning]
    assert {screen.word for screen in reasons} == {Word.PULL}
    assert not any(screen.warning for _, screen in run.screens if screen.step is Step.OUT)


def test_the_own_cable_of_the_computer_is_the_only_instruction() -> None:
    """While the computer's own cable is out, the screen says only this; afterwards the port goes on."""
    scene = keyed()
    scene.rig.after(6.0, partial(scene.rig.plug, scene.rig.jacks[0], False))
    scene.rig.after(16.0, partial(scene.rig.plug, scene.rig.jacks[0], True))
    scene.rig.after(200.0, partial(scene.hand.press, Key.QUIT))
    run = watched(scene)
    while_out = [screen for at, screen in run.screens if 7.0 < at < 16.0]
    assert {screen.word for screen in while_out} == {Word.LOOK}
    assert not any("own cable has no link" in screen.instruction for at, screen in run.screens if at > 18.0)


@pytest.mark.parametrize("row", [20, 22])
def test_a_walk_shows_a_silence_within_three_seconds(row: int) -> None:
    """On a walk a pulled cable is shown as out within three seconds, with the seconds that it must stay out; then the
    second pull is asked for, and at the end any cable again.
    """
    scene = row_of(3, lasts=120.0)
    pull_first(scene, f"d{row}/lan", SETTLED)
    run = watched(scene, Walk)
    subject = f"d{row}/lan:1"
    out = run.first(lambda screen: any(r.subject == subject and r.state.startswith("out") for r in screen.rows))
    assert out - SETTLED < 3.0
    assert run.first(lambda screen: screen.step is Step.OUT and screen.seconds is not None) - SETTLED < 4.0
    words = run.words()
    assert words.index("PULL ANY") < words.index("WAIT out") < words.index("PLUG IN plug in") < words.index("PULL pull")
    assert words[-1] == "PULL ANY"
    assert run.board.proofs[subject].verdict == "proven"
