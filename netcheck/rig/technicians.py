"""A technician with habits: pulls the right cable or another, too short, too early, twice, not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from random import Random

from netcheck.proof.events import Action, Event, Key, Press, What
from netcheck.rig.network import Jack, Rig

LONG_ENOUGH = 2.5  # seconds out that a silence of 3 s (4-proof.md, Phases) can be made of, together with a lost probe
SHORT = (0.2, 2.0)  # seconds that a cable is out too short
GIVES_UP = 600.0  # seconds after which the technician goes home


Span = tuple[float, float]  # from when until when, in virtual seconds


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


class Habit(StrEnum):
    """What the technician does when asked to pull the cable."""

    RIGHT = "the right cable"
    WRONG = "another cable, and leaves it"
    MENDED = "another cable, then the right one"
    SHORT = "out too short, once"
    ALWAYS_SHORT = "out too short, always"
    EARLY = "before it is asked for"
    TWICE = "out, in and out again"
    NONE = "none"
    STATION = "the station's own, once"
    ALWAYS_STATION = "the station's own, always"
    KEEPS = "the right cable, and keeps it out"


@dataclass(eq=False)
class Hand:
    """Does with the cables what its habit says. `right` is the cable of the port under test, `station` the station's
    own. `outs` are the times that each cable was out, as pairs of seconds; an end that has not come is infinite."""

    rig: Rig
    random: Random
    habit: Habit
    right: Jack
    other: Jack
    slow: float = 2.0  # seconds a movement may take
    keys: bool = False  # confirms every movement with Enter
    early: float = 0.0  # seconds that Enter comes before the movement
    at_request: Callable[[], None] | None = None  # what happens by itself at the moment of the request
    ended: bool = False
    requested: float = float("inf")  # when the cable was first asked for
    outs: list[tuple[Jack, float, float]] = field(default_factory=list)
    _times: int = 0  # it was asked for
    _asked: int = 0  # instructions so far: a new one stops what the hand was about to do
    _keys: list[Key] = field(default_factory=list)

    def pressed(self) -> Iterable[Key]:
        """Keys pressed since the last call."""
        keys, self._keys = self._keys, []
        return keys

    def press(self, key: Key) -> None:
        """Press a key."""
        self._keys.append(key)
        self.rig.stir()

    def told(self, event: Event) -> None:
        """Do what is asked for, or what the habit makes of it."""
        after = self.random.uniform(0.05, self.slow)
        if event.what is What.HEARD and self.habit is Habit.EARLY and not self._times:
            self._move(self.right, False, after)
        if event.what is not What.DO:
            return
        self._asked += 1
        if event.action is Action.PULL:
            self.requested = min(self.requested, self.rig.time)
            self._times += 1
            if self.at_request is not None:
                self.at_request()
            self._pull(after)
        elif self.habit is not Habit.KEEPS or not self._times:
            for jack in (self.right, self.other, self.rig.jacks[0]):
                self._move(jack, True, after)
        if self.keys:
            self.rig.after(max(0.01, after + 0.2 - self.early), partial(self.press, Key.ENTER))

    def _pull(self, after: float) -> None:
        first = self._times == 1
        match self.habit:
            case Habit.NONE:
                return
            case Habit.WRONG:
                self._move(self.other, False, after)
            case Habit.MENDED if first:
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
        """Move a cable after some seconds, and put it back so many seconds after that."""
        self.rig.after(after, partial(self._moved, self._asked, jack, plugged))
        if back is not None:
            self.rig.after(after + back, partial(self.plug, jack, True))

    def _moved(self, asked: int, jack: Jack, plugged: bool) -> None:
        if asked == self._asked:
            self.plug(jack, plugged)

    def plug(self, jack: Jack, plugged: bool) -> None:
        """Move a cable now, and remember when it was out."""
        if jack.plugged == plugged:
            return
        now = self.rig.time
        if plugged:
            self.outs = [(j, out, min(back, now) if j is jack else back) for j, out, back in self.outs]
        else:
            self.outs.append((jack, now, float("inf")))
        self.rig.plug(jack, plugged)

    def was_out(self, cable: Jack, ended: float, more: float = 0.0, flaps: Iterable[Span] = ()) -> bool:
        """Say whether this cable was out, and the device cut off long enough by it, after the request and before the
        end; `more` are the seconds that it stays cut off once the cable is in, `flaps` times that the same cable's worn
        contact lets go by itself: where one runs into the pull, the device is cut off for both together."""
        outs = [(out, back + more) for jack, out, back in self.outs if jack is cable]
        spans = joined((*outs, *flaps))
        pulled = [(out, back) for out, back in spans if any(out <= moved < back for moved, _ in outs)]
        return any(min(back, ended) - max(out, self.requested) >= LONG_ENOUGH for out, back in pulled)

    def seconds_out(self, cable: Jack, ended: float) -> float:
        """How long this cable was out in all, before the end."""
        return sum(max(0.0, min(back, ended) - out) for jack, out, back in self.outs if jack is cable)


def joined(spans: Iterable[Span]) -> list[Span]:
    """Spans that touch or overlap made one, in their order."""
    found: list[Span] = []
    for began, ended in sorted(spans):
        if found and began <= found[-1][1]:
            began, ended = found[-1][0], max(found.pop()[1], ended)
        found.append((began, ended))
    return found
