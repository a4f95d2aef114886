"""Draws the live screen of prove and walk: the present request in large letters, then every port."""

from __future__ import annotations

from textwrap import fill

from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from netcheck.proof.result import Verdict
from netcheck.report.live.run_state import Board, PortRow
from netcheck.text import safe

ROOM = 7  # lines other than the list of ports and the words of the panel


def to_screen(board: Board, now: float, live: str, width: int, height: int) -> RenderableType:
    """Return the drawing. *now* is the time of the run in seconds, *live* a line of figures on the port under test."""
    inside = max(20, width - 6)
    lines = [*_doing(board, inside), *_below(board, now, live)]
    title = Text(safe(board.current)) if board.current else None  # as Text, so that brackets in names are no markup
    panel = Panel(Group(*lines), title=title, title_align="left", padding=(0, 2), width=width)
    last = Text(f"last: {safe(board.last, 2 * width)}" if board.last else "", no_wrap=False)
    taken = ROOM + sum(-(-max(1, len(line.plain)) // inside) for line in (*lines, last))
    return Group(panel, _ports(board, max(2, height - taken)), last, Text(_foot(board), style="dim"))


def _doing(board: Board, width: int) -> list[Text]:
    """Return the present request; a band over the whole width where the technician must act."""
    words = fill(safe(board.doing), width - 2).split("\n")
    if not board.acting:
        return [Text(""), *(Text(word, style="bold") for word in words), Text("")]
    band = [" " * width, *(f" {word}".ljust(width) for word in words), " " * width]
    return [Text(word, style="bold reverse", no_wrap=True) for word in band]


def _below(board: Board, now: float, live: str) -> list[Text]:
    left = "" if board.until is None else f" ({max(0, board.until - now):.0f} s left)"
    wait = f"{safe(board.wait) or 'waiting'}{left}" if board.wait or left else ""
    warning = [Text(f"LOOK HERE: {safe(board.warning)}", style="bold red")] if board.warning else []
    return [*warning, Text(wait), Text(live, style="dim")]


def _ports(board: Board, most: int) -> Table:
    table = Table(box=None, pad_edge=False, expand=False)
    for heading in ("port", "address", "state", "who answers", "time"):
        table.add_column(heading, no_wrap=True, overflow="ellipsis")
    rows = list(board.rows.values())
    at = next((n for n, row in enumerate(rows) if row.subject == board.current), 0)
    first = max(0, min(at - most // 2, len(rows) - most))
    for row in rows[first : first + most]:
        mark = ">" if row.subject == board.current else " "
        style = "bold" if row.subject == board.current else ""
        took = "" if row.seconds is None else f"{row.seconds:.0f} s"
        cells = (Text(f"{mark} {safe(row.subject)}"), Text(safe(row.address)), _state(row), Text(row.who), Text(took))
        table.add_row(*cells, style=style)
    return table


def _state(row: PortRow) -> Text:
    if row.proof is None:
        return Text(row.state)
    good = row.proof.verdict is Verdict.PROVEN
    return Text(row.state, style="green" if good else "bold red")


def _foot(board: Board) -> str:
    counts = ", ".join(f"{count} {word}" for word, count in board.counts().items())
    left = sum(row.proof is None for row in board.rows.values())
    return f"{counts}{', ' if counts else ''}{left} to go    {board.keys}"
