"""Connects a run to its operator: keys in; screen, sounds and record out."""

from __future__ import annotations

from dataclasses import replace

from netcheck.app.display import Show
from netcheck.app.keyboard import Hands
from netcheck.app.modbus_identity import Identifier
from netcheck.proof.events import Event, Press, What
from netcheck.proof.port.countdown import progress
from netcheck.proof.prober import Prober
from netcheck.proof.result import Verdict
from netcheck.record.write import Recorder
from netcheck.wire.link import Link

# Kinds of event that the record keeps; a proof has its own line.
KEPT = (What.DO, What.SILENT, What.RETURNED, What.SEEN, What.WARN, What.VERDICT, What.NOTE)


class TerminalOperator:
    """The operator of a run: keys in, screen and record out."""

    def __init__(
        self, prober: Prober, link: Link, show: Show, recorder: Recorder, keys: Hands, who: Identifier | None = None
    ) -> None:
        """*who* asks proven devices for their identity."""
        self.prober, self.link, self.show, self.recorder, self.keys = prober, link, show, recorder, keys
        self.who = who

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
