"""The live screen of prove and walk: what to do now in large, plain words, then every port. Pure."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from netcheck.proof.result import Verdict
from netcheck.report.board import Board, PortRow
from netcheck.text import safe

FRAME_LINES = 8  # lines around the list of ports: the panel and the foot
KEYS = "Enter confirms   s skips this port   q stops"


def to_screen(board: Board, now: float, live: str, width: int, height: int) -> RenderableType:
    """Draw a board. `now` is in the run's own seconds, `live` a line of figures of the port under test."""
    lines = [Text(safe(board.doing), style="bold")]
    if board.warning:
        lines.append(Text(f"LOOK: {safe(board.warning)}", style="bold reverse"))
    if board.wait or board.until is not None:
        left = "" if board.until is None else f" ({max(0, board.until - now):.0f} s left)"
        lines.append(Text(f"{safe(board.wait) or 'waiting'}{left}"))
    lines.append(Text(live, style="dim"))
    panel = Panel(Group(*lines), title=safe(board.current) or None, title_align="left", padding=(1, 2), width=width)
    taken = FRAME_LINES + len(lines) + sum(len(line.plain) // max(1, width - 8) for line in lines)
    return Group(panel, _ports(board, max(3, height - taken)), Text(_foot(board), style="dim"))


def _ports(board: Board, most: int) -> Table:
    table = Table(box=None, pad_edge=False, expand=False)
    for heading in ("port", "address", "state", "who answers"):
        table.add_column(heading, no_wrap=True, overflow="ellipsis")
    rows = list(board.rows.values())
    at = next((n for n, row in enumerate(rows) if row.subject == board.current), 0)
    first = max(0, min(at - most // 2, len(rows) - most))
    for row in rows[first : first + most]:
        mark = ">" if row.subject == board.current else " "
        style = "bold" if row.subject == board.current else ""
        table.add_row(f"{mark} {safe(row.subject)}", safe(row.address), _state(row), row.who, style=style)
    return table


def _state(row: PortRow) -> Text:
    if row.proof is None:
        return Text(row.state)
    good = row.proof.verdict is Verdict.PROVEN
    return Text(row.state, style="green" if good else "bold red")


def _foot(board: Board) -> str:
    counts = ", ".join(f"{count} {word}" for word, count in board.counts().items())
    left = sum(row.proof is None for row in board.rows.values())
    return f"{counts}{', ' if counts else ''}{left} to go    {KEYS}"
