"""A scripted technician: does at the bench what the prober asks for, after a moment, as a person would."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from netcheck.proof.events import Action, Event, Key, Press
from netcheck.rig.network import Jack, Rig


@dataclass(eq=False)
class Technician:
    """Pulls and plugs the cable of the port that is asked for. `jacks` maps ports to the cables that are pulled for
    them: the wrong one, if the plan and the plant disagree. `hand` is how many seconds a movement takes."""

    rig: Rig
    jacks: dict[str, Jack]
    hand: float = 2.0
    confirms: bool = False  # presses Enter after each movement
    pulls: bool = True
    returns: bool = True
    ended: bool = False
    log: list[Event] = field(default_factory=list)
    _keys: list[Press] = field(default_factory=list)

    def pressed(self) -> Iterable[Press]:
        """Keys pressed since the last call."""
        keys, self._keys = self._keys, []
        return keys

    def press(self, key: Press) -> None:
        """Press a key."""
        self._keys.append(key)
        self.rig.stir()

    def told(self, event: Event) -> None:
        """Move the cable when told to."""
        self.log.append(event)
        jack = self.jacks.get(event.port)
        if event.action is None or jack is None:
            return
        if event.action is Action.PULL:
            self._move(jack, False, self.pulls)
        else:
            self._move(jack, True, self.returns)

    def _move(self, jack: Jack, plugged: bool, willing: bool) -> None:
        if not willing:
            return
        self.rig.after(self.hand, lambda: self.rig.plug(jack, plugged))
        if self.confirms:
            self.rig.after(self.hand + 0.2, lambda: self.press(Key.ENTER))
