"""Simulated technicians: they follow the actions of events, well or badly. They do not read the text of a prompt."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from itertools import chain
from random import Random

from netcheck.proof.events import Action, Event, Key, Press, What
from netcheck.rig.network import Jack, Rig

SHORT = (0.2, 2.0)  # seconds that a cable is out if the pull is too short, or in before its plug slips out
MOVES, MOVES_AGAIN = 1.8, 10.0  # seconds that a cable is out between two connectors, first and when asked again
QUICKEST = 0.35  # seconds that a person needs at least to react to a prompt and move a cable
GIVES_UP = 600.0  # seconds after which the technician stops the run


@dataclass(eq=False)
class Technician:
    """Moves the cables that an instruction names.

    `jacks` maps each port to the cable that is moved for it; this is another port's cable if plan and plant differ.
    `behind` maps a connector to the cables of the interfaces that the plan attaches to it. `hand` is the seconds that a
    movement takes.
    """

    rig: Rig
    jacks: dict[str, Jack]
    hand: float = 2.0
    confirms: bool = False  # presses Enter after each movement
    pulls: bool = True
    returns: bool = True
    behind: Mapping[str, tuple[Jack, ...]] = field(default_factory=dict)
    ended: bool = False
    log: list[Event] = field(default_factory=list)
    _moved: str = ""  # the connector that the cable is being moved to
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
        """Move the cables that an instruction asks for."""
        self.log.append(event)
        if event.what is What.WARN and event.port and event.port == self._moved and self.confirms:
            self.rig.after(self.hand, lambda: self.press(Key.ENTER))  # Enter was refused; press it once more
        if event.action is None or not (self.pulls if event.action is Action.PULL else self.returns):
            return
        again = event.action is Action.MOVE and event.port == self._moved
        self._moved = event.port if event.action is Action.MOVE else ""
        done = carry_out(self.rig, event, self.jacks, self.behind, after=self.hand, again=again)
        if done is not None and self.confirms:
            self.rig.after(done + 0.2, lambda: self.press(Key.ENTER))


def carry_out(
    rig: Rig,
    event: Event,
    jacks: Mapping[str, Jack],
    behind: Mapping[str, tuple[Jack, ...]],
    *,
    after: float,
    again: bool = False,
) -> float | None:
    """Schedule the movements of an instruction from `after` seconds on.

    Return the seconds until the last movement, or None if the instruction concerns no cable. `again`: the same movement
    is asked for once more, so the cable stays out longer.
    """
    jack = jacks.get(event.port)
    moved: tuple[Jack, ...] = () if jack is None else (jack,)
    if event.action is Action.RESTORE and not event.port:  # put the cabling of a device back as planned
        moved = tuple(chain.from_iterable(behind.values()))
    elif event.action is Action.MOVE:
        moved = (*behind.get(event.port, ()), *moved)
    if not moved:
        return None
    for one in moved:
        move = partial(rig.plug, one, event.action not in (Action.PULL, Action.MOVE))
        if after:
            rig.after(after, move)
        else:
            move()
    if jack is not None and event.action is Action.MOVE:
        after += MOVES_AGAIN if again else MOVES
        rig.after(after, partial(rig.plug, jack, True))
    return after


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
    at_request: Callable[[], None] | None = None  # called at each request to pull
    ended: bool = False
    log: list[tuple[float, Event]] = field(default_factory=list)  # events with the world's time
    entered: list[float] = field(default_factory=list)  # times at which Enter was pressed
    _pulls: int = 0  # requests to pull so far
    _moves: int = 0  # requests to move the cable to another connector so far
    _asked: int = 0  # instructions so far: a new one cancels movements that have not begun
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
        """Follow an instruction as the habit says."""
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
