"""Shows a running proof: a live screen on a terminal, else one line an event; bells signal events."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from typing import TextIO

from rich.console import Console
from rich.live import Live

from netcheck.proof.events import Event, What
from netcheck.report.live.run_state import Board
from netcheck.report.live.screen import to_screen
from netcheck.report.text.proofs import SIMULATED, marked
from netcheck.text import safe

REDRAW = 0.2  # seconds
SLOW = 10  # a console that draws slowly is drawn on for a tenth of the time at most, so that probing goes on
# Number of bells for each event: a terminal has no other sound.
BELLS = {What.SILENT: 1, What.ENOUGH: 2, What.RETURNED: 3, What.SEEN: 4, What.WARN: 5}
BELL_GAP = 0.18


class Show:
    """Shows events. `refresh` is called at every turn with the time and a function for the line of figures."""

    def __init__(self, board: Board, stream: TextIO, *, quiet: bool, terse: bool, simulated: bool = False) -> None:
        self.simulated = simulated
        if simulated:
            board.keys = f"{SIMULATED}    {board.keys}"
        self.board, self.stream, self.quiet, self.terse = board, stream, quiet, terse
        self.console = Console(file=stream, highlight=False)
        self._live: Live | None = None
        self._drawn = 0.0
        self._pause = REDRAW
        self._bells: deque[float] = deque()

    def __enter__(self) -> Show:
        if self.console.is_terminal and not self.terse:
            self._live = Live(console=self.console, auto_refresh=False, screen=True, vertical_overflow="crop")
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()

    def take(self, event: Event) -> None:
        """Show an event immediately."""
        self.board.take(event)
        self._drawn = 0.0
        if self.terse:
            if event.proof is not None:
                row = self.board.rows[event.port]
                verdict = marked(event.proof.verdict, self.simulated)
                print(f"{verdict:<16} {safe(event.port):<28} {safe(row.address):<15} {row.who}", flush=True)
        elif self._live is None:
            port = f"{safe(event.port)}: " if event.port else ""
            mark = f" ({SIMULATED})" if self.simulated and event.proof is not None else ""
            print(f"{event.what:<8} {port}{safe(event.text, 1000)}{mark}", file=self.stream, flush=True)
        elif event.what in BELLS and not self.quiet and not self._bells:
            start = time.monotonic()
            self._bells.extend(start + n * BELL_GAP for n in range(BELLS[event.what]))

    def refresh(self, now: float, live: Callable[[], str]) -> None:
        """Redraw the screen if there is one and it is due."""
        if self._live is None:
            return
        clock = time.monotonic()
        if self._bells and self._bells[0] <= clock:
            self._bells.popleft()
            self.console.bell()
        if clock - self._drawn >= self._pause:
            self._drawn = clock
            size = self.console.size
            self._live.update(to_screen(self.board, now, live(), size.width, size.height), refresh=True)
            self._pause = max(REDRAW, SLOW * (time.monotonic() - clock))
