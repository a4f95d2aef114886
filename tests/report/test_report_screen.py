"""Tests of the screen of a run: one state, one instruction and one warning, complete in terminals of any size."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console, Group

from netcheck.proof.events import Event, What
from netcheck.proof.result import Phase, PhaseResult, Proof, Tally, Verdict
from netcheck.proof.targets import Target
from netcheck.proof.view import PortView, RunView, Step
from netcheck.report.live.draw import ROWS, block_letters, largest, to_lines
from netcheck.report.live.screen import Board, Screen, Word, screen_of

GOLDEN = Path(__file__).with_name("golden")
KEYS = "Enter confirms   s skips this port   q stops"
MAC = 0x00005E005300  # documentation MACs: RFC 7042 section 2.1.2
# Received text that is known to disturb terminals and libraries: common practice, no source.
HOSTILE = ("[/]", "[bold red]x[/bold red]", "[/nothing]", "[link=http://192.0.2.1]y[/link]", "[", ":smile:",
           "\x1b]0;owned\x07", "\x1b[2J", "\u202ecba", "a\nb", "\x9b31m", "\u6f22" * 60, "x" * 600)  # fmt: skip
SIZES = [(80, 24, False), (60, 24, True), (140, 50, False)]
NAMES = [f"{size[0]}x{size[1]}{'-ascii' if size[2] else ''}" for size in SIZES]


def target(row: int, subject: str = "", address: str = "") -> Target:
    """Return the port of one row."""
    name = subject or f"vat-panel-{row}/lan:1"
    return Target(
        interface=name.rsplit(":", 1)[0], port=name.rsplit(":", 1)[1], device=name.split("/")[0], address=row,
        address_text=address or f"10.162.120.{100 + row}", subnet="process", place=f"panel {1 + row // 4}",
        switch_port=f"sw-{1 + row // 8}/{row}", row=row,
    )  # fmt: skip


def proof(of: Target, verdict: Verdict) -> Proof:
    """Return a proof that took 21 seconds."""
    seen = ((Phase.IN, PhaseResult(Tally(8, 8), Tally(30, 30), 8.0)), (Phase.OUT, PhaseResult(seconds=13.0)))
    mac = MAC + of.row
    return Proof(interface=of.interface, port=of.port, address=of.address_text, verdict=verdict, why="so it is",
                 mac=mac, phases=seen)  # fmt: skip


def board_of(count: int = 30, *, walks: bool = False) -> Board:
    """Return a board of many ports; the first is proven, and the second is not."""
    ports = [target(row) for row in range(1, count + 1)]
    board = Board.of(ports, [proof(ports[0], Verdict.PROVEN)], KEYS, walks=walks)
    swapped = proof(ports[1], Verdict.SWAPPED)
    board.keep_proof(Event(at=1.0, what=What.VERDICT, port=swapped.subject, text="swapped: so it is", proof=swapped))
    return board


def port_of(step: Step, row: int = 3, **about: object) -> PortView:
    """Return the view of a port at a step."""
    return PortView(subject=target(row).subject, step=step, mac=MAC + row, **about)  # type: ignore[arg-type]


SILENCE = RunView(
    ports=(port_of(Step.OUT, silent=4.2, needed=11.3),),
    out=("dosing-io/net", "weigh-module/eth"),
    warning="10.162.120.103 still answers: is it the right cable? Look for it in panel 3, or ask the integrator",
)


def drawn(screen: Screen, width: int = 80, height: int = 24, *, ascii_only: bool = False) -> list[str]:
    """Return the screen as lines of text."""
    return [line.text for line in to_lines(screen, width, height, ascii_only=ascii_only)]


@pytest.mark.parametrize(("width", "height", "ascii_only"), SIZES, ids=NAMES)
@pytest.mark.parametrize("scene", ["silence", "pull", "walk"])
def test_the_screen_is_the_golden_file(scene: str, width: int, height: int, ascii_only: bool) -> None:
    """The screen equals the golden file for a silence with a warning and cables out, for a request, and for a walk."""
    pull = RunView(ports=(port_of(Step.PULL, text=f"Pull the cable of {target(3).subject}"),))
    walk = RunView(
        ports=(
            port_of(Step.PLUG_IN, 9, text=f"Plug the cable of {target(9).subject} in again"),
            port_of(Step.OUT, 12, silent=2.0, needed=7.5),
            *(port_of(Step.ANSWERS, row) for row in (*range(3, 9), 10, 11, *range(13, 28))),
            *(port_of(Step.LISTEN, row) for row in (28, 29, 30)),
        ),
    )
    view = {"silence": SILENCE, "pull": pull, "walk": walk}[scene]
    screen = screen_of(board_of(walks=scene == "walk"), view, 5.0, "1" if scene == "walk" else "")
    name = f"screen-{scene}-{width}x{height}{'-ascii' if ascii_only else ''}.txt"
    assert drawn(screen, width, height, ascii_only=ascii_only) == (GOLDEN / name).read_text("utf-8").splitlines()


WORDS_OF_STEPS = {
    Step.PLUG_IN_FIRST: "PLUG IN", Step.MOVE: "MOVE", Step.LISTEN: "WAIT", Step.ANSWERS: "WAIT", Step.PULL: "PULL",
    Step.OUT: "WAIT 12", Step.PLUG_IN: "PLUG IN", Step.RETURNING: "WAIT", Step.BACK: "WAIT", Step.SEEN: "WAIT",
    Step.RESTORE: "PUT BACK",
}  # fmt: skip


@pytest.mark.parametrize("step", Step, ids=str)
def test_each_step_has_its_word_and_its_place(step: Step) -> None:
    """Each step of a port has one word, and the screen names the port, its address and its place."""
    view = RunView(ports=(port_of(step, text="Do as I say", silent=4.2, needed=11.3 if step is Step.OUT else None),))
    screen = screen_of(board_of(), view, 5.0)
    assert screen.headline == WORDS_OF_STEPS[step]
    assert (screen.port, screen.address) == ("vat-panel-3/lan:1", "10.162.120.103")
    assert "vat-panel-3/lan:1   10.162.120.103   panel 1, sw-1/3" in "\n".join(drawn(screen))
    assert [row.number for row in screen.rows if row.current] == [3]


def test_a_present_warning_is_the_action_and_a_reason_stands_below() -> None:
    """A warning that is true now makes the word LOOK, and a reason stands below the request.

    Without a warning and a reason the screen has neither.
    """
    pull = RunView(ports=(port_of(Step.PULL, text="Pull it"),))
    assert screen_of(board_of(), pull, 5.0).warning == ""
    reason = screen_of(board_of(), replace(pull, warning="too soon"), 5.0)
    assert (reason.word, reason.warning, reason.instruction) == (Word.PULL, "too soon", "Pull it")
    holds = screen_of(board_of(), replace(pull, warning="the wrong cable", holds=True), 5.0)
    assert (holds.word, holds.warning, holds.instruction) == (Word.LOOK, "the wrong cable", "Pull it")


def test_the_cable_of_the_computer_comes_before_everything() -> None:
    """While the computer's own cable is out, this is the only instruction: no silence counts."""
    screen = screen_of(board_of(), replace(SILENCE, station_out=True), 5.0)
    assert (screen.word, screen.bar, screen.warning) == (Word.LOOK, None, "")
    assert "plug it in again" in screen.instruction


def test_on_a_walk_an_action_comes_before_a_wait() -> None:
    """If two cables are out on a walk, the instruction names the cable to plug in.

    The seconds of the other cable stand in its row. If no cable is out, any cable may be pulled.
    """
    view = RunView(ports=(port_of(Step.OUT, 12, silent=2.0, needed=7.5), port_of(Step.PLUG_IN, 9, text="Plug it in")))
    screen = screen_of(board_of(walks=True), view, 5.0)
    assert (screen.word, screen.port) == (Word.PLUG_IN, "vat-panel-9/lan:1")
    assert screen.rows[11].state == "out, 8 s more"
    idle = RunView(ports=(port_of(Step.ANSWERS, 9), port_of(Step.LISTEN, 12)), general="Pull any cable")
    screen = screen_of(board_of(walks=True), idle, 5.0)
    assert (screen.word, screen.port, screen.instruction) == (Word.PULL_ANY, "", "Pull any cable")


def test_on_a_walk_no_cable_is_to_be_pulled_before_an_address_is_known() -> None:
    """Until a port is known the word is WAIT, and the instruction below says the same."""
    ports = (port_of(Step.LISTEN, 9), port_of(Step.LISTEN, 12))
    screen = screen_of(board_of(walks=True), RunView(ports=ports, general="Pull any cable"), 5.0)
    assert (screen.word, screen.instruction) == (
        Word.WAIT,
        "Leave all cables in. Ports that do not answer yet: 2",
    )


def test_a_silence_that_does_not_count_asks_for_the_cable() -> None:
    """On a walk, a cable whose silence does not count must be plugged in, with the reason; others come first."""
    vain = port_of(Step.OUT, 12, silent=2.0, text="it was not asked for; plug it in again")
    screen = screen_of(board_of(walks=True), RunView(ports=(vain,)), 5.0)
    assert (screen.word, screen.port) == (Word.PLUG_IN, "vat-panel-12/lan:1")
    assert screen.instruction == "vat-panel-12/lan:1 is out: it was not asked for; plug it in again"
    counts = port_of(Step.OUT, 14, silent=2.0, needed=3.0)
    assert screen_of(board_of(walks=True), RunView(ports=(vain, counts)), 5.0).headline == "WAIT 3"


def test_answers_are_counted_as_answered_requests() -> None:
    """The screen says how many requests were answered, of those with a reply or a timeout."""
    screen = screen_of(board_of(), RunView(ports=(port_of(Step.ANSWERS, asked=105, answered=30),)), 5.0)
    assert screen.detail == "30 of 105 requests answered"


TEXTS = st.text(alphabet="abc  .,:[]/-\u00e4\u6f22\n\x1b", max_size=120)
VIEWS = st.builds(
    RunView,
    ports=st.lists(
        st.builds(
            PortView,
            subject=st.integers(1, 40).map(lambda row: target(row).subject),
            step=st.sampled_from(Step),
            text=TEXTS,
            until=st.none() | st.floats(0, 1e6),
            silent=st.floats(0, 1e4),
            needed=st.none() | st.floats(0, 1e4),
            asked=st.integers(0, 9),
            answered=st.integers(0, 9),
            mac=st.none() | st.just(MAC),
        ),
        max_size=6,
    ).map(tuple),
    general=TEXTS,
    general_step=st.none() | st.just(Step.RESTORE),
    warning=TEXTS,
    holds=st.booleans(),
    out=st.lists(st.just("dosing-io/net"), max_size=3).map(tuple),
    station_out=st.booleans(),
)


@settings(max_examples=60)
@given(view=VIEWS, walks=st.booleans(), width=st.integers(60, 160), height=st.integers(24, 60), plain=st.booleans())
def test_the_important_parts_are_always_complete(
    view: RunView, walks: bool, width: int, height: int, plain: bool
) -> None:
    """In a terminal of 60x24 or more all lines fit, in every state of the run; with *plain* they are ASCII.

    Word, address, place and instruction are complete, and a warning is shown exactly if the screen has one.
    """
    screen = screen_of(board_of(40, walks=walks), view, 5.0)
    lines = drawn(screen, width, height, ascii_only=plain)
    assert len(lines) <= height
    assert max(map(cell_len, lines)) <= width
    assert not plain or all(map(str.isascii, lines))
    joined = re.sub(r"\s+", "", "".join(lines))
    for text in (screen.address, screen.place, screen.port):
        assert text.replace(" ", "") in joined
    if screen.instruction.isascii() and screen.instruction.isprintable():
        assert re.sub(r"\s+", "", screen.instruction) in joined
    assert ("LOOK:" in joined) == bool(screen.warning)
    assert sum(row.current for row in screen.rows) == bool(screen.port)


@pytest.mark.parametrize(("width", "lines"), [(100, 1), (80, 1), (70, 2)])
def test_the_keys_take_one_line_if_they_fit(width: int, lines: int) -> None:
    """The keys of a rehearsal are on one line of 80 columns: narrower gaps come before a second line."""
    keys = "SIMULATED   Enter confirms   s skips   n next   r again   m remark   q stops"
    board = Board.of([target(row) for row in range(1, 4)], [], keys, walks=False)
    foot = [
        line.text
        for line in to_lines(screen_of(board, RunView(), 0.0), width, 24)
        if "Enter" in line.text or "stops" in line.text
    ]
    assert len(foot) == lines
    assert foot[-1].endswith("stops")
    assert all(cell_len(line) <= width for line in foot)


@pytest.mark.parametrize("at", [0, 1, 19, 250, 498, 499])
def test_the_ports_around_the_current_one_are_shown(at: int) -> None:
    """Of 500 ports, the ports around the port under test are shown in the plan's order, each with its row number."""
    board = Board.of([target(row) for row in range(1, 501)], [], KEYS)
    screen = screen_of(board, RunView(ports=(port_of(Step.PULL, at + 1, text="Pull it"),)), 0.0)
    shown = [
        int(line[1:4])
        for line in drawn(screen)
        if "/lan:1 " in line and line[0] in "> " and line[1:4].strip().isdigit()
    ]
    assert len(shown) >= 10
    assert shown == list(range(shown[0], shown[0] + len(shown)))
    assert {row for row in (at, at + 1, at + 2) if 1 <= row <= 500} <= set(shown)


def printed(screen: Screen, *, colour: bool) -> str:
    """Return the screen as rich prints it."""
    paper = io.StringIO()
    console = Console(file=paper, width=80, height=24, force_terminal=colour, legacy_windows=False,
                      color_system="standard" if colour else None)  # fmt: skip
    console.print(Group(*(line.to_rich() for line in to_lines(screen, 80, 24))))
    return paper.getvalue()


def test_colour_adds_no_information() -> None:
    """Without its colours the screen is the same."""
    screen = screen_of(board_of(), SILENCE, 5.0)
    plain, coloured = printed(screen, colour=False), printed(screen, colour=True)
    assert coloured != plain
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain  # SGR: ECMA-48 section 8.3.117


@pytest.mark.parametrize("bad", HOSTILE, ids=ascii)
def test_received_text_is_shown_as_text(bad: str) -> None:
    """Markup, controls, right-to-left marks and very long names are shown as text on every part of the screen."""
    ports = [replace(target(1, f"{'x'}/cpu:1", bad), interface=f"{bad}/cpu"), target(2, "good/cpu:1", "192.0.2.2")]
    board = Board.of(ports, [], KEYS)
    board.last = f"{bad} silent"
    view = RunView(
        ports=(PortView(subject=ports[0].subject, step=Step.PULL, text=f"Pull the cable of {bad}"),), warning=bad
    )
    text = printed(screen_of(board, view, 5.0), colour=False)
    assert not set(text) & (set(map(chr, range(32))) - {"\n"})
    assert not set(text) & set("\x7f\x9b\u202e")
    assert max(map(cell_len, text.splitlines())) <= 80
    if len(bad) < 40 and bad.isascii() and bad.isprintable():
        assert sum(bad in line for line in text.splitlines()) >= 4


@pytest.mark.parametrize("word", [*Word, "WAIT 120", "0123456789", "a-z/q:1.2_?"])
def test_block_letters_are_five_rows(word: str) -> None:
    """Each text has five rows, no two letters the same shape, and the words of the screen fit 60 columns."""
    rows = block_letters(word, "#")
    assert len(rows) == ROWS
    assert set("".join(rows)) <= {"#", " "}
    assert not isinstance(word, Word) or largest(word, "#", 59, 6)


def test_no_two_letters_look_the_same() -> None:
    """Every letter and digit has a different shape."""
    shapes = {tuple(block_letters(letter, "#")) for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/:._ "}
    assert len(shapes) == 42
