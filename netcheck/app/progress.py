"""Shows a progress bar on standard error for long work."""

from __future__ import annotations

import sys
from threading import Lock, Timer
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

PATIENCE = 0.8  # seconds before the bar appears


class Steps:
    """Counts steps of work. A bar appears after `PATIENCE`, only on a terminal, and disappears at the end."""

    def __init__(self, total: int) -> None:
        self._total = total
        self._done = 0
        self._words = ""
        self._lock = Lock()
        self._bar: tuple[Progress, TaskID] | None = None
        self._timer: Timer | None = None

    def __enter__(self) -> Steps:
        if sys.stderr.isatty():
            self._timer = Timer(PATIENCE, self._show)
            self._timer.daemon = True
            self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._timer:
            self._timer.cancel()
        with self._lock:
            self._total = 0
            if self._bar:
                self._bar[0].stop()

    def begin(self, words: str) -> None:
        """Set the text of the present step."""
        with self._lock:
            self._words = words
            self._update()

    def end(self) -> None:
        """Count one step as done."""
        with self._lock:
            self._done += 1
            self._update()

    def at(self, done: int, words: str, total: int | None = None) -> None:
        """Set the number of finished steps and the text, and *total* if it has changed."""
        with self._lock:
            self._done, self._words, self._total = done, words, total or self._total
            self._update()

    def _update(self) -> None:
        if self._bar:
            bar, task = self._bar
            bar.update(task, completed=self._done, total=self._total, description=self._words)

    def _show(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        with self._lock:
            if self._total:
                columns = TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn()
                bar = Progress(*columns, console=Console(stderr=True), transient=True)
                self._bar = bar, bar.add_task(self._words, total=self._total, completed=self._done)
                bar.start()
