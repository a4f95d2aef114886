"""Tests of the screen of a run: the instruction first, every port with a word, and received names as text."""

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
    interface="plc-1/cpu",
    port="1",
    address="192.0.2.1",
    verdict=Verdict.PROVEN,
    why="it answered, fell silent and answered again",
    mac=0x00005E005301,
    cable="operator",
    luck=4.1e-5,
    phases=((Phase.IN, PhaseResult(Tally(8, 8), Tally(30, 30), 8.0)),),
)


def drawn(board: Board, width: int = 80, height: int = 24, now: float = 5.0) -> list[str]:
    """Return the screen as lines of text."""
    paper = io.StringIO()
    console = Console(file=paper, width=width, height=height, force_terminal=False, color_system=None)
    console.print(to_screen(board, now, "figures", width, height))
    return paper.getvalue().splitlines()


def board_after(*events: Event) -> Board:
    """Return a board of forty ports after some events."""
    board = Board.of(PORTS, [], "q stops")
    for event in events:
        board.take(event)
    return board


def test_the_instruction_is_first_and_in_a_band() -> None:
    """The instruction fills the first lines of the panel, and the wait below it shows its remaining time."""
    lines = drawn(
        board_after(Event(at=0.0, what=What.DO, port="plc-3/cpu:1", text="Pull the cable of plc-3/cpu:1", until=65.0))
    )
    assert "plc-3/cpu:1" in lines[0]
    assert "Pull the cable of plc-3/cpu:1" in lines[2]
    assert any("60 s left" in line for line in lines[:7])


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40), (60, 18)])
def test_the_screen_fits_and_shows_the_port_under_test(width: int, height: int) -> None:
    """The screen is within the width and height of the terminal, and shows the port under test."""
    lines = drawn(board_after(Event(at=0.0, what=What.BEGIN, port="plc-30/cpu:1", text="")), width, height)
    assert len(lines) <= height
    assert max(map(len, lines)) <= width
    assert any(line.startswith("> plc-30/cpu:1") for line in lines)


@pytest.mark.parametrize(
    ("what", "word"),
    [(What.HEARD, "answers"), (What.SILENT, "silent"), (What.ENOUGH, "put back"), (What.RETURNED, "back")],
)
def test_the_state_of_a_port_is_a_word(what: What, word: str) -> None:
    """The state of a port is shown by a word, not only by colour."""
    board = board_after(Event(at=0.0, what=what, port="plc-2/cpu:1", text="it did", mac=0x00005E005302))
    assert board.rows["plc-2/cpu:1"].state == word
    assert board.rows["plc-2/cpu:1"].who == "00-00-5E-00-53-02"


def test_a_warning_is_shown_until_the_next_instruction() -> None:
    """A warning is shown next to the instruction and disappears with the next one."""
    board = board_after(Event(at=0.0, what=What.WARN, port="plc-2/cpu:1", text="the wrong cable"))
    assert any("LOOK HERE: the wrong cable" in line for line in drawn(board))
    board.take(Event(at=1.0, what=What.DO, port="plc-2/cpu:1", text="Plug it in"))
    assert not any("LOOK HERE" in line for line in drawn(board))


def test_a_verdict_closes_its_row() -> None:
    """The row of a port has its verdict, MAC and time, and the newest verdict is shown below."""
    board = board_after(Event(at=9.0, what=What.VERDICT, port="plc-1/cpu:1", text="proven: it did", proof=PROVEN))
    assert board.counts() == {"proven": 1}
    assert any("proven" in line and "00-00-5E-00-53-01" in line and "8 s" in line for line in drawn(board))


def test_received_names_are_shown_as_text() -> None:
    """Control characters and rich's markup in names are shown as text."""
    board = Board.of([("[red]x\x1b[2J/cpu:1", "192.0.2.9")], [], "q stops")
    board.take(Event(at=0.0, what=What.DO, port="[red]x\x1b[2J/cpu:1", text="Pull [bold]it\x07"))
    text = "\n".join(drawn(board))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "[bold]it\\x07" in text


def test_json_of_proofs_holds_every_verdict_and_the_seal() -> None:
    """The JSON has the keys of the contract, and a verdict that does not occur counts zero."""
    shape = to_json([PROVEN], "run.jsonl", "ab" * 32)
    assert set(shape) == {"proofs", "summary", "record", "seal"}
    assert set(shape["summary"]) == {str(verdict) for verdict in Verdict}
    assert (shape["summary"]["proven"], shape["summary"]["silent"]) == (1, 0)
    assert shape["proofs"][0]["phases"]["in"]["arp"] == [8, 8]
    assert shape["proofs"][0]["phases"]["out"] == {}
    assert summary([])["proven"] == 0


def test_proofs_as_lines_have_the_evidence_for_the_cable() -> None:
    """The line with the figures has the evidence for the cable, and long sentences are wrapped."""
    lines = to_lines([PROVEN], 70)
    assert lines[0].startswith("proven")
    assert any("cable: operator" in line for line in lines[:3])
    assert max(map(len, lines)) <= 70
