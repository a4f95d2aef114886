"""The state of one port while it is being proven, and the measures that are computed from its probes."""

from __future__ import annotations

from itertools import takewhile
from math import prod
from statistics import median

from netcheck.proof.events import Action, What
from netcheck.proof.port.answers import WINDOW, PortAnswers
from netcheck.proof.port.pull import Pull
from netcheck.proof.probing.address_state import ARP, EVER, MANY, AddressState, Stage
from netcheck.proof.result import Phase, PhaseResult, Rtt, Tally
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.observation import LEAST_ARP, Silence
from netcheck.proof.verdict.silence_rule import (
    ARP_EVERY,
    LEAST_ARP_OUT,
    TOO_FEW,
    Confirmed,
    at_most,
    enough_missed,
    figure,
    seconds_needed,
    seconds_of_misses,
)

ASKED_BEYOND = 3  # requests through each other interface of this computer while a direct cable is out
LOST = 1e-4  # a control has fallen silent if its misses in a row have a chance below this
WARN_EVERY = 5.0  # seconds between two events of the same warning
MOST_MORE = 3  # additional pulls after silences that nobody asked for or requests without a silence, at most


class PortState(PortAnswers):
    """The state of one port. The phases set the fields, and `observe` converts them into the judge's input.

    A time is EVER until it is known.
    """

    def __init__(self, run: RunState, target: Target, keep: int = MANY) -> None:
        """Start without requests; keep the newest `keep` probes."""
        super().__init__(run, target, keep)
        self.ended = EVER  # sightings up to here count
        self.drops, self.disturbances = run.drops, run.disturbances
        self.plugged = run.linked  # time of the last link up: on a direct cable, when this port's cable came in
        self.forged = run.scheduler.matcher.forged
        self.evidence: dict[str, str] = {}  # other facts about the device: name -> text
        self.connector = "assumed"
        self.not_moved = False  # the cable was to be moved to this connector, and there is no evidence that it was
        # Phase in
        self.head_start = 0.0  # seconds of requests before its turn, while the last port came back
        self.first_after = 0.0  # seconds to the first answer
        self.negatives: list[AddressState] = []  # addresses that nobody should own, as far as they were asked
        self.anonymous: int | None = None  # the MAC that answered only the last requests, which have sender 0
        self.gap = 0.0  # the longest time between two answers in phase in
        self.unanswered = 0  # requests to pull after which the port did not fall silent in time
        self.requests_at_least = 2  # if nobody confirms a movement, so many silences must answer a request in time
        self.was_seen = False  # on a walk: the port fell silent before, and nobody had asked
        # Pulls
        self.pull: Pull | None = None  # the pull in progress, or the last one
        self.silences: list[Silence] = []  # the silences that count
        self.latest: Silence | None = None  # the silence of the pull in progress, once it is over
        self.back_from = EVER  # time of the first return from a pull that counts
        self.limit = run.options.luck  # limit of the chance of a silence
        self.confirmed_return = False  # the operator confirmed that the cable is in again
        self.fell_before = False
        self.stayed = self.unconfirmed = self.steady = False
        self.instead: tuple[str, ...] = ()
        self.fallen: tuple[str, ...] = ()
        self.together: list[AddressState] = []  # controls that fell silent at the same time in the newest silence
        self.chained: set[AddressState] = set()  # controls that fell silent and returned together with it before
        self.chained_twice: tuple[str, ...] = ()
        self.held = 0  # controls that went on answering
        self._lost_before: int | None = None  # frames that were dropped unread before the cable was first out
        # The end
        self.voids = 0
        self.cut = ""
        self.void = self.skipped = False
        self.results: dict[Phase, PhaseResult] = {}
        self._done = {Phase.OUT: PhaseResult(), Phase.BACK: PhaseResult()}  # of earlier pulls
        self._warned: dict[str, float] = {}

    @property
    def phase(self) -> Phase:
        """The phase in progress."""
        if self.pull is None or not self.pull.out:
            return Phase.IN
        return Phase.OUT if self.pull.plug_at == EVER else Phase.BACK

    @property
    def silent_for(self) -> float:
        """Seconds since the last answered probe before the silence; 0 if the cable is not out."""
        return 0.0 if self.pull is None or not self.pull.out else max(0.0, self.run.now - self.pull.silent_from)

    def set_stage(self, stage: Stage) -> None:
        """Set the stage that the next probes are stamped with."""
        for entry in (self.entry, *self.beyond):
            entry.stage = stage

    def ask_no_more_anonymously(self) -> None:
        """Stop the requests without a sender address."""
        for entry in (self.entry, *self.beyond):
            entry.anonymous_left = 0

    def say(self, what: What, text: str, until: float | None = None) -> None:
        """Emit an event of this port."""
        self.run.say(what, self.target.subject, text, until)

    def ask(self, action: Action, text: str, until: float | None = None) -> None:
        """Ask the technician to do something with this port's cable."""
        self.run.ask(action, self.target.subject, text, until)

    def warn(self, text: str, *, holds: bool = False) -> None:
        """Warn the operator; the same warning is emitted every five seconds at most.

        *holds*: the warning is true now, and the caller renews it at every step while it is true. Any other warning is
        the reason of a request.
        """
        silently = self.run.now - self._warned.get(text, -EVER) <= WARN_EVERY
        if not silently:
            self._warned[text] = self.run.now
        self.run.warn(self.target.subject, text, holds=holds, silently=silently)

    def pressed(self) -> bool:
        """Take a press of Enter; return whether there was one.

        It also confirms the connector, unless the cable had to be moved to it: this needs evidence (`connector.move`).
        """
        if not self.run.take_enter():
            return False
        if not (self.target.ordinal or self.not_moved):
            self.connector = "operator"
        return True

    # Measures of phase out

    @property
    def lost_frames(self) -> int:
        """Frames dropped unread since the cable was first out. A repeated phase does not clear them."""
        return 0 if self._lost_before is None else self.run.lost_frames - self._lost_before

    def open_out(self, cable: str) -> None:
        """Begin phase out of the pull in progress. `cable` is the evidence: "carrier", "operator" or "inferred"."""
        pull, now = self.pull, self.run.now
        assert pull is not None
        last = self.last_sign()
        if not pull.out:
            pull.answered_before = last
            pull.out_from = now if cable != "inferred" else last + 1e-6
            if self._lost_before is None:
                self._lost_before = self.run.lost_frames
            self.away.append([last, EVER])
            self.entry.restamp(last + 1e-6, Stage.OUT)
            if Phase.IN not in self.results or not self.silences:
                self.gap = self.longest_gap(pull.out_from)
                self.close_in(pull.out_from)
        pull.cable, self.steady = cable, False
        if cable == "operator":
            pull.entered_at = now
        self.begin_silence(now)
        self.set_stage(Stage.OUT)
        self.ask_no_more_anonymously()

    def begin_silence(self, at: float) -> None:
        """Begin the silence that counts, at *at*; it begins again if the address answers."""
        pull = self.pull
        assert pull is not None
        pull.counted_from = at
        pull.silent_from = max(self.last_sign(), pull.answered_before) if pull.cable != "carrier" else at
        if pull.cable != "carrier":
            self.away[-1][0] = pull.silent_from
        pull.confirmed = self._confirmed(pull)
        pull.needed = seconds_needed(pull.confirmed, self.results[Phase.IN], self.gap, self.run.options.out_for)
        pull.misses_take = 0.0
        if pull.cable != "carrier":
            pull.misses_take = seconds_of_misses(
                pull.confirmed, self.results[Phase.IN], self.searched(), self.limit_of(pull)
            )

    def _confirmed(self, pull: Pull) -> Confirmed:
        if pull.cable == "carrier":
            return Confirmed.CARRIER
        if pull.requested is None:
            return Confirmed.NOTHING if self.run.options.once else Confirmed.FIRST
        if pull.late:
            return Confirmed.NOTHING
        return Confirmed.REQUEST if self.run.options.hands_free else Confirmed.OPERATOR  # who must confirm the return

    def limit_of(self, pull: Pull) -> float:
        """Return the limit for the chance of this silence.

        If several silences are needed, their limits multiply to the limit of the port: each has an equal share, and the
        last one has what the others left.
        """
        if pull.confirmed is Confirmed.REQUEST:
            shown = prod(
                figure(one.confirmed, self.results[Phase.IN], one.missed, one.searched) for one in self.silences
            )
            part = float(self.limit ** (1 / self.requests_at_least))
            return max(part, min(1.0, self.limit / shown)) if self.is_last_pull() and self.silences else part
        return float(self.limit**0.5) if pull.confirmed is Confirmed.FIRST else self.limit

    def searched(self) -> tuple[int, int]:
        """Return the number of probes (ARP, echo) among which misses in a row were searched for.

        These are the probes since the request if the beginning of the silence was inferred, those since Enter if the
        silence began again, and all since the search began if nobody asked for a pull; else one of each kind.
        """
        pull = self.pull
        assert pull is not None
        if pull.cable == "carrier" or (pull.cable == "operator" and pull.counted_from == pull.out_from):
            return 1, 1
        if pull.requested is None:
            arp, echo = pull.asked_before
            return max(1, self.entry.asked_arp - arp), max(1, self.entry.asked - self.entry.asked_arp - echo)
        since = pull.requested if pull.cable == "inferred" else pull.out_from
        probes = [probe.kind for probe in takewhile(lambda probe: probe.sent >= since, reversed(self.entry.probes))]
        arp = probes.count(ARP)
        return max(1, arp), max(1, len(probes) - arp)

    def missed(self) -> tuple[Tally, Tally]:
        """Return the tallies (ARP, echo) of the probes in the silence in progress."""
        assert self.pull is not None
        return self.entry.tallies(self.pull.counted_from, EVER, -1 if self.mac is None else self.mac)

    def silent_enough(self) -> bool:
        """Return whether the silence up to now is evidence."""
        pull = self.pull
        assert pull is not None
        if self.run.now - pull.silent_from < pull.needed or self.run.now - pull.counted_from < pull.misses_take:
            return False
        if pull.cable == "carrier":
            return all(self._asked_beyond(entry) for entry in self.beyond)
        arps, echoes = self.missed()
        missed = (arps.sent, echoes.sent)
        if missed[0] < self.arps_needed() and self.run.scheduler.hears_all:
            return False
        return enough_missed(pull.confirmed, self.results[Phase.IN], missed, self.searched(), self.limit_of(pull))

    def arps_needed(self) -> int:
        """Return the number of broadcast requests that this silence must contain."""
        pull = self.pull
        assert pull is not None
        if pull.confirmed is Confirmed.FIRST or not self.is_last_pull():  # the next silence contains the rest
            return LEAST_ARP_OUT // 2
        return max(LEAST_ARP_OUT // 2, LEAST_ARP_OUT - self._done[Phase.OUT].arp.sent)

    def is_last_pull(self) -> bool:
        """Return whether this pull is the last one, if it counts."""
        pull = self.pull
        assert pull is not None
        if pull.confirmed is not Confirmed.REQUEST:
            return True
        return self.requests_answered + 1 >= self.requests_needed

    @property
    def requests_answered(self) -> int:
        """The number of silences that answered a request in time."""
        return sum(silence.confirmed is Confirmed.REQUEST for silence in self.silences)

    @property
    def requests_needed(self) -> int:
        """The number of silences that must answer a request in time if nobody confirms a movement.

        One more is needed for each silence that nobody asked for, since outages come in clusters. One more is needed
        for each request without a silence, since a random restart is more likely to follow one of many requests.
        """
        return self.requests_at_least + min(MOST_MORE, self.unrequested + self.unanswered)

    def _asked_beyond(self, entry: AddressState) -> bool:
        """Return whether enough requests were sent through another interface of this computer.

        None is needed if the interface is down or has no address to send from.
        """
        pull = self.pull
        assert pull is not None
        if (entry.adapter, entry.net) not in self.run.scheduler.senders or not self.run.carrier[entry.adapter]:
            return True
        return sum(probe.sent >= pull.out_from and probe.settled for probe in entry.probes) >= ASKED_BEYOND

    def answers_when_out(self) -> bool:
        """Return whether the operator confirmed the pull and the device still answers."""
        pull = self.pull
        if pull is None or pull.entered_at is None or pull.counted_from <= pull.entered_at:
            return False
        return self.run.now - pull.counted_from < ARP_EVERY

    # Measures of phase back

    def answers_at_rate(self) -> bool:
        """Return whether the device answers at the rate of phase in."""
        pull, before = self.pull, self.results[Phase.IN]
        assert pull is not None
        assert self.mac is not None
        pairs = zip((before.arp, before.echo), self.entry.tallies(pull.returned, EVER, self.mac), strict=True)
        return all(
            at_most(seen.sent, seen.answered, back.sent, back.answered) > TOO_FEW
            for seen, back in pairs
            if seen.answered
        )

    def answers_still(self) -> bool:
        """Return whether the device answered just now, and answered the newest completed probe."""
        assert self.pull is not None
        assert self.mac is not None
        return self.answers_just_now() and self.entry.newest_is_answered(self.pull.returned, self.mac)

    # Closing phases

    def _result(self, since: float, until: float, seconds: float, mac: int, *, cable_in: bool = False) -> PhaseResult:
        trips = [1000 * trip for trip in self.entry.round_trips(since, until, mac)]
        rtt = Rtt(*(round(value, 3) for value in (min(trips), median(trips), max(trips)))) if trips else None
        arp, echo = self.entry.tallies(since, until, mac, cable_in=cable_in)
        return PhaseResult(arp, echo, round(max(0.0, seconds), 3), rtt)

    def close_in(self, at: float) -> None:
        """Record the result of phase in up to *at*; if nothing answered, every probe is a miss."""
        if self.mac is None:
            self.results = {Phase.IN: self._result(self.began, EVER, at - self.began, mac=-1)}
        else:
            since = max(self.first, at - WINDOW)
            seen = self._result(since, at, at - self.began, self.mac, cable_in=True)
            earlier = self.results.get(Phase.IN, PhaseResult())
            if seen.arp.sent >= min(earlier.arp.sent, LEAST_ARP[Phase.IN]):  # else the window holds too few requests
                self.results[Phase.IN] = seen

    def close_out(self) -> None:
        """Record phase out: the silence of the pull in progress, added to those of earlier pulls."""
        pull, now = self.pull, self.run.now
        assert pull is not None
        assert self.mac is not None
        seconds = now - min(pull.out_from, pull.silent_from)
        if pull.cable == "carrier":
            result = PhaseResult(seconds=round(seconds, 3))
        else:
            result = self._result(pull.counted_from, now, seconds, self.mac)
        self.results[Phase.OUT] = self._done[Phase.OUT] + result
        self.latest = self._silence()

    def _silence(self) -> Silence:
        """Return the silence of the pull in progress as it stands now."""
        pull = self.pull
        assert pull is not None
        arps, echoes = self.missed()
        return Silence(
            confirmed=pull.confirmed,
            lasted=round(self.run.now - pull.silent_from, 3),
            needed=pull.needed,
            missed=(arps.sent, echoes.sent),
            searched=self.searched(),
            after=pull.after,
        )

    def close_back(self) -> None:
        """Record phase back of the pull in progress, added to those of earlier pulls."""
        pull = self.pull
        assert pull is not None
        assert self.mac is not None
        result = self._result(pull.returned, EVER, self.run.now - pull.plug_at, self.mac)
        self.results[Phase.BACK] = self._done[Phase.BACK] + result

    def returned(self, at: float, stage: Stage) -> None:
        """End the span with the cable out at *at*, the send time of the probe whose answer ended it."""
        if self.away and self.away[-1][1] == EVER:
            self.away[-1][1] = at
        self.set_stage(stage)
        self.entry.restamp(at, stage)

    def next_pull(self) -> None:
        """Add the silence of this pull to those that count; another pull may follow."""
        if self.latest is not None:
            self.silences.append(self.latest)
            self.latest = None
        if self.pull is not None:
            self.close_back()
            self.pull.closed = True
        for phase in self._done:
            self._done[phase] = self.results.get(phase, PhaseResult())

    def set_aside(self) -> None:
        """End a silence that nobody asked for: it does not count, but the MACs heard in it do."""
        self.latest = None
        self.was_seen = True
        self.next_pull()

    def drop_pull(self) -> None:
        """Discard the pull in progress; the other MACs heard during it still count as heard with the cable out."""
        self.run.drop_request(self.target.subject)
        if self.away and self.away[-1][1] == EVER and self.mac is not None:
            self.returned(self.answer_of(self.mac, self.away[-1][0] + 1e-6) or self.run.now, Stage.IN)
        self.pull = self.latest = None
        self.fallen = self.fallen if self.silences else ()
        self.ask_no_more_anonymously()
        for phase, done in self._done.items():
            if done == PhaseResult():
                self.results.pop(phase, None)
            else:
                self.results[phase] = done

    def start_over(self) -> None:
        """Discard all pulls, because the phases are repeated."""
        self.silences.clear()
        self.back_from = EVER
        self._done = {Phase.OUT: PhaseResult(), Phase.BACK: PhaseResult()}
        self.drop_pull()
        self.fell_before = False

    def close(self) -> None:
        """Record the phase in progress, and end the port."""
        if self.ended < EVER:
            return
        if self.pull is not None and self.pull.closed:
            pass
        elif self.pull is not None and self.pull.plug_at < EVER:
            self.close_back()
        elif self.pull is not None and self.pull.out:
            self.close_out()
        elif Phase.IN not in self.results or (self.stayed and not self.silences):
            self.close_in(self.run.now)
        self.ended = self.run.now + 1e-6  # what was heard until now counts
        self.ask_no_more_anonymously()
        self.set_stage(Stage.IN)
