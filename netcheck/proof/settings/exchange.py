"""Asking a device from a borrowed source and noting what it does; the search that decides what to ask is `settings`.

A source is asked for first, with sender 0, and used only where nobody answers. Nobody's ARP is ever answered for it, so
the device learns nothing false.
"""

from __future__ import annotations

from collections.abc import Generator
from random import Random

from netcheck.proof.settings.sources import Sources
from netcheck.proof.settings.trial import KEPT, CannotTell, SettingsQuestion, Sign, SourceTrial
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

LISTEN = 2.0  # seconds to hear what it asks for by itself, before anything is asked of it
DEAF = 4.0  # seconds before that, where it left echoes unanswered: its questions about those take 3 s to end
SILENT = 0.4  # seconds in which the owner of a source would answer for it
WINDOW = 1.3  # seconds for its question: a pending one is repeated after one second (RFC 1122 section 2.3.2.1)
PROMPT = 0.1  # seconds, or twice its slowest, in which a question is surely about the echo request just sent
HOLD = 0.4  # seconds after a question for another address in which the one for the source may still come
REUSE = 4.0  # seconds until an address may be asked about again: less gave wrong answers (measured)
CANDIDATES, MOST = 5, 60  # sources tried until one is silent, and echo requests in all
Steps = Generator[None, None, None]


class Exchange:
    """The wire's side of an inquiry: `out` holds frames to send, `now` is set by whoever drives it."""

    def __init__(self, question: SettingsQuestion, rng: Random) -> None:
        """Nothing is asked yet."""
        self.question = question
        self.sources = Sources(question.address, question.free, rng)
        self.now = 0.0
        self.out: list[bytes] = []
        self.chatter: set[int] = set()  # what the device asks for by itself
        self.asked = 0
        self._identifier, self._token = rng.randrange(1, 0x10000), rng.randbytes(16)
        self._quiet = False  # no far address has been asked from: what the device asks for is its own affair
        self._candidate = 0  # a source that is being asked for, and whether somebody has it
        self._owned = False
        self._trial: SourceTrial | None = None
        self._far_at = -REUSE  # when it asked for somebody else
        self._slowest = 0.0  # the device's longest way to a question, in seconds

    # What is heard

    def hear(self, heard: Heard) -> bool:
        """Take a frame; say whether it was an answer to a borrowed source, and means nothing to anybody else."""
        if heard.way:
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
        elif self._quiet and len(self.chatter) < KEPT and not self._ours(arp.target_ip):
            self.chatter.add(arp.target_ip)

    def _ours(self, target: int) -> bool:
        """An address that it may ask for because of us."""
        return target in self.sources.used or target in self.question.ours

    def _note(self, trial: SourceTrial, target: int, at: float) -> None:
        if target == trial.source:
            trial.inside = at if trial.inside is None else trial.inside
            return
        pending = at - self.sources.used.get(target, -REUSE) < REUSE  # of an earlier source: it may be the gateway too
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

    # What is asked

    def listen(self) -> Steps:
        """Hear what the device asks for by itself."""
        if self.question.station is None:
            yield from self._pause(DEAF)
        self._quiet = True
        yield from self._pause(LISTEN)
        self.sources.spoken_for |= self.chatter

    def ask(self, level: int) -> Generator[None, None, SourceTrial]:
        """Send one echo request from a silent source of this level, and wait for what the device does; CannotTell where
        there is no such source, or enough was asked. Whom the device asks for already it may not ask for anew: it is
        first given the time to give up."""
        yield from self._pause(self._far_at + REUSE - SILENT - self.now)
        source = yield from self._silent(level)
        self.asked += 1
        if self.asked > MOST:
            raise CannotTell(f"{MOST} questions did not settle it")
        trial = self._trial = SourceTrial(source, self.now, max(PROMPT, 2 * self._slowest))
        self.sources.used[source] = self.now
        self.out.append(self._echo_from(source))
        yield
        while trial.inside is None and self.now < trial.sent + self._patience(trial):
            yield
        self._quiet = self._quiet and trial.inside is not None
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
        """A sign of the outside ends the wait early, but not before the source would surely have been asked for."""
        return WINDOW if trial.sign is Sign.NOTHING else min(WINDOW, max(HOLD, 3 * self._slowest))

    def _silent(self, level: int) -> Generator[None, None, int]:
        """A source of this level that nobody answers for; where all were used, the first of them once more."""
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
            self.sources.spoken_for.add(source)
        raise CannotTell(f"there is no silent address to ask from that shares {level} bits with its own")

    def _pause(self, seconds: float) -> Steps:
        until = self.now + seconds
        while self.now < until:
            yield
