"""A simulated bench: cables, segments, and a clock that moves only while somebody waits. It is a link like any other.

Every action is an element of one queue in order of time, so the same seed gives the same run. Every physical change is
recorded; `truth` later decides from this history whether a verdict is deserved.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from math import exp
from random import Random
from types import TracebackType
from typing import Protocol, Self

from netcheck.wire.frames import padded
from netcheck.wire.link import Adapter, Carrier, Heard, Lost, News, Suspended


class Bursts:
    """A link that is bad for `share` of the time; each bad period lasts `length` seconds on average.

    It is a two-state Markov chain, sampled at times that do not decrease. The state at each sample is drawn from the
    exact transition probability, so nothing is simulated between samples.
    """

    def __init__(self, share: float, length: float, random: Random) -> None:
        """Draw the first state with the long-term probability of each state."""
        self.share, self.length = share, length
        self._random = random
        self._settles = length * (1.0 - share)  # time constant in seconds after which the chain forgets its state
        self._bad = random.random() < share
        self._at = 0.0

    def lose(self, now: float) -> bool:
        """Return whether a frame is lost now."""
        if now > self._at:
            kept = exp((self._at - now) / self._settles)
            chance = self.share + (self._bad - self.share) * kept
            self._bad = self._random.random() < chance
            self._at = now
        return self._bad


FLIGHT = 0.0002  # seconds that a request and its reply take across a segment together
START = 1000.0  # the clock's first reading: any value that is not 0


class Host(Protocol):
    """A device at the far end of a cable."""

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Handle a frame that arrived at one of the host's jacks."""

    def cable(self, jack: Jack, up: bool) -> None:
        """Handle a change of the cable of a jack: it went in or out."""


@dataclass(eq=False)
class Jack:
    """One connector with its cable to a segment.

    - `loss`: share of frames lost each way.
    - `bursts`: a loss process in which consecutive frames are lost.
    - `delay`, `jitter`: seconds added to the flight of each frame; the jitter is random up to this value, so frames can
      overtake one another.
    - `forwards_after`: seconds that the switch port blocks after link up (spanning tree).
    - `behind`: another cable that this one depends on: that of the device before it in a chain, or the uplink of a
      switch.
    - `detour`, `heals`: cables of a second path (a ring), which carries frames from `heals` seconds after this cable
      came out.
    """

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
    blocked_at_first: float = 0.0  # `forwarding_from` before the cable was first moved
    linked: bool = True  # False while the transceiver renegotiates or is reset
    moves: list[tuple[float, bool]] = field(default_factory=list)  # times the cable went in (True) or out, in order
    links: list[tuple[float, bool]] = field(default_factory=list)  # the same for `linked`

    @property
    def joined(self) -> bool:
        """Whether this cable and all cables that it depends on are in, with their links up."""
        jack: Jack | None = self
        while jack is not None and jack.plugged and jack.linked:
            jack = jack.behind
        return jack is None

    def passes(self, now: float, random: Random) -> bool:
        """Draw whether a frame passes now."""
        if self.loss and random.random() < self.loss:
            return False
        if self.bursts is not None and self.bursts.lose(now):
            return False
        above = self.behind
        if self.plugged and self.linked and now >= self.forwarding_from and (above is None or above.joined):
            return True  # the condition of `forwards` again, for speed: no method of the bench is called more often
        return bool(self.detour) and now >= self.healed_at and all(jack.forwards(now) for jack in self.detour)

    def forwards(self, now: float) -> bool:
        """Return whether the direct path carries frames: no cable is out, and the switch port does not block."""
        return (
            self.plugged
            and self.linked
            and now >= self.forwarding_from
            and (self.behind is None or self.behind.joined)
        )  # fmt: skip


@dataclass(eq=False)
class Segment:
    """Jacks that hear one another: a switch, or, with `direct`, one cable between two jacks."""

    jacks: list[Jack] = field(default_factory=list)
    direct: bool = False

    def join(self, jack: Jack) -> Jack:
        """Connect a jack to this segment and return it."""
        jack.segment = self
        self.jacks.append(jack)
        return jack


class Rig:
    """A link whose far side is simulated. `at` and `after` schedule actions, also those of a technician.

    There are two clocks. `time` is the world's clock, which all actions follow. `now()` is the link's clock, which
    stands still while the computer is suspended. They differ by the seconds of all suspends so far.
    """

    kind = "rig"
    hears_all = True
    overhears = False

    def __init__(self, seed: int, adapters: Sequence[Adapter], segments: Sequence[Segment]) -> None:
        """`segments[n]` is the segment that interface n of the station is connected to."""
        self.adapters = tuple(adapters)
        self.random = Random(seed)
        self.sent: list[tuple[float, int, bytes]] = []  # every frame that left the station: (time, adapter, frame)
        self.arrived: list[tuple[float, int, bytes]] = []  # every frame that reached the station
        self.time = START
        self.began = START
        self._asleep = 0.0  # seconds of all suspends so far
        self._waited_until = 0.0  # `now()` must reach this time although the difference of the clocks is rounded
        self._wakes_at = 0.0
        self.away: list[tuple[float, float]] = []  # spans in which the computer was suspended or sent no frame
        self._mute_until = 0.0  # no frame leaves the station before this time
        self._queue: list[tuple[float, int, Callable[[], object]]] = []
        self._ties = count()
        self._news: list[News] = []
        self._stirred = False
        self.jacks = [segment.join(Jack(adapter.mac)) for adapter, segment in zip(self.adapters, segments, strict=True)]
        self._adapter_of = {id(jack): number for number, jack in enumerate(self.jacks)}

    # The link

    def now(self) -> float:
        """Return the link's clock, in virtual seconds."""
        return max(self.time - self._asleep, self._waited_until) if self._asleep else self.time

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        """Send a frame from the station and return the time; None while no frame leaves the station."""
        if self.time < self._mute_until:
            return None
        self.sent.append((self.time, adapter, frame))
        self.transmit(self.jacks[adapter], padded(frame))
        return self.now()

    def receive(self, until: float) -> list[News]:
        """Let time pass until something arrives or the link's clock reads `until`."""
        queue = self._queue
        while not (self._news or self._stirred):
            end = until + self._asleep  # computed in the loop, because a suspend changes it
            if not queue or queue[0][0] > end:
                if self.time < end:
                    self.time = end
                self._waited_until = until
                break
            at, _, action = heapq.heappop(queue)
            if at > self.time:
                self.time = at
            action()
        news, self._news, self._stirred = self._news, [], False
        return news

    def stir(self) -> None:
        """Make `receive` return at once, as a key press does on a real terminal."""
        self._stirred = True

    def carrier(self, adapter: int = 0) -> bool:
        """Return the carrier of an adapter.

        A direct cable has carrier while both ends are in; a switch gives carrier while the station's cable is in.
        """
        jack = self.jacks[adapter]
        segment = jack.segment
        if segment is None or not (jack.plugged and jack.linked):
            return False
        return not segment.direct or any(other.joined for other in segment.jacks if other is not jack)

    def close(self) -> None:
        """Do nothing: a rig holds no system resource."""

    def __enter__(self) -> Self:
        """Return the rig."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Do nothing, as `close`."""

    # The bench

    def at(self, when: float, action: Callable[[], object]) -> None:
        """Schedule an action at a time of the world's clock."""
        heapq.heappush(self._queue, (when, next(self._ties), action))

    def after(self, seconds: float, action: Callable[[], object]) -> None:
        """Schedule an action this many seconds from now."""
        heapq.heappush(self._queue, (self.time + seconds, next(self._ties), action))

    def plug(self, jack: Jack, plugged: bool) -> None:
        """Plug a cable in or pull it; tell its host and the station."""
        if jack.plugged == plugged:
            return
        if not jack.moves:
            jack.blocked_at_first = jack.forwarding_from
        jack.moves.append((self.time, plugged))
        before = self._carriers()
        jack.plugged = plugged
        if plugged:
            jack.forwarding_from = self.time + jack.forwards_after
        else:
            jack.healed_at = self.time + jack.heals
        if jack.host is not None:
            jack.host.cable(jack, plugged)
        self._tell_carriers(before)

    def link(self, jack: Jack, linked: bool) -> None:
        """Take the link of a jack down or up while its cable stays in: a renegotiation, a reset of the adapter."""
        if jack.linked == linked:
            return
        jack.links.append((self.time, linked))
        before = self._carriers()
        jack.linked = linked
        self._tell_carriers(before)

    def _carriers(self) -> list[bool]:
        return [self.carrier(adapter) for adapter in range(len(self.adapters))]

    def _tell_carriers(self, before: list[bool]) -> None:
        for adapter, was in enumerate(before):
            up = self.carrier(adapter)
            if up != was and self.time >= self._wakes_at:
                self._news.append(Carrier(self.now(), adapter, up))

    def remove(self, adapter: int = 0) -> None:
        """Remove an interface of the station, as when a USB adapter is pulled."""
        self.plug(self.jacks[adapter], False)
        self._news.append(Carrier(self.now(), adapter, False, gone=True))

    def switch(self, on: bool, adapter: int = 0) -> None:
        """Switch an interface of the station off or on (its administrative state); its cable does not move."""
        jack = self.jacks[adapter]
        jack.links.append((self.time, on))
        jack.linked = on
        self._news.append(Carrier(self.now(), adapter, on and self.carrier(adapter), off=not on))

    def vanish(self, seconds: float, adapter: int = 0) -> None:
        """Take an interface of the station down for some seconds (an adapter reset by hand); its cable stays in."""
        jack = self.jacks[adapter]
        if jack.linked:
            jack.links.append((self.time, False))
            jack.linked = False
            self._news.append(Carrier(self.now(), adapter, False, gone=True))
            self.after(seconds, partial(self.link, jack, True))

    def mute(self, seconds: float) -> None:
        """Let no frame leave the station for some seconds: `send` returns None (queue full, no memory)."""
        self._mute_until = self.time + seconds
        self.away.append((self.time, self._mute_until))

    def lose(self, frames: int, adapter: int = 0) -> None:
        """Report that the kernel dropped frames because the receive queue was full."""
        self._news.append(Lost(self.now(), adapter, frames))

    def suspend(self, seconds: float) -> None:
        """Suspend the computer: the world's clock runs on, no frame is sent or heard, and the link's clock stands."""
        if self.time < self._wakes_at:
            return
        before = self._carriers()
        self._asleep += seconds
        self._wakes_at = self.time + seconds
        self.away.append((self.time, self._wakes_at))
        self.at(self._wakes_at, partial(self._wake, seconds, before))
        while self.time < self._wakes_at:  # run the queue here, because nobody calls `receive` meanwhile
            at, _, action = heapq.heappop(self._queue)
            self.time = max(self.time, at)
            action()

    def _wake(self, seconds: float, before: list[bool]) -> None:
        self._news.append(Suspended(self.now(), seconds))
        self._tell_carriers(before)

    def transmit(self, source: Jack, frame: bytes) -> None:
        """Carry a frame from a jack to each jack of its segment that has the destination MAC."""
        segment, now = source.segment, self.time
        if segment is None or not source.passes(now, self.random):
            return
        to = int.from_bytes(frame[:6])
        group = frame[0] & 1
        flight, jitter = now + FLIGHT + source.delay, source.jitter
        for jack in segment.jacks:
            if (group or jack.mac == to) and jack is not source:
                at = flight + jack.delay
                if jitter or jack.jitter:
                    at += self.random.uniform(0, jitter + jack.jitter)
                elif jack.host is not None and at == now + FLIGHT:
                    self._deliver(jack, frame)  # the flight of the request is added to that of the reply
                    continue
                self.at(at, partial(self._deliver, jack, frame))

    def say_to_station(self, frame: bytes, adapter: int = 0) -> None:
        """Deliver a frame of the switch port itself, for example LLDP, which bridges do not forward (IEEE 802.1AB)."""
        self._deliver(self.jacks[adapter], frame)

    def _deliver(self, jack: Jack, frame: bytes) -> None:
        if not jack.passes(self.time, self.random):
            return
        if jack.host is not None:
            jack.host.hear(jack, frame)
        elif (adapter := self._adapter_of.get(id(jack))) is not None and self.time >= self._wakes_at:
            self.arrived.append((self.time, adapter, frame))
            self._news.append(Heard(self.now(), adapter, frame))
