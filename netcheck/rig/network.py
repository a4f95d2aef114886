"""The simulated bench: cables, segments and a clock that only moves when somebody waits. It is a link like any other.

Everything that happens is an entry in one time-ordered queue; the same seed gives the same run.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from random import Random
from types import TracebackType
from typing import Protocol, Self

from netcheck.rig.loss import Bursts
from netcheck.wire.frames import padded
from netcheck.wire.link import Carrier, Heard, Way

FLIGHT = 0.0001  # seconds a frame takes across a segment


class Host(Protocol):
    """What sits at the far end of a cable."""

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Take a frame that arrived at one of its jacks."""

    def cable(self, jack: Jack, up: bool) -> None:
        """Notice that a jack's cable came in or out."""


@dataclass(eq=False)
class Jack:
    """One end of a cable at a segment. `loss` is the share of frames lost each way, `bursts` are times in which all of
    them are; `delay` seconds are added each way, and up to `jitter` more, so that frames overtake one another.
    `forwards_after` is how long a switch port blocks after the cable came in (spanning tree). `behind` is another
    cable that this one depends on: the chain it hangs in, or the trunk between two switches. `detour` are cables that
    lead to it the other way round a ring, which is used from `heals` seconds after this cable came out."""

    mac: int
    host: Host | None = None
    plugged: bool = True
    loss: float = 0.0
    delay: float = 0.0
    forwards_after: float = 0.0
    forwarding_from: float = 0.0
    segment: Segment | None = None
    behind: Jack | None = None
    bursts: Bursts | None = None
    jitter: float = 0.0
    detour: tuple[Jack, ...] = ()
    heals: float = 0.0
    healed_at: float = 0.0

    @property
    def joined(self) -> bool:
        """This cable and all that it depends on are in."""
        jack: Jack | None = self
        while jack is not None and jack.plugged:
            jack = jack.behind
        return jack is None

    def passes(self, now: float, random: Random) -> bool:
        """Say whether a frame gets through now."""
        if self.loss and random.random() < self.loss:
            return False
        if self.bursts is not None and self.bursts.lose(now):
            return False
        if self.forwards(now):
            return True
        return bool(self.detour) and now >= self.healed_at and all(jack.forwards(now) for jack in self.detour)

    def forwards(self, now: float) -> bool:
        """Say whether this way leads through: no cable is out, and the switch port does not block."""
        return self.plugged and now >= self.forwarding_from and (self.behind is None or self.behind.joined)


@dataclass(eq=False)
class Segment:
    """Jacks that hear one another: a switch, or, with `direct`, one cable between two jacks."""

    jacks: list[Jack] = field(default_factory=list)
    direct: bool = False

    def join(self, jack: Jack) -> Jack:
        """Plug a jack in here."""
        jack.segment = self
        self.jacks.append(jack)
        return jack


class Rig:
    """A link whose far side is simulated. `at` and `after` put actions on the clock, also for the technician's hand."""

    kind = "rig"
    hears_all = True
    overhears = False

    def __init__(self, seed: int, ways: Sequence[Way], segments: Sequence[Segment]) -> None:
        """`segments[n]` is what way n of the station is plugged into."""
        self.ways = tuple(ways)
        self.random = Random(seed)
        self.sent: list[tuple[float, int, bytes]] = []  # every frame the station sent
        self._now = 1000.0
        self._queue: list[tuple[float, int, Callable[[], None]]] = []
        self._ties = count()
        self._heard: list[Heard | Carrier] = []
        self._stirred = False
        self.jacks = [segment.join(Jack(way.mac)) for way, segment in zip(self.ways, segments, strict=True)]

    # The link

    def now(self) -> float:
        """Virtual seconds."""
        return self._now

    def send(self, frame: bytes, way: int = 0) -> float:
        """Send a frame from the station."""
        self.sent.append((self._now, way, frame))
        self.transmit(self.jacks[way], padded(frame))
        return self._now

    def receive(self, until: float) -> list[Heard | Carrier]:
        """Let time pass until something arrives or `until` is reached."""
        queue = self._queue
        while not (self._heard or self._stirred):
            if not queue or queue[0][0] > until:
                self._now = max(self._now, until)
                break
            at, _, action = heapq.heappop(queue)
            if at > self._now:
                self._now = at
            action()
        heard, self._heard, self._stirred = self._heard, [], False
        return heard

    def stir(self) -> None:
        """Let `receive` return at once, as a pressed key does at a real keyboard."""
        self._stirred = True

    def carrier(self, way: int = 0) -> bool:
        """A direct cable has carrier while both ends are in; a switch always gives it to a cable that is in."""
        jack = self.jacks[way]
        segment = jack.segment
        if segment is None or not jack.plugged:
            return False
        others = [other for other in segment.jacks if other is not jack]
        return not segment.direct or any(other.joined for other in others)

    def close(self) -> None:
        """Nothing to give back."""

    def __enter__(self) -> Self:
        """Return the rig."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing to give back."""

    # The bench

    def at(self, when: float, action: Callable[[], None]) -> None:
        """Do something at a virtual time."""
        heapq.heappush(self._queue, (when, next(self._ties), action))

    def after(self, seconds: float, action: Callable[[], None]) -> None:
        """Do something so many seconds from now."""
        self.at(self._now + seconds, action)

    def plug(self, jack: Jack, plugged: bool) -> None:
        """Put a cable in or pull it, and let its host and the station notice."""
        if jack.plugged == plugged:
            return
        before = [self.carrier(way) for way in range(len(self.ways))]
        jack.plugged = plugged
        if plugged:
            jack.forwarding_from = self._now + jack.forwards_after
        else:
            jack.healed_at = self._now + jack.heals
        if jack.host is not None:
            jack.host.cable(jack, plugged)
        for way, was in enumerate(before):
            up = self.carrier(way)
            if up != was:
                self._heard.append(Carrier(self._now, way, up))

    def remove(self, way: int = 0) -> None:
        """Take an interface of the station away, as when an adapter is pulled."""
        self.jacks[way].plugged = False
        self._heard.append(Carrier(self._now, way, False, gone=True))

    def transmit(self, source: Jack, frame: bytes) -> None:
        """Carry a frame from a jack to all it is meant for."""
        segment, now = source.segment, self._now
        if segment is None or not source.passes(now, self.random):
            return
        to = int.from_bytes(frame[:6])
        jacks = segment.jacks
        if not to >> 40 & 1:  # not to a group
            jacks = [jack for jack in jacks if jack.mac == to]
        flight, jitter = now + FLIGHT + source.delay, source.jitter
        for jack in jacks:
            if jack is not source:
                at = flight + jack.delay
                if jitter or jack.jitter:
                    at += self.random.uniform(0, jitter + jack.jitter)
                self.at(at, partial(self._deliver, jack, frame))

    def _deliver(self, jack: Jack, frame: bytes) -> None:
        if not jack.passes(self._now, self.random):
            return
        if jack.host is not None:
            jack.host.hear(jack, frame)
        elif jack in self.jacks:
            self._heard.append(Heard(self._now, self.jacks.index(jack), frame))
