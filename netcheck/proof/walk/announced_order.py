"""The announced order of a walk: the ports are asked for one after the other, in the plan's order.

The request ties the address that falls silent to the connector that was asked for. Where another address falls silent
instead, the two addresses are swapped, or the wrong cable was pulled.
"""

from __future__ import annotations

from collections.abc import Sequence

from netcheck.proof.events import Action
from netcheck.proof.port.answers import GAP
from netcheck.proof.port.state import LOST
from netcheck.proof.probing.address_state import AddressState
from netcheck.proof.run_state import FRESH, RunState
from netcheck.proof.targets import Target
from netcheck.proof.walk.track import Track

INSTEAD = 5.0  # seconds without an answer after which another address than the announced one was pulled


class AnnouncedOrder:
    """Which port is asked for now, and what fell silent instead of it."""

    def __init__(self, run: RunState) -> None:
        """No port is asked for yet."""
        self.run = run
        self.target: Target | None = None
        self._alive: list[AddressState] = []  # others that answered when it was asked for
        self._fell: list[AddressState] = []  # those that fell silent instead, until they answer again

    def ask_next(self, tracks: Sequence[Track]) -> None:
        """Ask for the first open port of the plan, once every address that fell silent instead answers again."""
        if self.target is not None or not all(entry.answered_between(self.run.now - GAP) for entry in self._fell):
            return
        asked = [(target, track) for target in self.run.scope.asked for track in tracks if target in track.targets]
        if asked and asked[0][1].known and asked[0][1].port is None:
            self._ask(*asked[0], tracks)

    def _ask(self, target: Target, own: Track, tracks: Sequence[Track]) -> None:
        own.expect(target)
        self.target, self._fell = target, []
        since = self.run.now - FRESH
        self._alive = [track.entry for track in tracks if track is not own and track.entry.answered_between(since)]
        text = f"Pull the cable of {target.subject}, leave it out until told, then plug it in again"
        self.run.ask(Action.PULL, target.subject, text)

    def is_for(self, track: Track) -> bool:
        """Return whether the requested port belongs to this address."""
        return self.target is not None and self.target in track.targets

    def drop(self) -> None:
        """Clear the requested port, because its pull is settled."""
        self.target = None

    def instead(self, track: Track) -> tuple[str, ...]:
        """Return the addresses that fell silent for good, as text, while the one that was asked for answers; ask for
        the cable back."""
        if self.target is None or track.port is not None or not track.entry.answered_between(self.run.now - GAP):
            return ()
        fell = [entry for entry in self._alive if entry.answered[-1] < self.run.now - INSTEAD]
        if not fell or not all(self.run.fell(entry, LOST, 3) for entry in fell):
            return ()
        self._fell = fell
        self.run.ask(Action.PLUG, self.target.subject, f"Plug the cable of {self.target.subject} in again")
        return tuple(self.run.word(entry) for entry in fell)
