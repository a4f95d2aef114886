"""Tests of the sounds and spoken words of a change of the screen."""

from __future__ import annotations

import string
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.cli.prove import command as prove
from netcheck.cli.walk import command as walk
from netcheck.proof.events import Event, What
from netcheck.proof.result import Verdict
from netcheck.proof.view import RunView, Step
from netcheck.report.live.screen import Board, Screen, screen_of
from netcheck.report.live.signals import LONGEST_SPEECH, OF_STEP, PATTERNS, Sound, signals_of, spoken
from tests.report.test_report_screen import board_of, port_of, proof, target

QUIET = RunView(ports=(port_of(Step.ANSWERS),))


def screen(view: RunView, board: Board | None = None) -> Screen:
    """Return the screen of a view."""
    return screen_of(board or board_of(), view, 5.0)


def sounds(before: Screen | None, after: Screen) -> list[Sound]:
    """Return the sounds of a change."""
    return [heard.sound for heard in signals_of(before, after)]


@pytest.mark.parametrize("step", [step for step in OF_STEP if step is not Step.ANSWERS], ids=str)
def test_each_step_has_one_sound_when_it_begins(step: Step) -> None:
    """Each new step of a port has its sound. While the step lasts there is no sound, and its seconds are not spoken."""
    before = screen(QUIET)
    view = RunView(ports=(port_of(step, text="Do it", silent=3.0, needed=9.0),))
    after = screen(view)
    assert sounds(before, after) == [OF_STEP[step]]
    later = screen(replace(view, ports=(port_of(step, text="Do it", silent=4.0, needed=8.0),)))
    assert sounds(after, later) == []


def test_the_same_step_of_the_next_port_is_heard() -> None:
    """A request for another port is a new request."""
    first, second = (screen(RunView(ports=(port_of(Step.PULL, row, text="Pull it"),))) for row in (3, 4))
    assert sounds(first, second) == [Sound.PULL]
    assert [heard.words for heard in signals_of(first, second)] == ["Pull. vat panel 4 lan port 1. panel 2, sw 1 4"]


@pytest.mark.parametrize("verdict", Verdict, ids=str)
def test_every_verdict_is_heard_with_its_name(verdict: Verdict) -> None:
    """Each verdict has its sound before the next request: one for `proven`, one for all others. The words name it."""
    before = screen(RunView(ports=(port_of(Step.BACK),)))
    board = board_of()
    made = proof(target(3), verdict)
    board.keep_proof(Event(at=2.0, what=What.VERDICT, port=made.subject, text="", proof=made))
    after = screen(RunView(ports=(port_of(Step.PULL, 4, text="Pull it"),)), board)
    heard = signals_of(before, after)
    first = Sound.PROVEN if verdict is Verdict.PROVEN else Sound.NOT_PROVEN
    assert [one.sound for one in heard] == [first, Sound.PULL]
    assert heard[0].words == spoken(f"{made.subject}: {verdict}")


def test_a_new_warning_is_heard_once() -> None:
    """A new warning and a further cable that is out have a sound; the end of a warning has none."""
    warned = replace(QUIET, warning="the wrong cable", holds=True)
    assert sounds(screen(QUIET), screen(warned)) == [Sound.LOOK]
    assert sounds(screen(warned), screen(warned)) == []
    assert sounds(screen(warned), screen(replace(warned, warning="too soon"))) == [Sound.LOOK]
    assert Sound.LOOK not in sounds(screen(warned), screen(QUIET))
    out = replace(QUIET, out=("dosing-io/net",))
    assert [heard.words for heard in signals_of(screen(QUIET), screen(out))] == ["Still out: dosing io net"]
    assert sounds(screen(out), screen(out)) == sounds(screen(out), screen(QUIET)) == []
    assert sounds(screen(QUIET), screen(replace(QUIET, station_out=True))) == [Sound.LOOK]


def test_on_a_walk_the_request_for_any_cable_does_not_follow_a_verdict() -> None:
    """The request to pull any cable has a sound after an instruction, but not right after a verdict."""
    idle = RunView(ports=(port_of(Step.ANSWERS, 5),), general="Pull any cable")
    back = RunView(ports=(port_of(Step.BACK, 3),))
    board = board_of(walks=True)
    assert sounds(screen(back, board), screen(idle, board)) == [Sound.PULL]
    settled = board_of(walks=True)
    made = proof(target(3), Verdict.PROVEN)
    settled.keep_proof(Event(at=2.0, what=What.VERDICT, port=made.subject, text="", proof=made))
    assert sounds(screen(back, board), screen(idle, settled)) == [Sound.PROVEN]


@given(text=st.text(max_size=400))
def test_spoken_text_is_letters_only(text: str) -> None:
    """Spoken text never has a character that a program could take for an option or a command."""
    words = spoken(text)
    assert len(words) <= LONGEST_SPEECH
    assert not set(words) & (set(string.punctuation) - set(".,:?"))
    assert all(letter.isalnum() or letter in ".,:? " for letter in words)


def test_help_and_readme_list_every_sound() -> None:
    """The help texts of `prove` and `walk`, and the README, name every sound that the command can make."""
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    for sound, pattern in PATTERNS.items():
        assert f"| `{pattern}` | {sound} |" in readme
        assert f"  {pattern:7}  {sound}\n" in str(walk.__doc__)
        assert sound is Sound.SEEN or f"  {pattern:7}  {sound}\n" in str(prove.__doc__)
