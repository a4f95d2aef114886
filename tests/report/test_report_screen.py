"""Tests of the live screen against golden files, with many ports, and with hostile names."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.console import Console

from netcheck.proof.events import Event, What
from netcheck.proof.result import Phase, PhaseResult, Proof, Tally, Verdict
from netcheck.report.live.run_state import Board
from netcheck.report.live.screen import to_screen

GOLDEN = Path(__file__).with_name("golden")
SIZES = [(80, 24), (120, 40)]
LIVE = "silent for 5 s, about 3 s more; 4 arp and 16 echo requests unanswered"
# Received text that is known to disturb terminals and libraries: common practice, no source.
HOSTILE = ("[/]", "[bold red]x[/bold red]", "[/nothing]", "[link=http://192.0.2.1]y[/link]", "[", ":smile:",
           "\x1b]0;owned\x07", "\x1b[2J", "\u202ecba", "a\nb", "\x9b31m", "\u6f22" * 60, "x" * 600)  # fmt: skip


def drawn(board: Board, width: int = 80, height: int = 24, now: float = 1005.0, *, colour: bool = False) -> str:
    """Return the screen as it is printed."""
    paper = io.StringIO()
    console = Console(
        file=paper, width=width, height=height, force_terminal=colour, legacy_windows=False,
        color_system="standard" if colour else None,
    )  # fmt: skip
    console.print(to_screen(board, now, LIVE, width, height))
    return paper.getvalue()


def proof(interface: str, port: str, address: str, verdict: Verdict, mac: int | None) -> Proof:
    """Return a proof that took 21 seconds."""
    seen = ((Phase.IN, PhaseResult(Tally(8, 8), Tally(30, 30), 8.0)), (Phase.OUT, PhaseResult(seconds=13.0)))
    return Proof(interface=interface, port=port, address=address, verdict=verdict, why="so it is", mac=mac, phases=seen)


def hall(count: int = 40) -> Board:
    """Return a walk over many ports in progress: two are settled, one is out, one was pulled once."""
    ports = [(f"d{n}/lan:1", f"192.0.2.{n}") for n in range(20, 20 + count)]
    before = proof("d20/lan", "1", "192.0.2.20", Verdict.PROVEN, 0x00005E005314)
    board = Board.of(ports, [before], "a number names the port that is out   q stops")
    for n in range(21, 20 + count):
        board.take(Event(at=1000.0, what=What.KNOWN, port=f"d{n}/lan:1", text="answers", mac=0x00005E005300 + n))
    swapped = proof("d22/lan", "1", "192.0.2.22", Verdict.SWAPPED, 0x00005E005317)
    board.take(Event(at=1001.0, what=What.VERDICT, port="d22/lan:1", text="swapped: so it is", proof=swapped))
    board.take(Event(at=1002.0, what=What.SEEN, port="d40/lan:1", text="d40/lan:1 seen: pull its cable once more"))
    board.take(Event(at=1003.0, what=What.SILENT, port="d41/lan:1", text="d41/lan:1 is silent: leave its cable out"))
    return board


@pytest.mark.parametrize(("width", "height"), SIZES, ids=["80x24", "120x40"])
def test_the_screen_is_the_golden_file(width: int, height: int) -> None:
    """The screen equals the golden file: the instruction in a band, the ports around the one that is out, verdicts
    and keys."""
    expected = (GOLDEN / f"screen-{width}x{height}.txt").read_text("utf-8")
    assert [line.rstrip() for line in drawn(hall(), width, height).splitlines()] == expected.splitlines()


@pytest.mark.parametrize(("width", "height"), SIZES, ids=["80x24", "120x40"])
@pytest.mark.parametrize("count", [2, 40, 500])
def test_the_screen_fits_the_terminal(count: int, width: int, height: int) -> None:
    """The screen keeps to the size of the terminal with any number of ports and any text, and shows the keys."""
    board = hall(max(count, 22))
    board.take(
        Event(at=1004.0, what=What.WARN, port="d41/lan:1", text="192.0.2.41 still answers: is it the right cable? " * 3)
    )
    board.last = "d22/lan:1 swapped: " + "a long sentence " * 8
    lines = drawn(board, width, height).splitlines()
    assert len(lines) <= height
    assert max(map(len, lines)) <= width
    assert "q stops" in lines[-1]
    assert any(line.startswith("> d41/lan:1") for line in lines)


@pytest.mark.parametrize("at", [0, 1, 19, 250, 498, 499])
def test_the_ports_around_the_current_one_are_shown(at: int) -> None:
    """Of 500 ports, those around the one under test are shown, in the plan's order."""
    ports = [(f"d{n}/lan:1", f"10.0.{n >> 8}.{n & 255}") for n in range(500)]
    board = Board.of(ports, [], "q stops")
    board.take(Event(at=0.0, what=What.BEGIN, port=f"d{at}/lan:1", text=""))
    shown = [line[2:].split()[0] for line in drawn(board).splitlines() if "/lan:1 " in line and line[0] in "> "]
    assert len(shown) >= 10
    first = int(shown[0][1:].split("/")[0])
    assert shown == [f"d{n}/lan:1" for n in range(first, first + len(shown))]
    neighbours = {f"d{n}/lan:1" for n in (at - 1, at, at + 1) if 0 <= n < 500}
    assert neighbours <= set(shown)


def test_the_instruction_is_first_and_in_a_band() -> None:
    """An instruction is in reverse video over the whole width, a wait is not; without colour it is still first."""
    reverse = "\x1b[1;7m"
    board = hall()
    text = drawn(board, colour=True)
    band = [line for line in text.splitlines() if reverse in line]
    assert len(band) == 3
    assert "d41/lan:1 is silent: leave its cable out" in band[1]
    assert text.splitlines().index(band[0]) == 1
    board.take(Event(at=1004.0, what=What.RETURNED, port="d41/lan:1", text="192.0.2.41 answers again"))
    assert reverse not in drawn(board, colour=True)
    assert "192.0.2.41 answers again: leave the cable in" in drawn(board).splitlines()[2]


def test_colour_adds_no_information() -> None:
    """Without its colours the screen is the same, and every state is a word."""
    plain = drawn(hall(22), height=40)
    coloured = drawn(hall(22), height=40, colour=True)
    assert coloured != plain
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain  # SGR: ECMA-48 section 8.3.117
    for word in ("proven", "swapped", "seen once", "silent", "answers"):
        assert word in plain


@pytest.mark.parametrize("bad", HOSTILE, ids=ascii)
def test_received_text_is_shown_as_text(bad: str) -> None:
    """Markup, controls, right-to-left marks and very long names are shown as text on every part of the screen."""
    board = Board.of([(f"{bad}/cpu:1", bad), ("good/cpu:1", "192.0.2.2")], [], "q stops")
    for what in (What.BEGIN, What.DO, What.WAIT, What.WARN):
        board.take(Event(at=1000.0, what=what, port=f"{bad}/cpu:1", text=f"Pull the cable of {bad}", until=1060.0))
    board.take(
        Event(
            at=1000.0,
            what=What.VERDICT,
            port=f"{bad}/cpu:1",
            text=bad,
            proof=proof(f"{bad}/cpu", "1", bad, Verdict.SILENT, None),
        )
    )
    text = drawn(board)
    assert not set(text) & (set(map(chr, range(32))) - {"\n"})
    assert not set(text) & set("\x7f\x9b\u202e")
    assert "good/cpu:1" in text
    lines = text.splitlines()
    assert max(map(cell_len, lines)) <= 80
    if len(bad) < 40 and bad.isascii() and bad.isprintable():
        assert sum(bad in line for line in lines) >= 4
