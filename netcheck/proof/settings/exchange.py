"""The exchange with a device: send it an echo request from a borrowed source address, and record its reaction.

`inquiry` decides which source comes next. Each source is probed first with sender 0, and used only if no host answers.
An ARP request for a source is never answered, so the device stores no false cache entry.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from random import Random

from netcheck.proof.settings.model import KEPT, CannotTell, SettingsQuestion, Sign, SourceTrial
from netcheck.wire.frames import (
    ECHO_REPLY,
    ECHO_REQUEST,
    REQUEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_request,
    echo_from_wire,
    echo_to_wire,
)
from netcheck.wire.link import Heard

INNERMOST = 30  # the closest level: the only address of level 31 is a network or broadcast address in a /30
_DRAWS = 64  # random addresses that are tried if a level has too many addresses to list
_LISTED = 8  # all addresses of a level are listed if at most this many bits vary in it


def level_of(one: int, other: int) -> int:
    """Return the number of leading bits that two addresses share; 32 for the same address."""
    return 32 - (one ^ other).bit_length()


class Sources:
    """The source addresses for echo requests. The level of a source is the number of bits it shares with the device."""

    def __init__(self, address: int, free: Callable[[int], bool], rng: Random) -> None:
        """`address` is that of the device. `free` returns whether neither the plan nor a survey assigns an address."""
        self.address, self._free, self._rng = address, free, rng
        self.used: dict[int, float] = {}  # source -> time of its last use
        self.excluded: set[int] = set()  # a host has these addresses, or the device asks for them by itself

    def fresh(self, level: int) -> int | None:
        """Return a free address of this level that has not been used, or None."""
        for address in self._candidates(level):
            if address not in self.used and address not in self.excluded and self._fit(address):
                return address
        return None

    def oldest(self, level: int) -> int | None:
        """Return the address of this level that was used longest ago, or None."""
        used = [
            address
            for address in self.used
            if level_of(address, self.address) == level and address not in self.excluded
        ]
        return min(used, key=self.used.__getitem__, default=None)

    def rested(self, level: int) -> int:
        """Return this level or a closer one: the closest with an unused source, else the one used longest ago."""
        closer = range(INNERMOST, level - 1, -1)
        oldest = {one: self.used[source] for one in closer if (source := self.oldest(one)) is not None}
        fresh = next((one for one in closer if self.fresh(one) is not None), None)
        return fresh if fresh is not None else min(oldest, key=oldest.__getitem__, default=level)

    def _candidates(self, level: int) -> Iterator[int]:
        bits = 31 - level
        flipped = (self.address ^ 1 << bits) >> bits << bits
        if bits <= _LISTED:
            yield from self._rng.sample(range(flipped, flipped + (1 << bits)), 1 << bits)
        else:
            for _ in range(_DRAWS):
                yield flipped | self._rng.getrandbits(bits)

    def _fit(self, address: int) -> bool:
        """Return whether an address is free, valid for a host (RFC 1122 section 3.2.1.3), and neither the network nor
        the broadcast address of any prefix of up to 30 bits.
        """
        first = address >> 24
        return address & 3 in (1, 2) and 0 < first < 224 and first != 127 and self._free(address)


LISTEN = 2.0  # seconds of listening to the device's own ARP requests before the first echo request
DEAF = 4.0  # seconds of waiting before that if it does not answer echo: earlier echo requests cause ARP for 3 s
SILENT = 0.4  # seconds within which the owner of a source answers
WINDOW = 1.3  # seconds to wait for the device's ARP request: it repeats it after 1 s (RFC 1122 section 2.3.2.1)
PROMPT = 0.1  # an ARP request within these seconds, or twice its slowest, is caused by the echo request just sent
HOLD = 0.4  # seconds after an ARP request for another address within which the request for the source may still come
REUSE = 4.0  # seconds until a source may be used again: a shorter time gave wrong results (measured)
CANDIDATES, MOST = 5, 60  # sources that are probed until no host answers for one, and echo requests in all
Steps = Generator[None, None, None]


class Exchange:
    """The frames of one inquiry. `out` holds the frames to send. The caller sets `now`, in seconds."""

    def __init__(self, question: SettingsQuestion, rng: Random) -> None:
        """Start without requests."""
        self.question = question
        self.sources = Sources(question.address, question.free, rng)
        self.now = 0.0
        self.out: list[bytes] = []
        self.chatter: set[int] = set()  # addresses that the device asks for by itself
        self.asked = 0
        self._identifier, self._token = rng.randrange(1, 0x10000), rng.randbytes(16)
        self._undisturbed = False  # no far source was used yet: ARP requests of the device are its own
        self._candidate = 0  # the source that is being probed
        self._owned = False  # a host has the candidate
        self._trial: SourceTrial | None = None
        self._far_at = -REUSE  # time of its last ARP request for another address
        self._slowest = 0.0  # longest seconds so far from echo request to ARP request

    # Received frames

    def hear(self, heard: Heard) -> bool:
        """Read a frame; return whether it is a reply to a borrowed source, which no other part of the run needs."""
        if heard.adapter:
            return False
        if (arp := arp_from_wire(heard.frame)) is not None:
            self._hear_arp(arp, heard.at)
            return False
        echo = echo_from_wire(heard.frame)
        if (
            echo is None
            or echo.type != ECHO_REPLY
            or echo.identifier != self._identifier
            or echo.payload != self._token
        ):
            return False
        self._hear_echo(echo)
        return True

    def _hear_arp(self, arp: Arp, at: float) -> None:
        if arp.sender_mac == self.question.station_mac or not arp.sender_ip:
            return
        if arp.sender_ip == self._candidate:
            self._owned = True
        if arp.sender_mac != self.question.mac or arp.op != REQUEST or arp.target_ip == arp.sender_ip:
            return
        if self._trial is not None and at >= self._trial.sent:
            self._note(self._trial, arp.target_ip, at)
        elif self._undisturbed and len(self.chatter) < KEPT and not self._ours(arp.target_ip):
            self.chatter.add(arp.target_ip)

    def _ours(self, target: int) -> bool:
        """Return whether this station may be the cause of an ARP request for this address."""
        return target in self.sources.used or target in self.question.ours

    def _note(self, trial: SourceTrial, target: int, at: float) -> None:
        if target == trial.source:
            trial.inside = at if trial.inside is None else trial.inside
            return
        pending = at - self.sources.used.get(target, -REUSE) < REUSE  # an earlier source may be the cause
        if not (pending or target in self.chatter or target in self.question.ours):
            trial.note(target, at)
            self._far_at = at

    def _hear_echo(self, echo: Echo) -> None:
        trial = self._trial
        if trial is None or echo.target_ip != trial.source or echo.source != self.question.mac:
            return
        if echo.destination != self.question.station_mac:
            trial.away = echo.destination
        elif trial.inside is None:
            trial.reflex = True

    # Requests

    def listen(self) -> Steps:
        """Listen to the ARP requests that the device sends by itself."""
        if self.question.station is None:
            yield from self._pause(DEAF)
        self._undisturbed = True
        yield from self._pause(LISTEN)
        self.sources.excluded |= self.chatter

    def ask(self, level: int) -> Generator[None, None, SourceTrial]:
        """Send one echo request from an unused source of this level and wait for the reaction.

        Wait first until a pending ARP request of the device has timed out: until then it does not send another. Raises
        CannotTell if there is no such source, or after MOST echo requests.
        """
        yield from self._pause(self._far_at + REUSE - SILENT - self.now)
        source = yield from self._unowned(level)
        self.asked += 1
        if self.asked > MOST:
            raise CannotTell(f"{MOST} echo requests did not settle it")
        trial = self._trial = SourceTrial(source, self.now, max(PROMPT, 2 * self._slowest))
        self.sources.used[source] = self.now
        self.out.append(self._echo_from(source))
        yield
        while trial.inside is None and self.now < trial.sent + self._patience(trial):
            yield
        self._undisturbed = self._undisturbed and trial.inside is not None
        if trial.inside is not None:
            self._slowest = max(self._slowest, trial.inside - trial.sent)
        self._trial = None
        return trial

    def _echo_from(self, source: int) -> bytes:
        to, mac = self.question.mac, self.question.station_mac
        number = self.asked
        echo = Echo(to, mac, source, self.question.address, 64, ECHO_REQUEST, self._identifier, number, self._token)
        return echo_to_wire(echo, number)

    def _patience(self, trial: SourceTrial) -> float:
        """Return the seconds to wait for a reaction.

        They are fewer once it asked for another address, but long enough for a request for the source.
        """
        return WINDOW if trial.sign is Sign.NOTHING else min(WINDOW, max(HOLD, 3 * self._slowest))

    def _unowned(self, level: int) -> Generator[None, None, int]:
        """Return a source of this level for which no host answers; if all were used, the one used longest ago."""
        for _ in range(CANDIDATES):
            source = self.sources.fresh(level)
            if source is None:
                source = self.sources.oldest(level)
                if source is None:
                    break
                yield from self._pause(self.sources.used[source] + REUSE - self.now)
            self._candidate, self._owned = source, False
            self.out.append(arp_request(self.question.station_mac, 0, source))
            yield from self._pause(SILENT)
            if not self._owned:
                return source
            self.sources.excluded.add(source)
        raise CannotTell(f"there is no unused address to ask from that shares {level} bits with its own")

    def _pause(self, seconds: float) -> Steps:
        until = self.now + seconds
        while self.now < until:
            yield
