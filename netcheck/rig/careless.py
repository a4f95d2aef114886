"""A technician with habits, for the campaign: slow or quick, careless with the cable and with the key."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import partial
from random import Random

from netcheck.proof.events import Event, Key, What
from netcheck.rig.network import Jack, Rig


@dataclass(eq=False)
class Hand:
    """A technician with habits: slow or quick, careless with the cable and with the key."""

    rig: Rig
    random: Random
    cables: dict[str, Jack]  # by port, the right ones
    chance: float  # that a movement is done wrong
    wrong: list[Jack] = field(default_factory=list)  # what else may be pulled
    slow: float = 2.0
    keys: bool = False
    hasty: float = 0.1  # chance that a cable is put back before it is asked for
    early: float = 0.0  # seconds that Enter comes before the movement
    owner: Jack | None = None  # the cable of the device that has the address
    out_between: bool = False  # that cable was out between the request and the end of the silence
    pulled: list[Jack] = field(default_factory=list)
    _keys: list[Key] = field(default_factory=list)
    _asked: float = 0.0
    _out_at_request: bool = False
    _went_out: float = -1.0

    def pressed(self) -> Iterable[Key]:
        """Keys pressed since the last call."""
        keys, self._keys = self._keys, []
        return keys

    def press(self, key: Key) -> None:
        """Press a key."""
        self._keys.append(key)
        self.rig.stir()

    def told(self, event: Event) -> None:
        """Do what is said, more or less."""
        if event.what is What.ENOUGH:
            self.out_between = self._out_at_request or self._went_out >= self._asked
        if event.what is not What.DO or event.port not in self.cables:
            return
        after = self.random.uniform(0.05, self.slow)
        if event.text.startswith("Pull"):
            self._asked = self.rig.now()
            self._out_at_request = self.owner is not None and not self.owner.plugged
            self._pull(self.cables[event.port], after)
        else:
            for jack in (*self.pulled, self.cables[event.port]):
                self.rig.after(after, partial(self.rig.plug, jack, True))
            self.pulled.clear()
        if self.keys:
            self.rig.after(max(0.01, after + 0.2 - self.early), partial(self.press, Key.ENTER))

    def _pull(self, right: Jack, after: float) -> None:
        jack = right
        if self.wrong and self.random.random() < self.chance:
            jack = self.random.choice(self.wrong)
        self.pulled.append(jack)
        self.rig.after(after, partial(self._out, jack))
        if self.random.random() < self.hasty:  # put back before it is asked for
            self.rig.after(after + self.random.uniform(0.5, 8), partial(self.rig.plug, jack, True))
        if jack is not right and self.random.random() < 0.3:  # noticed, and mended
            self.rig.after(after + 8, partial(self.rig.plug, jack, True))
            self.rig.after(after + 10, partial(self._out, right))
            self.pulled.append(right)

    def _out(self, jack: Jack) -> None:
        self.rig.plug(jack, False)
        if jack is self.owner:
            self._went_out = self.rig.now()
