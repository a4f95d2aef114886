"""Finds the mask and the gateway of a device on a direct cable by the ARP requests that it sends in order to reply.

They cannot be read: RFC 6918 removed the address mask messages. But if an echo request comes from a source inside the
device's own prefix, the device asks for that source by ARP. If the source is outside the prefix, it asks for its
gateway (RFC 1122 section 3.3.1.1), or does nothing if it has none. A bisection over the number of bits that a free
source shares with the device's address finds the prefix length. An ambiguous result is `cannot tell`.

No I/O and no clock: frames and the time go in, frames come out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Set
from dataclasses import replace
from random import Random

from netcheck.addr import mac_text, quad
from netcheck.proof.settings.exchange import INNERMOST, Exchange, Steps, level_of
from netcheck.proof.settings.model import CannotTell, SettingsFound, SettingsQuestion, Sign, SourceTrial
from netcheck.proof.verdict.silence_rule import misses_needed
from netcheck.text import listed
from netcheck.wire.link import Heard

CONFIRMED = 2  # equal reactions that settle a level
SILENCES = 3  # missing reactions that settle a level, at least
TRIES = 8  # echo requests for each level, at most
ENOUGH = 15  # probes with known results before a missing reaction counts: then four of them are evidence
FLOOR = 7  # the farthest level: a device that takes it for on-link takes every address for on-link


class Inquiry:
    """The search for the mask and gateway of one device. Call `hear` and `turn` until `found` is set.

    The prefix has more bits than the level `_outside`, and at most as many as the level `_inside`.
    """

    def __init__(self, question: SettingsQuestion, rng: Random) -> None:
        """Start without requests."""
        self.found: SettingsFound | None = None
        self._question = question
        self._wire = Exchange(question, rng)
        self._gateways: Counter[int] = Counter()
        self._others: set[int] = set()  # addresses that it asked for so late that the cause is not certain
        self._away: set[int] = set()  # MACs that it sent replies to without asking
        self._inside = INNERMOST + 1 if question.station is None else level_of(question.address, question.station)
        self._floor = min(FLOOR, question.planned - 1)
        self._outside = self._floor - 1
        self._seen_inside: int | None = None  # a level that unused sources confirmed as inside
        self._by_silence = False  # a level counts as outside only because reactions were missing
        self._silence_holds = False  # afterwards the device reacted as before, so missing reactions count
        self._probed, self._answered = question.probed, question.answered
        self._run = self._search()

    @property
    def asked(self) -> int:
        """The number of echo requests sent so far."""
        return self._wire.asked

    def hear(self, heard: Heard) -> bool:
        """Read a frame; return whether it is a reply to this inquiry, which no other part of the run needs."""
        return self._wire.hear(heard)

    def turn(self, now: float) -> list[bytes]:
        """Continue, and return the frames to send now."""
        self._wire.now = now
        if self.found is None:
            try:
                next(self._run)
            except StopIteration:
                self.found = replace(self._gateway(), length=self._inside)
            except CannotTell as why:
                self.found = replace(self._gateway(), mask_why=str(why))
        out, self._wire.out = self._wire.out, []
        return out

    def _search(self) -> Steps:
        planned = self._question.planned
        if not 0 < planned <= INNERMOST:
            raise CannotTell(f"a /{planned} cannot be told by behaviour")
        yield from self._wire.listen()
        if self._probed < ENOUGH:
            yield from self._measure_answers()
        if self._open(planned):
            yield from self._settle(planned)
        if self._seen_inside is None:
            yield from self._settle(self._closest())
        if self._inside > INNERMOST:
            raise CannotTell(
                f"it asks for no free address of its own segment: echo ignored, or longer than /{INNERMOST}"
            )
        while (level := self._next()) is not None:
            yield from self._settle(level)
        if self._inside <= self._floor:
            raise CannotTell("it takes every address for its own segment")
        yield from self._confirm()
        if self._by_silence:
            yield from self._still_there()

    def _open(self, level: int) -> bool:
        """Return whether a level is not settled yet and has an unused source."""
        return self._outside < level < self._inside and self._wire.sources.fresh(level) is not None

    def _closest(self) -> int:
        """Return the closest level that has a source: if it is outside the prefix, all levels are."""
        sources = self._wire.sources
        for level in range(min(INNERMOST, self._inside), self._outside, -1):
            if sources.fresh(level) is not None or sources.oldest(level) is not None:
                return level
        raise CannotTell("there is no free address near it to ask from")

    def _measure_answers(self) -> Steps:
        """Measure how reliably the device answers: ask from near sources, then from farther ones that are inside."""
        yield from self._settle(self._closest())
        inside: Counter[int] = Counter()
        outward = True
        while self._inside <= INNERMOST and self._probed < ENOUGH:
            farther = next(filter(self._open, range(self._inside - 1, self._outside, -1)), None) if outward else None
            level = self._wire.sources.rested(self._inside) if farther is None else farther
            trial = yield from self._wire.ask(level)
            inside[level] += trial.sign is Sign.INSIDE
            if farther is not None and trial.sign is not Sign.INSIDE:
                outward = False
                continue
            self._probed, self._answered = self._probed + 1, self._answered + (trial.sign is Sign.INSIDE)
            if inside[level] == CONFIRMED:
                self._inside = self._seen_inside = min(level, self._inside)

    def _next(self) -> int | None:
        """Return the level to ask next, None at the end.

        It is the level just outside the plan's prefix, else the middle of the open levels.
        """
        if self._outside >= self._inside:
            raise CannotTell("it answers this station and no other address")
        if self._inside - self._outside == 1:
            return None
        middle = (self._inside + self._outside) // 2
        ordered = sorted(range(self._outside + 1, self._inside), key=lambda level: abs(level - middle))
        level = next((level for level in (self._question.planned - 1, *ordered) if self._open(level)), None)
        if level is None:
            raise CannotTell(
                f"it is one of /{self._outside + 1} to /{self._inside}, with no free address between to ask from"
            )
        return level

    def _settle(self, level: int) -> Steps:
        """Ask from sources of one level until the reactions agree. Raises CannotTell if they do not."""
        signs: Counter[Sign] = Counter()
        for _ in range(TRIES):
            trial = yield from self._wire.ask(level)
            signs[trial.sign] += 1
            if trial.sign is not Sign.INSIDE:
                self._note_far(trial)
            away = signs[Sign.GATEWAY] + signs[Sign.AWAY]
            if signs[Sign.REFLEX] == CONFIRMED:
                raise CannotTell("it answers without asking for the source")
            if signs[Sign.INSIDE] == CONFIRMED:
                self._inside = self._seen_inside = level
                self._probed, self._answered = self._probed + signs.total(), self._answered + CONFIRMED
                return
            if not signs[Sign.INSIDE] and (away == CONFIRMED or signs[Sign.NOTHING] >= self._silences()):
                self._outside = level
                self._by_silence |= away < CONFIRMED
                return
        raise CannotTell("its reactions differ from one try to the next, or too many are lost")

    def _silences(self) -> int:
        """Return how many missing reactions in a row chance does not explain, after the answers so far."""
        return max(SILENCES, misses_needed(self._probed, self._answered))

    def _note_far(self, trial: SourceTrial) -> None:
        self._gateways.update(trial.asked)
        self._others |= trial.late
        self._away.update(() if trial.away is None else (trial.away,))

    def _confirm(self) -> Steps:
        """Ask again from far sources if the device asked for an address only once: it asks for a gateway again."""
        for _ in range(SILENCES):
            if max(self._gateways.values(), default=0) >= CONFIRMED or not (self._gateways or self._others):
                return
            trial = yield from self._wire.ask(self._outside)
            if trial.sign is Sign.INSIDE:
                raise CannotTell("its reactions differ from one try to the next")
            self._note_far(trial)

    def _still_there(self) -> Steps:
        """Check that the device still reacts as before; else its missing reactions do not count."""
        if self._seen_inside is None:
            raise CannotTell("it asks for no free address: echo ignored, or answered to this station alone")
        for _ in range(SILENCES):
            trial = yield from self._wire.ask(self._seen_inside)
            if trial.sign is Sign.INSIDE:
                self._silence_holds = True
                return
        raise CannotTell("it fell silent while it was asked")

    def _gateway(self) -> SettingsFound:
        """Return the gateway, or why it cannot be told."""
        sure = [address for address, times in self._gateways.items() if times >= CONFIRMED]
        if len(sure) == 1:
            return SettingsFound(gateway=sure[0])
        if asked := self._gateways.keys() | self._others:
            return SettingsFound(gateway_why=f"it asks for {_listed(asked)}, but too rarely or too late for a gateway")
        if self._away:
            macs = listed([mac_text(mac) for mac in sorted(self._away)])
            return SettingsFound(gateway_why=f"it sends to {macs}, which it remembers, without asking")
        if not self._silence_holds:
            return SettingsFound(gateway_why="it was not seen to answer a far address")
        if not self._question.overhears:
            return SettingsFound(gateway_why="it is silent to far addresses, or sends to a MAC that it remembers")
        if strange := self._wire.chatter - self._question.peers:
            return SettingsFound(gateway_why=f"it asks for {_listed(strange)} all the time")
        return SettingsFound(none_set=True)


def _listed(addresses: Set[int]) -> str:
    return listed([quad(address) for address in sorted(addresses)])
