"""Joins a run to its operator: keys in; screen or plain lines, bells and record out."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import TextIO

from rich.console import Console
from rich.live import Live

from netcheck.app.keyboard import Hands
from netcheck.field.modbus_identity import Identifier
from netcheck.proof.events import Event, Press, What
from netcheck.proof.port.countdown import progress
from netcheck.proof.prober import Prober
from netcheck.proof.result import Verdict
from netcheck.record.write import Recorder
from netcheck.report.live.run_state import Board
from netcheck.report.live.screen import to_screen
from netcheck.report.text.proofs import SIMULATED, marked
from netcheck.text import safe
from netcheck.wire.link import Link

REDRAW = 0.2  # seconds
SLOW = 10  # a console that draws slowly is drawn on for a tenth of the time at most, so that probing goes on
# Number of bells for each event: a terminal has no other sound.
BELLS = {What.SILENT: 1, What.ENOUGH: 2, What.RETURNED: 3, What.SEEN: 4, What.WARN: 5}
BELL_GAP = 0.18
# Kinds of event that the record keeps; a proof has its own line.
KEPT = (What.DO, What.SILENT, What.RETURNED, What.SEEN, What.WARN, What.VERDICT, What.NOTE)


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


class TerminalOperator:
    """The operator of a run: keys in, screen and record out."""

    def __init__(
        self, prober: Prober, link: Link, show: Show, recorder: Recorder, keys: Hands, who: Identifier | None = None
    ) -> None:
        """*who* asks proven devices for their identity."""
        self.prober, self.link, self.show, self.recorder, self.keys = prober, link, show, recorder, keys
        self.who = who
        self._told = len(recorder.notes)  # notes of the record that the operator knows

    def pressed(self) -> list[Press]:
        """Return the keys since the last call; once no more can come, the run continues without keys."""
        self.show.refresh(self.link.now(), lambda: live_line(self.prober))
        pressed = list(self.keys.pressed())
        if self.keys.ended:
            self.prober.go_hands_free()
        return pressed

    def told(self, event: Event) -> None:
        """Show and record an event; the verdict of a tested port becomes its proof."""
        event = self._identified(event)
        self.show.take(event)
        self.keys.told(event)
        proof = event.proof
        if proof is not None and proof.verdict is not Verdict.NOT_TESTED and not self.prober.stopped:
            self.recorder.proof(proof)
        elif event.what in KEPT:
            self.recorder.event(str(event.what), event.text, port=event.port)
        for note in self.recorder.notes[self._told :]:
            self._told += 1
            self.show.take(Event(at=event.at, what=What.WARN, port=event.port, text=note))

    def _identified(self, event: Event) -> Event:
        """Return the event, its proof extended with the device's identity where that was asked for."""
        if self.who is None or event.proof is None:
            return event
        proof = replace(event.proof, evidence=(*event.proof.evidence, *self.who.evidence(event.proof)))
        self.prober.amend(proof)
        return replace(event, proof=proof)


def live_line(prober: Prober) -> str:
    """Return the figures of the port under test, for the screen."""
    return "" if prober.port is None else progress(prober.port)
