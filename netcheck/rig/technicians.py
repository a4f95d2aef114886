"""Simulated technicians: they follow typed instructions, well or badly. They never read the words of a prompt."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from random import Random

from netcheck.proof.events import Action, Event, Key, Press, What
from netcheck.rig.network import Jack, Rig

SHORT = (0.2, 2.0)  # seconds for which a cable is out too short, or a plug makes contact before it slips out
MOVES, MOVES_AGAIN = 1.8, 10.0  # seconds that a cable takes from one connector to the next; the second time as told
QUICKEST = 0.35  # seconds that a person needs at least to react to a prompt and move a cable
GIVES_UP = 600.0  # seconds after which the technician stops the run


@dataclass(eq=False)
class Technician:
    """Pulls and plugs the cable of the port that an instruction names.

    `jacks` maps ports to the cables that are moved for them: other ones, where plan and plant disagree. `hand` is how
    many seconds a movement takes.
    """

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
        """Return the keys pressed since the last call."""
        keys, self._keys = self._keys, []
        return keys

    def press(self, key: Press) -> None:
        """Press a key."""
        self._keys.append(key)
        self.rig.stir()

    def told(self, event: Event) -> None:
        """Move the cable that an instruction asks for."""
        self.log.append(event)
        jack = self.jacks.get(event.port)
        if event.action is None or jack is None:
            return
        if event.action is Action.PULL:
            self._move(jack, False, self.pulls)
        elif event.action is Action.MOVE:
            self.rig.after(self.hand, lambda: self.rig.plug(jack, False))
            self.rig.after(self.hand + MOVES, lambda: self.rig.plug(jack, True))
            if self.confirms:
                self.rig.after(self.hand + MOVES + 0.2, lambda: self.press(Key.ENTER))
        else:
            self._move(jack, True, self.returns)

    def _move(self, jack: Jack, plugged: bool, willing: bool) -> None:
        if not willing:
            return
        self.rig.after(self.hand, lambda: self.rig.plug(jack, plugged))
        if self.confirms:
            self.rig.after(self.hand + 0.2, lambda: self.press(Key.ENTER))


class Habit(StrEnum):
    """How a technician reacts to a request to pull a cable."""

    RIGHT = "the right cable"
    WRONG = "another cable, and leaves it"
    CORRECTED = "another cable, then the right one"
    SHORT = "out too short, once"
    ALWAYS_SHORT = "out too short, always"
    EARLY = "before it is asked for"
    TWICE = "out, in and out again"
    NONE = "none"
    STATION = "the station's own, once"
    ALWAYS_STATION = "the station's own, always"
    KEEPS = "the right cable, and keeps it out"
    SLIPS = "the right cable, which slips out again after it was put back"


@dataclass(eq=False)
class Hand:
    """A technician with a habit. `right` is the cable of the port under test, `other` another cable."""

    rig: Rig
    random: Random
    habit: Habit
    right: Jack
    other: Jack
    slow: float = 2.0  # seconds that a movement may take
    keys: bool = False  # confirms every movement with Enter
    early: float = 0.0  # seconds by which Enter comes before the movement
    at_request: Callable[[], None] | None = None  # what happens by itself at the moment of a request
    ended: bool = False
    log: list[tuple[float, Event]] = field(default_factory=list)  # events with the world's time
    entered: list[float] = field(default_factory=list)  # when Enter was pressed
    _pulls: int = 0  # requests to pull
    _moves: int = 0  # requests to move the cable to another connector
    _asked: int = 0  # instructions so far: a new one stops what the hand was about to do
    _keys: list[Key] = field(default_factory=list)

    def pressed(self) -> Iterable[Key]:
        """Return the keys pressed since the last call."""
        keys, self._keys = self._keys, []
        return keys

    def press(self, key: Key) -> None:
        """Press a key."""
        self._keys.append(key)
        if key is Key.ENTER:
            self.entered.append(self.rig.time)
        self.rig.stir()

    def told(self, event: Event) -> None:
        """Do what is asked for, or what the habit makes of it."""
        self.log.append((self.rig.time, event))
        after = self.random.uniform(QUICKEST, self.slow)
        if event.what is What.HEARD and self.habit is Habit.EARLY and not self._pulls:
            self._move(self.right, False, after)
        if event.action is None:
            return
        self._asked += 1
        if event.action is Action.PULL:
            self._pulls += 1
            if self.at_request is not None:
                self.at_request()
            self._pull(after)
        elif event.action is Action.MOVE:
            self._move(self.right, False, after)
            self._moves += 1
            after += MOVES if self._moves == 1 else MOVES_AGAIN
            self._move(self.right, True, after)
        elif self.habit is not Habit.KEEPS or not self._pulls:
            for jack in (self.right, self.other, self.rig.jacks[0]):
                self._move(jack, True, after)
            if self.habit is Habit.SLIPS and self._pulls:
                slips = after + self.random.uniform(*SHORT)
                self.rig.after(slips, partial(self.rig.plug, self.right, False))
        if self.keys:
            self.rig.after(max(0.01, after + 0.2 - self.early), partial(self.press, Key.ENTER))

    def _pull(self, after: float) -> None:
        first = self._pulls == 1
        match self.habit:
            case Habit.NONE:
                return
            case Habit.WRONG:
                self._move(self.other, False, after)
            case Habit.CORRECTED if first:
                again = after + self.random.uniform(6, 10)
                self._move(self.other, False, after)
                self._move(self.other, True, again)
                self._move(self.right, False, again + self.random.uniform(0.5, 3))
            case Habit.STATION if first:
                self._move(self.rig.jacks[0], False, after)
            case Habit.ALWAYS_STATION:
                self._move(self.rig.jacks[0], False, after)
            case Habit.SHORT if first:
                self._move(self.right, False, after, self.random.uniform(*SHORT))
                self._move(self.right, False, after + self.random.uniform(6, 10))  # it is still asked for
            case Habit.ALWAYS_SHORT:
                self._move(self.right, False, after, self.random.uniform(*SHORT))
            case Habit.TWICE if first:
                again = after + self.random.uniform(1, 4)
                self._move(self.right, False, after)
                self._move(self.right, True, again)
                self._move(self.right, False, again + self.random.uniform(0.5, 3))
            case _:
                self._move(self.right, False, after)

    def _move(self, jack: Jack, plugged: bool, after: float, back: float | None = None) -> None:
        """Move a cable after some seconds, and put it back `back` seconds after that."""
        self.rig.after(after, partial(self._moved, self._asked, jack, plugged))
        if back is not None:
            self.rig.after(after + back, partial(self.rig.plug, jack, True))

    def _moved(self, asked: int, jack: Jack, plugged: bool) -> None:
        if asked == self._asked:
            self.rig.plug(jack, plugged)
