"""Tests of the cables between two ports: the instructions for a move, and that no cable is left out before the next
port.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pytest

from netcheck.proof.events import Action, Event, Key, RunOptions, What
from netcheck.report.live.screen import Word
from tests.rig.scenes import Ran, Scene
from tests.rig.test_rig_screen import Watcher, watched

PATIENCE = 20.0


def chain(*only: str, puts_back: bool = True) -> Scene:
    """Return a plant with gamma behind the second port of alpha, and beta on the switch.

    For the second port the technician unplugs gamma. When the cabling must be put back, the technician connects gamma,
    or only presses Enter. The technician stops the run if it lasts too long.
    """
    scene = Scene(options=RunOptions(patience=PATIENCE), only=only or ("alpha/cpu:1", "alpha/cpu:2", "beta/cpu:1"))
    alpha = scene.add("alpha/cpu", 20, ports=2)
    gamma = scene.add("gamma/cpu", 22, behind="alpha/cpu:2")
    gamma.behind = alpha
    scene.add("beta/cpu", 21)
    del scene.hand.jacks["gamma/cpu:1"]
    scene.hand.confirms = True
    scene.rig.after(600.0, partial(scene.hand.press, Key.QUIT))
    tell = scene.hand.told

    def told(event: Event) -> None:
        tell(event)
        if event.action is Action.MOVE:
            scene.rig.plug(gamma, False)
        elif event.action is Action.RESTORE:
            scene.rig.after(4.0, partial(scene.rig.plug, gamma, puts_back))
            scene.rig.after(5.0, partial(scene.hand.press, Key.ENTER))

    scene.hand.told = told  # type: ignore[method-assign]
    return scene


def said(ran: Ran, *actions: Action) -> list[str]:
    """Return the requests of some kinds, in order."""
    return [event.text for event in ran.log if event.action in actions]


def test_the_second_port_and_the_way_back_say_what_goes_where() -> None:
    """Before the second port the screen says what to unplug and which cable to move.

    After it, before the next device, the screen says how to put the cabling back.
    """
    ran = chain().prove()
    assert said(ran, Action.MOVE) == [
        "Unplug gamma/cpu from port 2. Move the cable from port 1 to alpha/cpu:2 and plug it in, then press Enter"
    ]
    assert said(ran, Action.RESTORE) == [
        "Put the cabling of alpha/cpu back as drawn: move the cable from port 2 to port 1, then connect gamma/cpu to "
        "port 2. Then press Enter"
    ]
    order = [event.what for event in ran.log if event.action is Action.RESTORE or event.what is What.BEGIN]
    assert order == [What.BEGIN, What.BEGIN, What.DO, What.BEGIN]


def test_the_run_ends_with_a_note_about_the_cabling() -> None:
    """After the last port the run ends at once, and a note says how to put the cabling back."""
    ran = chain("alpha/cpu:1", "alpha/cpu:2").prove()
    notes = [event.text for event in ran.log if event.what is What.NOTE]
    assert notes == [
        "Put the cabling of alpha/cpu back as drawn: move the cable from port 2 to port 1, then connect gamma/cpu to "
        "port 2"
    ]
    assert said(ran, Action.RESTORE) == []


def left_out(scene: Scene, back_after: float) -> Watcher:
    """Prove alpha and then beta. Gamma's cable is pulled meanwhile and put back after some seconds; 0 means never."""
    scene.options = RunOptions(patience=PATIENCE)
    scene.add("alpha/cpu", 20)
    scene.add("gamma/cpu", 22)
    scene.add("beta/cpu", 21)
    scene.only, scene.hand.confirms = ("alpha/cpu:1", "beta/cpu:1"), True
    del scene.hand.jacks["gamma/cpu:1"]  # this technician does not put it back on request
    tell = scene.hand.told

    def told(event: Event) -> None:
        tell(event)
        if event.action is Action.PLUG and event.port == "alpha/cpu:1":
            scene.rig.plug(scene.jacks["gamma/cpu"], False)
        if event.action is Action.RESTORE and back_after:
            scene.rig.after(back_after, partial(scene.rig.plug, scene.jacks["gamma/cpu"], True))

    scene.hand.told = told  # type: ignore[method-assign]
    return watched(scene)


def begins(run: Watcher) -> float:
    """Return when the second port had its turn."""
    return run.first(lambda screen: screen.port == "beta/cpu:1")


def asks(run: Watcher) -> float:
    """Return when the cable of gamma was first asked for."""
    return run.first(lambda screen: screen.word is Word.PUT_BACK)


def test_no_next_port_until_cables_are_back() -> None:
    """A device that fell silent is asked back by name and port. The next port begins once it answers."""
    run = left_out(Scene(), 8.0)
    screen = next(screen for _, screen in run.screens if screen.word is Word.PUT_BACK)
    assert (screen.port, screen.address) == ("gamma/cpu:1", "192.0.2.22")
    assert screen.instruction.startswith("Plug the cable of gamma/cpu:1 in again: 192.0.2.22 is still out")
    assert 8.0 < begins(run) - asks(run) < 8.0 + 5.0
    assert {proof.verdict for proof in run.board.proofs.values()} == {"proven"}


@pytest.mark.parametrize("key", [Key.ENTER, Key.SKIP])
def test_a_key_goes_on_without_a_cable(key: Key) -> None:
    """Enter or `s` goes on without the device. The screen still names it as out, and does not ask for it again."""
    scene = Scene()
    tell = scene.hand.told

    def told(event: Event) -> None:
        tell(event)
        if event.action is Action.RESTORE:
            scene.rig.after(6.0, partial(scene.hand.press, key))

    scene.hand.told = told  # type: ignore[method-assign]
    run = left_out(scene, 0.0)
    assert 5.5 <= begins(run) - asks(run) < 8.0
    assert any(screen.out == ("gamma/cpu",) for _, screen in run.screens if screen.port == "beta/cpu:1")
    assert run.words().count("PUT BACK restore") == 1


def test_the_run_waits_three_times_the_patience_for_a_cable() -> None:
    """If the cable is not put back and no key is pressed, the run goes on after three times the patience."""
    run = left_out(Scene(), 0.0)
    assert 3 * PATIENCE - 0.5 <= begins(run) - asks(run) < 3 * PATIENCE + 2.0
    assert run.board.proofs["beta/cpu:1"].verdict == "proven"


def test_an_earlier_outage_does_not_hide_that_a_device_is_out() -> None:
    """A device that was out during the last port is still asked back if its cable is out again."""
    asked = said(chain(puts_back=False).prove(), Action.RESTORE)
    assert len(asked) == 2
    assert asked[1].startswith("Plug the cable of gamma/cpu:1 in again: 192.0.2.22 is still out")


def test_a_device_behind_the_port_under_test_is_not_asked_back() -> None:
    """A device that the plan attaches behind the port falls silent together with it.

    It is not asked back, neither while the cable is out nor while it is unplugged for the second connector.
    """
    scene = chain()
    run = watched(scene)
    missed = [at for at, screen in run.screens if screen.out and screen.word is not Word.PUT_BACK]
    assert not missed or missed[-1] - missed[0] < 1.0  # the two do not answer at the same moment
    assert {str(run.board.proofs[port].verdict) for port in ("alpha/cpu:1", "beta/cpu:1")} == {"proven"}


def test_after_a_swap_the_cable_that_was_pulled_is_asked_back() -> None:
    """Two devices have each other's addresses.

    The cable of the requested port is out, although the other address is silent. The run asks for this cable by the
    name of the requested port.
    """
    scene = Scene(options=RunOptions(patience=PATIENCE), only=("alpha/cpu:1", "gamma/cpu:1"))
    scene.add("alpha/cpu", 20)
    scene.add("gamma/cpu", 22)
    scene.targets = [replace(target, mac=None) for target in scene.targets]
    jacks = scene.hand.jacks
    jacks["alpha/cpu:1"], jacks["gamma/cpu:1"] = jacks["gamma/cpu:1"], jacks["alpha/cpu:1"]
    scene.add("beta/cpu", 21)
    scene.hand.confirms = True
    tell = scene.hand.told

    def told(event: Event) -> None:
        if event.action is not Action.PLUG:  # only when the cable is asked back before the next port
            tell(event)

    scene.hand.told = told  # type: ignore[method-assign]
    scene.rig.after(120.0, partial(scene.hand.press, Key.QUIT))
    ran = scene.prove()
    assert ran.prober.proofs[0].verdict == "swapped"
    asked = [event for event in ran.log if event.action is Action.RESTORE]
    assert asked[0].port == "alpha/cpu:1"
    assert "gamma/cpu" in asked[0].text
