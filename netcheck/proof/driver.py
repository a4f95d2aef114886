"""The driver: joins a prober to a link and an operator. It is the only loop of a run.

The link and the operator do all I/O.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Protocol

from netcheck.proof.events import Event, Press
from netcheck.proof.prober import Prober
from netcheck.wire.link import Heard, Link


class Operator(Protocol):
    """A person or a script that presses keys and receives events."""

    def pressed(self) -> Iterable[Press]:
        """Return the keys pressed since the last call, without waiting."""

    def told(self, event: Event) -> None:
        """Receive an event."""


Frames = Callable[[float, int, bytes, bool], None]  # called for a capture with time, adapter, frame, outbound


def drive(prober: Prober, link: Link, operator: Operator, frames: Frames | None = None) -> None:
    """Run the prober to its end. On Ctrl-C, stop it, deliver its events, and raise KeyboardInterrupt again."""
    try:
        prober.start(link.now(), {adapter: link.carrier(adapter) for adapter in range(len(link.adapters))})
        while not prober.done:
            _turn(prober, link, operator, frames)
    except KeyboardInterrupt:
        prober.stop("the run was interrupted")
        prober.turn(link.now())
        raise
    finally:
        _tell(prober, operator)


def _turn(prober: Prober, link: Link, operator: Operator, frames: Frames | None) -> None:
    for key in operator.pressed():
        prober.press(key)
    for send in prober.turn(link.now()):
        at = link.send(send.frame, send.adapter)
        if at is None:
            prober.not_sent(send)
            continue
        prober.sent(send, at)
        if frames is not None:
            frames(at, send.adapter, send.frame, True)
    _tell(prober, operator)
    if prober.done:
        return
    wake = prober.wake
    while heard := link.receive(wake):
        for item in heard:
            prober.hear(item)
            if frames is not None and isinstance(item, Heard):
                frames(item.at, item.adapter, item.frame, False)
        wake = prober.wake
        if wake <= link.now():
            break


def _tell(prober: Prober, operator: Operator) -> None:
    for event in prober.take_events():
        operator.told(event)
