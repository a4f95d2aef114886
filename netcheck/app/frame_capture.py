"""Writes every frame of a run to a capture file, with port and phase as its comment."""

from __future__ import annotations

import time
from pathlib import Path
from types import TracebackType

from netcheck.proof.prober import Prober
from netcheck.wire.capture.write import CaptureWriter
from netcheck.wire.link import Link


class Capturing:
    """A callable for the driver; a context manager closes the file."""

    def __init__(self, path: Path, link: Link, prober: Prober) -> None:
        """Open the file; UsageError if it exists."""
        self._writer = CaptureWriter(path, link.adapters)
        self._prober = prober
        self._epoch = time.time() - link.now()

    def __call__(self, at: float, adapter: int, frame: bytes, outbound: bool) -> None:
        """Write one frame."""
        port = self._prober.port
        comment = "" if port is None else f"{port.target.subject} {port.phase}"
        self._writer.frame(self._epoch + at, adapter, frame, outbound, comment)

    def __enter__(self) -> Capturing:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._writer.close()
