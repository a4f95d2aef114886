"""Tests of the display of a run: plain lines without a terminal, a screen and sounds on a terminal."""

from __future__ import annotations

import io
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from netcheck.app.operator import Show, is_ascii_only
from netcheck.app.sounds import Bells, NewestTexts, Speaker, speech_command
from netcheck.proof.events import Event, What
from netcheck.proof.result import Phase, PhaseResult, Proof, Verdict
from netcheck.proof.targets import Target
from netcheck.proof.view import PortView, RunView, Step
from netcheck.report.live.screen import Board
from netcheck.report.live.signals import PATTERNS, Sound

PORT = "plc-1/cpu:1"
TARGET = Target(
    interface="plc-1/cpu", port="1", device="plc-1", address=1, address_text="192.0.2.1", subnet="process", row=1,
    place="panel 2", switch_port="sw-2/54",
)  # fmt: skip
PROVEN = Proof(
    interface="plc-1/cpu", port="1", address="192.0.2.1", verdict=Verdict.PROVEN, why="so it is",
    mac=0x00005E005301, phases=((Phase.IN, PhaseResult()),)
)  # fmt: skip
PULL = RunView(ports=(PortView(subject=PORT, step=Step.PULL, text="Pull the cable of plc-1/cpu:1"),))
OUT = RunView(ports=(PortView(subject=PORT, step=Step.OUT, silent=3.0, needed=11.0),))


class Terminal(io.StringIO):
    """A stream that reports itself as a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Set the environment of a terminal that can place text, with a UTF-8 locale."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("LC_ALL", "C.UTF-8")


def shown(
    stream: io.StringIO, *events: Event, views: tuple[RunView, ...] = (PULL,), quiet: bool = False,
    terse: bool = False, rings: float = 0.0,
) -> str:  # fmt: skip
    """Return the text of a stream for these events and then these views, with *rings* seconds for the bells."""
    with Show(Board.of([TARGET], [], "q stops"), stream, quiet=quiet, terse=terse) as show:
        for event in events:
            show.show_event(event)
        for view in views:
            show._drawn = 0.0
            show.refresh(5.0, lambda view=view: view)  # type: ignore[misc]
        until = time.monotonic() + rings
        while time.monotonic() < until:
            show.refresh(5.0, lambda: views[-1])
            time.sleep(0.01)
    return stream.getvalue()


def test_without_a_terminal_each_event_is_a_plain_line() -> None:
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
    """In terse mode only verdicts are printed, one line for each port."""
    shown(
        io.StringIO(),
        Event(at=0.0, what=What.DO, port=PORT, text="Pull it"),
        Event(at=3.0, what=What.VERDICT, port=PORT, text="proven: so it is", proof=PROVEN),
        terse=True,
    )
    line = "proven           plc-1/cpu:1                  192.0.2.1       00-00-5E-00-53-01"
    assert capsys.readouterr().out.splitlines() == [line]


def test_a_long_port_shifts_no_column_of_the_verdicts(capsys: pytest.CaptureFixture[str]) -> None:
    """The column of ports is as wide as the longest port of the run."""
    long = replace(TARGET, interface="pasteuriser-plc/packing-link", device="pasteuriser-plc")
    proofs = (PROVEN, replace(PROVEN, interface=long.interface))
    with Show(Board.of([TARGET, long], [], "q stops"), io.StringIO(), quiet=True, terse=True) as show:
        for proof in proofs:
            show.show_event(Event(at=3.0, what=What.VERDICT, port=proof.subject, text="proven", proof=proof))
    first, second = capsys.readouterr().out.splitlines()
    assert first.index("192.0.2.1") == second.index("192.0.2.1")


def test_the_alternate_screen_is_entered_and_left() -> None:
    """The cursor is hidden and shown as well (xterm's private modes 1049 and 25, from memory)."""
    text = shown(Terminal(), quiet=True)
    assert "Pull the cable of plc-1/cpu:1" in text
    assert "panel 2, sw-2/54" in text
    for on, off in (("\x1b[?1049h", "\x1b[?1049l"), ("\x1b[?25l", "\x1b[?25h")):
        assert on in text
        assert text.rindex(on) < text.rindex(off)


def test_a_dumb_terminal_shows_every_instruction(monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal that cannot place text gets plain lines without control codes, and its bell."""
    monkeypatch.setenv("TERM", "dumb")
    event = Event(at=0.0, what=What.DO, port=PORT, text="Pull the cable of plc-1/cpu:1")
    text = shown(Terminal(), event, rings=0.5)
    assert text.replace("\a", "") == "do       plc-1/cpu:1: Pull the cable of plc-1/cpu:1\n"
    assert text.count("\a") == 2


@pytest.mark.parametrize(
    ("encoding", "environment", "expected"),
    [
        ("utf-8", {"LANG": "C.UTF-8"}, False),
        ("utf-8", {"LANG": "en_US.UTF-8", "LC_CTYPE": "C.UTF-8"}, False),
        ("utf-8", {"LANG": "C", "LC_CTYPE": "C.UTF-8"}, True),  # Python set LC_CTYPE itself: PEP 538
        ("utf-8", {"LANG": "en_US.UTF-8", "LC_ALL": "POSIX"}, True),
        ("utf-8", {}, True),
        ("cp1252", {"LANG": "C.UTF-8"}, True),
        ("ascii", {"LANG": "C.UTF-8"}, True),
        ("cp850", {"LANG": "C.UTF-8"}, False),
    ],
)
def test_block_characters_only_if_they_can_be_shown(encoding: str, environment: dict[str, str], expected: bool) -> None:
    """Block characters are drawn only if the encoding and the locale have them."""
    assert is_ascii_only(io.TextIOWrapper(io.BytesIO(), encoding=encoding), environment) is expected


@pytest.mark.parametrize("sound", Sound, ids=str)
def test_each_sound_rings_as_its_pattern_says(sound: Sound) -> None:
    """Each sound has its number of bells, with a longer pause for each pause of the pattern."""
    now, rung = 100.0, []

    class Bell(io.StringIO):
        def write(self, text: str) -> int:
            rung.append(now)
            return len(text)

    bells = Bells(Bell(), lambda: now)
    bells.ring(sound)
    while now < 110.0:
        bells.tick()
        now += 0.01
    assert len(rung) == PATTERNS[sound].count(".")
    gaps = [later - earlier for earlier, later in pairwise(rung)]
    groups = [len(group) for group in PATTERNS[sound].split(" ")]
    longer = [sum(groups[: place + 1]) - 1 for place in range(len(groups) - 1)]
    assert [place for place, gap in enumerate(gaps) if gap > 0.4] == longer


def test_of_many_sounds_only_the_newest_ring() -> None:
    """If many sounds come at once, only the last ones ring, so that no sound is out of date."""
    now = [0.0]
    stream = io.StringIO()
    bells = Bells(stream, lambda: now[0])
    for _ in range(100):
        bells.ring(Sound.LOOK)
    bells.ring(Sound.PULL)
    for step in range(100_000):
        now[0] = step / 100
        bells.tick()
    assert 0 < stream.getvalue().count("\a") <= 24


def test_no_two_sounds_are_the_same() -> None:
    """Every sound has a different pattern."""
    assert len(set(PATTERNS.values())) == len(Sound)


def test_each_change_is_heard_once() -> None:
    """A request rings when it begins, and does not ring again while it lasts."""
    assert shown(Terminal(), views=(PULL,) * 5, rings=0.6).count("\a") == 2
    assert shown(Terminal(), views=(PULL, OUT, OUT), rings=2.0).count("\a") == 2 + 1


def test_quiet_rings_no_bell() -> None:
    """With `--quiet`, the screen is drawn and no bell rings."""
    text = shown(Terminal(), views=(replace(PULL, warning="words"),), quiet=True, rings=0.5)
    assert "\a" not in text
    assert "LOOK: words" in text


def test_the_screen_is_drawn_with_the_current_state() -> None:
    """The screen is drawn at intervals with the current state, and at once after an event."""
    stream = Terminal()
    asked: list[int] = []

    def view_of(turn: int) -> Callable[[], RunView]:
        def view() -> RunView:
            asked.append(turn)
            return RunView(general=f"turn {turn}")

        return view

    with Show(Board.of([TARGET], [], "q stops"), stream, quiet=True, terse=False) as show:
        for turn in range(50):
            show.refresh(float(turn), view_of(turn))
        assert asked == [0]
        show.show_event(Event(at=0.0, what=What.HEARD, port=PORT, text="192.0.2.1 answers"))
        show.refresh(99.0, view_of(99))
    assert "turn 99" in stream.getvalue()


def test_a_stop_releases_the_terminal_and_its_end_draws_again() -> None:
    """Before a stop the normal screen is restored; after it the alternate screen is drawn again."""
    stream = Terminal()
    with Show(Board.of([TARGET], [], "q stops"), stream, quiet=True, terse=False) as show:
        show.refresh(1.0, lambda: PULL)
        show.leave()
        assert stream.getvalue().endswith("\x1b[?25h") or "\x1b[?1049l" in stream.getvalue()
        before = len(stream.getvalue())
        show.resume()
        show.refresh(1.0, lambda: PULL)
        again = stream.getvalue()[before:]
    assert "\x1b[?1049h" in again
    assert "Pull the cable of plc-1/cpu:1" in again


# Speech


def wait_until(true: Callable[[], bool], seconds: float = 10.0) -> bool:
    """Wait until a condition is true; return whether it became true in time."""
    until = time.monotonic() + seconds
    while not true() and time.monotonic() < until:
        time.sleep(0.01)
    return true()


def test_speech_reads_the_text_from_its_input(tmp_path: Path) -> None:
    """The program gets the text on its standard input, so that no part of it is an option or a command."""
    spoken = tmp_path / "spoken"
    speaker = Speaker(["sh", "-c", f'cat >> "{spoken}"'])
    speaker.say("--help; rm -rf x `id` $(id)")
    assert wait_until(lambda: spoken.exists() and spoken.read_text().endswith(".\n"))
    assert spoken.read_text() == "--help; rm -rf x `id` $(id).\n"
    speaker.close()


def test_a_slow_speech_program_delays_nothing_and_ends() -> None:
    """The run does not wait for it, only the newest texts are kept for it, and it ends with the run."""
    speaker = Speaker(["sleep", "60"])
    began = time.monotonic()
    for number in range(1000):
        speaker.say(str(number))
    assert time.monotonic() - began < 1.0
    assert wait_until(lambda: speaker.process is not None)
    process = speaker.process
    assert process is not None
    speaker.close()
    assert wait_until(lambda: process.poll() is not None)


def test_a_speech_program_that_is_missing_ends_only_the_speech() -> None:
    """If the program cannot be started, nothing is spoken and nothing fails."""
    speaker = Speaker(["/nowhere/at/all"])
    speaker.say("one")
    speaker.say("two")
    assert wait_until(lambda: speaker.closed)


def test_the_newest_texts_are_kept() -> None:
    """If many texts wait for a busy thread, it processes the newest ones."""
    seen: list[str] = []

    def work(text: str) -> None:
        time.sleep(0.05)
        seen.append(text)

    latest = NewestTexts(work)
    for number in range(20):
        latest.put(str(number))
    assert wait_until(lambda: "19" in seen)
    assert len(seen) <= 5
    assert seen == sorted(seen, key=int)


def test_each_system_has_its_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first installed program speaks; a system without such a program does not speak."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert [speech_command(system) for system in ("linux", "darwin", "aix")] == [None, None, None]
    for name in ("espeak", "spd-say"):
        (tmp_path / name).write_text("#!/bin/sh\n")
        (tmp_path / name).chmod(0o755)
    command = speech_command("linux")
    assert command is not None
    assert command[0] == "espeak"
