"""Tests of how a run is displayed: one line an event without a terminal, a screen and bells on a terminal."""

from __future__ import annotations

import io
import time
from functools import partial

import pytest

from netcheck.app.operator import BELLS, Show
from netcheck.proof.events import Event, What
from netcheck.proof.result import Phase, PhaseResult, Proof, Verdict
from netcheck.report.live.run_state import Board

PORT = "plc-1/cpu:1"
PROVEN = Proof(
    interface="plc-1/cpu", port="1", address="192.0.2.1", verdict=Verdict.PROVEN, why="so it is",
    mac=0x00005E005301, phases=((Phase.IN, PhaseResult()),)
)  # fmt: skip


class Terminal(io.StringIO):
    """A stream that reports itself as a terminal."""

    def isatty(self) -> bool:
        return True


def shown(stream: io.StringIO, *events: Event, quiet: bool = False, terse: bool = False, rings: float = 0.0) -> str:
    """Return what a stream receives for these events, with *rings* seconds for the bells."""
    board = Board.of([(PORT, "192.0.2.1")], [], "q stops")
    with Show(board, stream, quiet=quiet, terse=terse) as show:
        for event in events:
            show.take(event)
        until = time.monotonic() + rings
        while True:
            show.refresh(5.0, lambda: "figures")
            if time.monotonic() >= until:
                break
            time.sleep(0.01)
    return stream.getvalue()


def test_without_a_terminal_one_plain_line_an_event() -> None:
    """Without a terminal, each event is one line with kind, port and words, without control codes."""
    events = (
        Event(at=0.0, what=What.DO, port=PORT, text="Pull the cable of plc-1/cpu:1"),
        Event(at=1.0, what=What.SILENT, port=PORT, text="The cable is out: leave it out"),
        Event(at=2.0, what=What.NOTE, port="", text="something for all"),
        Event(at=3.0, what=What.VERDICT, port=PORT, text="proven: so it is", proof=PROVEN),
    )
    assert shown(io.StringIO(), *events).splitlines() == [
        "do       plc-1/cpu:1: Pull the cable of plc-1/cpu:1",
        "silent   plc-1/cpu:1: The cable is out: leave it out",
        "note     something for all",
        "verdict  plc-1/cpu:1: proven: so it is",
    ]


def test_each_event_is_one_line() -> None:
    """A name with a line end or a control code gives one line, with escapes."""
    text = shown(io.StringIO(), Event(at=0.0, what=What.WARN, port="x\n\x1b[2J/cpu:1", text="two\nlines\x07"))
    assert text == "warn     x\\x0a\\x1b[2J/cpu:1: two\\x0alines\\x07\n"


def test_terse_prints_only_verdicts(capsys: pytest.CaptureFixture[str]) -> None:
    """In terse mode, only verdicts are printed, one line a port."""
    shown(
        io.StringIO(),
        Event(at=0.0, what=What.DO, port=PORT, text="Pull it"),
        Event(at=3.0, what=What.VERDICT, port=PORT, text="proven: so it is", proof=PROVEN),
        terse=True,
    )
    line = "proven           plc-1/cpu:1                  192.0.2.1       00-00-5E-00-53-01"
    assert capsys.readouterr().out.splitlines() == [line]


def test_the_alternate_screen_is_entered_and_left() -> None:
    """The alternate screen is entered and left, and the cursor is hidden and shown (xterm's private modes 1049 and
    25, from memory)."""
    text = shown(Terminal(), Event(at=0.0, what=What.DO, port=PORT, text="Pull the cable of plc-1/cpu:1"))
    assert "Pull the cable of plc-1/cpu:1" in text
    for on, off in (("\x1b[?1049h", "\x1b[?1049l"), ("\x1b[?25l", "\x1b[?25h")):
        assert on in text
        assert text.rindex(on) < text.rindex(off)


@pytest.mark.parametrize("what", [*BELLS, What.DO, What.HEARD, What.VERDICT, What.NOTE], ids=str)
def test_each_event_has_its_number_of_bells(what: What) -> None:
    """Each change of state that must be audible has its own number of bells, and the other events have none."""
    expected = BELLS.get(what, 0)
    text = shown(Terminal(), Event(at=0.0, what=what, port=PORT, text="words"), rings=0.2 * expected + 0.1)
    assert text.count("\x07") == expected


def test_numbers_of_bells_differ() -> None:
    """Silence, sufficient evidence, return and warning have different numbers of bells."""
    assert {What.SILENT, What.ENOUGH, What.RETURNED, What.WARN} <= set(BELLS)
    assert len(set(BELLS.values())) == len(BELLS)


def test_quiet_rings_no_bell() -> None:
    """With `--quiet`, the screen is drawn and no bell rings."""
    text = shown(Terminal(), Event(at=0.0, what=What.WARN, port=PORT, text="words"), quiet=True, rings=0.5)
    assert "\x07" not in text
    assert "LOOK HERE: words" in text


def test_the_screen_is_drawn_with_the_current_figures() -> None:
    """The screen is drawn at intervals with the current figures, and at once after an event."""
    stream = Terminal()
    board = Board.of([(PORT, "192.0.2.1")], [], "q stops")
    asked: list[float] = []

    def figures(turn: float) -> str:
        asked.append(turn)
        return f"figures {turn}"

    with Show(board, stream, quiet=True, terse=False) as show:
        for turn in range(50):
            show.refresh(float(turn), partial(figures, turn))
        assert asked == [0]
        show.take(Event(at=0.0, what=What.HEARD, port=PORT, text="192.0.2.1 answers"))
        show.refresh(99.0, lambda: "figures of now")
    assert "figures of now" in stream.getvalue()
