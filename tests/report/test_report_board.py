"""The screen of a run: what to do now first, every port in a word, nothing from outside that could do harm."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from netcheck.proof.events import Event, What
from netcheck.proof.result import Phase, PhaseResult, Proof, Tally, Verdict
from netcheck.report.live.run_state import Board
from netcheck.report.live.screen import to_screen
from netcheck.report.text.proofs import summary, to_json, to_lines

PORTS = [(f"plc-{n}/cpu:1", f"192.0.2.{n}") for n in range(1, 41)]
PROVEN = Proof(
    "plc-1/cpu",
    "1",
    "192.0.2.1",
    Verdict.PROVEN,
    "it answered, fell silent and answered again",
    mac=0x00005E005301,
    cable="operator",
    luck=4.1e-5,
    phases=((Phase.IN, PhaseResult(Tally(8, 8), Tally(30, 30), 8.0)),),
)


def drawn(board: Board, width: int = 80, height: int = 24, now: float = 5.0) -> list[str]:
    """The screen as lines of text."""
    paper = io.StringIO()
    console = Console(file=paper, width=width, height=height, force_terminal=False, color_system=None)
    console.print(to_screen(board, now, "figures", width, height))
    return paper.getvalue().splitlines()


def board_after(*events: Event) -> Board:
    """A board of forty ports after some events."""
    board = Board.of(PORTS, [], "q stops")
    for event in events:
        board.take(event)
    return board


def test_what_to_do_now_stands_first_and_in_a_band() -> None:
    """The instruction fills the first lines of the panel; the wait below says how long it still is."""
    lines = drawn(board_after(Event(0.0, What.DO, "plc-3/cpu:1", "Pull the cable of plc-3/cpu:1", until=65.0)))
    assert "plc-3/cpu:1" in lines[0]
    assert "Pull the cable of plc-3/cpu:1" in lines[2]
    assert any("60 s left" in line for line in lines[:7])


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40), (60, 18)])
def test_the_screen_fits_and_shows_the_port_under_test(width: int, height: int) -> None:
    """No line is wider and no screen higher than the terminal; the current port is among those shown."""
    lines = drawn(board_after(Event(0.0, What.BEGIN, "plc-30/cpu:1", "")), width, height)
    assert len(lines) <= height
    assert max(map(len, lines)) <= width
    assert any(line.startswith("> plc-30/cpu:1") for line in lines)


@pytest.mark.parametrize(
    ("what", "word"),
    [(What.HEARD, "answers"), (What.SILENT, "silent"), (What.ENOUGH, "put back"), (What.RETURNED, "back")],
)
def test_the_state_of_a_port_is_a_word(what: What, word: str) -> None:
    """Never colour alone."""
    board = board_after(Event(0.0, what, "plc-2/cpu:1", "it did", mac=0x00005E005302))
    assert board.rows["plc-2/cpu:1"].state == word
    assert board.rows["plc-2/cpu:1"].who == "00-00-5E-00-53-02"


def test_a_warning_is_shown_until_the_next_instruction() -> None:
    """It stands beside what to do, and goes with it."""
    board = board_after(Event(0.0, What.WARN, "plc-2/cpu:1", "the wrong cable"))
    assert any("LOOK HERE: the wrong cable" in line for line in drawn(board))
    board.take(Event(1.0, What.DO, "plc-2/cpu:1", "Plug it in"))
    assert not any("LOOK HERE" in line for line in drawn(board))


def test_a_verdict_closes_its_row() -> None:
    """Verdict, MAC and time stand in the row, and the newest verdict below."""
    board = board_after(Event(9.0, What.VERDICT, "plc-1/cpu:1", "proven: it did", proof=PROVEN))
    assert board.counts() == {"proven": 1}
    assert any("proven" in line and "00-00-5E-00-53-01" in line and "8 s" in line for line in drawn(board))


def test_names_from_outside_do_no_harm() -> None:
    """Controls and rich's own markup come out as text."""
    board = Board.of([("[red]x\x1b[2J/cpu:1", "192.0.2.9")], [], "q stops")
    board.take(Event(0.0, What.DO, "[red]x\x1b[2J/cpu:1", "Pull [bold]it\x07"))
    text = "\n".join(drawn(board))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "[bold]it\\x07" in text


def test_json_of_proofs_holds_every_verdict_and_the_seal() -> None:
    """The keys are those of the contract; verdicts that nobody has count zero."""
    shape = to_json([PROVEN], "run.jsonl", "ab" * 32)
    assert set(shape) == {"proofs", "summary", "record", "seal"}
    assert set(shape["summary"]) == {str(verdict) for verdict in Verdict}
    assert (shape["summary"]["proven"], shape["summary"]["silent"]) == (1, 0)
    assert shape["proofs"][0]["phases"]["in"]["arp"] == [8, 8]
    assert shape["proofs"][0]["phases"]["out"] == {}
    assert summary([])["proven"] == 0


def test_proofs_as_lines_keep_the_cable_beside_the_verdict() -> None:
    """The figures line holds the cable's evidence; long sentences are wrapped."""
    lines = to_lines([PROVEN], 70)
    assert lines[0].startswith("proven")
    assert any("cable: operator" in line for line in lines[:3])
    assert max(map(len, lines)) <= 70
