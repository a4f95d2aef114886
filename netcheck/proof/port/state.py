"""The case of one port while it is being proven: what is settled so far, and every measure taken from its lines."""

from __future__ import annotations

from itertools import takewhile
from statistics import median

from netcheck.proof.events import Action, What
from netcheck.proof.probing.address_state import ARP, EVER, MANY, AddressState, Sighting
from netcheck.proof.probing.scheduler import ARP_EVERY, ECHO_EVERY
from netcheck.proof.result import Phase, PhaseResult, Rtt
from netcheck.proof.run_state import FRESH, RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.luck import LEAST_UNSEEN, BurstsSeen, bursts_in, luck, misses_needed
from netcheck.proof.verdict.observation import LEAST_ARP, LEAST_SILENCE

WINDOW = 60.0  # seconds of phase in that count: 6-settled-details.md 34
LEAST_ECHO = 5  # echoes in phase in: 4-proof.md, Phases
ASKED_BEYOND = 3  # times that another interface of the station is asked while a direct cable is out
LOST = 1e-4  # a control's run of misses this unlikely is no luck
AT_ONCE = 0.1  # seconds within which an answer counts as one of just now: a look follows within TICK of it
TRIGGER = 1e-3  # a run of misses this unlikely opens phase out: a hint, not the evidence


class PortState:
    """Fields are set by the phases, in their order; `observing.observed` turns them into the judge's input. Times are
    EVER while they have not come."""

    def __init__(self, run: RunState, target: Target) -> None:
        """Nothing is asked yet."""
        self.run, self.target = run, target
        self.line = run.scheduler.line(target.address, target.subnet)
        self.line.keep(MANY)
        ways = range(1, len(run.scheduler.ways))
        self.beyond = [run.scheduler.line(target.address, target.subnet, way) for way in ways]
        self.began = run.now  # hearings from here on count
        self.ended = EVER  # and up to here
        self.drops = run.drops
        self.plugged = run.linked  # when this port's cable came in, as far as the carrier tells
        self.evidence: dict[str, str] = {}  # what else was learned of the device
        self.forged = run.scheduler.ear.forged
        self.mac: int | None = None
        self.first = EVER  # when the first answered probe was sent
        self.first_after = 0.0
        self.negatives: list[AddressState] = []
        self.request = EVER  # when the cable was first asked to be pulled
        self.cable: str | None = None
        self.connector = "assumed"
        self.out_from = EVER  # hearings from here on belong to phase out
        self.left = EVER  # when the last probe that it answered before phase out was sent
        self.quiet_from = EVER  # start of the trailing silence
        self.back_from = EVER
        self.returned = EVER  # when the first probe answered in phase back was sent
        self.outs: list[tuple[float, float]] = []  # times that the cable was out and that did not count
        self.stayed = False
        self.living: list[AddressState] = []  # others that were alive at the request
        self.controls: list[AddressState] = []
        self.gateway: AddressState | None = None
        self.held = 0
        self.lost: list[AddressState] = []  # controls that fell silent in phase out, even if they came back
        self.limit = run.settings.luck
        self.least_out = LEAST_ARP[Phase.OUT]
        self.minds_bursts = True  # a silence must outlast bursts of loss
        self.gap = 0.0  # the longest time between two answers in phase in
        self.bursts: BurstsSeen | None = None  # in phase in
        self.burst_luck = 0.0  # of the silence
        self.fallen: tuple[str, ...] = ()
        self.instead: tuple[str, ...] = ()
        self.anonymous: int | None = None
        self.voids = 0
        self.cut = ""
        self.void = False
        self.silence = 0.0
        self.silence_least = LEAST_SILENCE
        self.misses_take = 0.0
        self.looks = (1, 1)
        self.results: dict[Phase, PhaseResult] = {}
        self._warned: dict[str, float] = {}

    @property
    def phase(self) -> Phase:
        """The phase that is running."""
        return Phase.IN if self.out_from == EVER else Phase.OUT if self.back_from == EVER else Phase.BACK

    def say(self, what: What, text: str, until: float | None = None) -> None:
        """Tell an event of this port."""
        self.run.say(what, self.target.subject, text, until)

    def ask(self, action: Action, text: str, until: float | None = None) -> None:
        """Ask the technician to do something with this port's cable."""
        self.run.ask(action, self.target.subject, text, until)

    def warn(self, text: str) -> None:
        """Tell a warning, the same one at most every five seconds."""
        if self.run.now - self._warned.get(text, -EVER) > 5.0:
            self._warned[text] = self.run.now
            self.say(What.WARN, text)

    def pressed(self) -> bool:
        """Take a press of Enter; while a port is under test it also says that the cable is in this connector."""
        if not self.run.enter():
            return False
        self.connector = "operator"
        return True

    def out_did_not_count(self) -> None:
        """Take phase out for not begun; who else was heard in it stays heard with the cable out."""
        if self.out_from < EVER:
            self.outs.append((self.out_from, self.run.now))
        self.out_from = self.quiet_from = self.left = EVER
        self.cable = None

    # Measures

    def first_answer(self, since: float) -> tuple[int, float] | None:
        """The MAC that answered a probe sent since then, in time, the planned one before others; and that probe's time.
        Only ARP tells owners, or echo where the link hears no ARP."""
        found: dict[int, float] = {}
        for hearing in self.line.heard(since):
            counts = hearing.how == "arp" or (hearing.how == "echo" and not self.run.scheduler.hears_all)
            if counts and hearing.asked is not None and not hearing.late:
                found.setdefault(hearing.mac, hearing.asked)
        if not found:
            return None
        mac = self.target.mac if self.target.mac is not None and self.target.mac in found else next(iter(found))
        return mac, found[mac]

    def answer_of(self, mac: int, since: float) -> float | None:
        """When the first probe since then that this MAC answered in time was sent, by ARP or echo."""
        asked = [h.asked for h in self.line.heard(since) if h.mac == mac and h.asked is not None and not h.late]
        return min(asked, default=None)

    def newest_sign(self, since: float) -> Sighting | None:
        """The newest sign of life of the MAC under test about that time, late answers and announcements included."""
        signs = (hearing for hearing in self.line.heard(since) if hearing.mac == self.mac)
        return max(signs, key=lambda hearing: hearing.at, default=None)

    def last_sign(self) -> float:
        """When the newest probe that the MAC under test answered was sent."""
        probes = reversed(self.line.probes)
        return next((probe.sent for probe in probes if self.mac in probe.answers), self.first)

    def fell(self) -> bool:
        """Say whether the MAC under test seems to have fallen silent."""
        return self.mac is not None and self.line.fallen(self.mac, self.first, TRIGGER, 3)

    def reliable(self) -> bool:
        """Say whether there are enough probes of each kind in phase in."""
        assert self.mac is not None
        until = self.last_sign() + 1e-6  # what is asked after its last answer may turn out to be phase out
        arps, echoes = self.line.tallies(self.first, until, self.mac)
        least = LEAST_ARP[Phase.IN] if self.run.scheduler.hears_all else 0
        return echoes.sent >= LEAST_ECHO and arps.sent >= least

    def misses_needed(self, most: int) -> int:
        """How many misses in a row phase out will need, by what was answered so far; `most` for more."""
        assert self.mac is not None
        since = max(self.first, self.run.now - WINDOW)
        tallies = self.line.tallies(since, EVER, self.mac)
        limit = self.run.settings.luck
        return max((misses_needed(t.sent, t.answered, limit, most) for t in tallies if t.answered), default=0)

    def answers_now(self) -> bool:
        """Say whether the MAC under test was heard just now."""
        return self.line.last_heard.get(self.mac or 0, -EVER) > self.run.now - AT_ONCE

    def bursts_until(self, until: float) -> BurstsSeen | None:
        """The bursts in which its answers were lost, in the time before `until` that counts; None where they are lost
        one by one. A single one after the request is put down to a hand that moved too soon; more are bursts."""
        since = max(self.first, until - WINDOW)
        asked = min(max(since, self.request), until)
        sent, runs = self.line.runs(since, asked, self.mac or 0)
        more, later = self.line.runs(asked, until, self.mac or 0)
        if sum(misses > 1 for misses, _ in later) > 1:
            runs += later
        return bursts_in(sent + more, runs, until - since)

    @property
    def sought(self) -> float:
        """Seconds in which a silence was looked for before the one that counts began: see `looked`."""
        since = self.request if self.cable == "inferred" else self.out_from
        return max(0.0, self.quiet_from - since)

    def unclear(self) -> bool:
        """Say whether the bursts seen are too few or too long for any silence that a hand can hold."""
        return self.bursts is not None and self.bursts.outlasted(self.sought, self.run.settings.luck) == EVER

    def second_owner(self, detour: float = 1.0) -> bool:
        """Say whether another MAC owns the address as well: the one under test went on beside it."""
        if all(mac == self.mac or at < self.began for mac, at in self.line.last_heard.items()):
            return False
        heard = self.line.heard(self.began)
        others = [hearing.means for hearing in heard if hearing.mac != self.mac and hearing.how != "echo"]
        return bool(others) and self.mac is not None and self.answer_of(self.mac, others[0] + detour) is not None

    def looked(self) -> tuple[int, int]:
        """Probes of each kind in which a run of misses was looked for: those since the request where the start of the
        silence was inferred, those since the operator's word where it was restarted, else one each."""
        if self.cable == "carrier" or (self.cable == "operator" and self.quiet_from == self.out_from):
            return 1, 1
        since = self.request if self.cable == "inferred" else self.out_from
        probes = [probe.kind for probe in takewhile(lambda probe: probe.sent >= since, reversed(self.line.probes))]
        arp = probes.count(ARP)
        return max(1, arp), max(1, len(probes) - arp)

    def silent_enough(self) -> bool:
        """Say whether the trailing silence means something, if it goes on until now."""
        assert self.mac is not None
        if self.run.now - self.quiet_from < max(self.silence_least, self.misses_take):
            return False
        if self.cable == "carrier":
            return all(self._asked_beyond(line) for line in self.beyond)
        out = [tally.sent for tally in self.line.tallies(self.quiet_from, EVER, self.mac)]
        if out[0] < self.least_out and self.run.scheduler.hears_all:
            return False
        seen = self.results[Phase.IN]
        pairs = zip((seen.arp, seen.echo), out, strict=True)
        chances = [luck(before.sent, before.answered, missed) if before.answered else 0.0 for before, missed in pairs]
        if max(chances) > self.limit:
            return False
        return all(chance * looked <= self.limit for chance, looked in zip(chances, self.looked(), strict=True))

    def _asked_beyond(self, line: AddressState) -> bool:
        """Another interface of the station has been asked often enough, if it is up and has an address to ask from."""
        if (line.way, line.net) not in self.run.scheduler.senders or not self.run.carrier[line.way]:
            return True
        return sum(probe.sent >= self.out_from and probe.settled for probe in line.probes) >= ASKED_BEYOND

    # Controls

    def choose_controls(self) -> None:
        """Take for controls whoever answered in the seconds before the silence, and whoever was alive at the request:
        one whose cable was pulled by mistake, and left out, must be back before the silence can be this port's."""
        until = min(self.quiet_from, self.run.now)
        since = min(self.last_sign(), until) - FRESH
        others, self.gateway = self.run.companions(self.target, since, until)
        self.controls = [*self.living, *(line for line in others if line not in self.living)]
        self.lost = []

    def mind_the_controls(self) -> None:
        """Notice a control that surely fell silent: it may be back before this silence means anything."""
        self.lost += [line for line in self.controls if line not in self.lost and self.run.fell(line, LOST, 3)]

    @property
    def all_controls(self) -> list[AddressState]:
        """Every control, the gateway included."""
        return self.controls if self.gateway is None else [*self.controls, self.gateway]

    def counted_controls(self) -> list[AddressState]:
        """The controls that count: other devices; where none had answered before the silence, those heard since; the
        gateway only where nothing else was heard at all (6-settled-details.md 12)."""
        if self.controls:
            return self.controls
        later, _ = self.run.companions(self.target, self.quiet_from - FRESH, self.run.now)
        return later or self.all_controls

    def doubtful(self) -> list[AddressState]:
        """Controls that have not gone on answering, in the middle third of the silence and in the last.

        A silence begins and ends up to a third of itself away from the outage that is its cause, since it lasts three
        times the longest gap between answers: an outage that took the control with it covers the middle third, even
        where it was over before the silence was proven. The gateway counts only where it is alone.
        """
        third = (self.run.now - self.quiet_from) / 3
        middle, last = self.quiet_from + third, self.quiet_from + 2 * third
        return [
            line
            for line in self.counted_controls()
            if line in self.lost or not (line.answered_between(middle, last) and line.answered_between(last))
        ]

    # Opening and closing phases

    def open_out(self, cable: str, out_from: float) -> None:
        """Begin phase out: hearings from `out_from` on belong to it, and the silence that counts begins now."""
        self.cable, self.out_from = cable, out_from
        self.left = self.last_sign() if cable == "operator" else out_from
        since = max(self.first, out_from - WINDOW)
        self.gap = self.line.longest_gap(since, out_from, self.mac or 0)
        self.bursts = self.bursts_until(out_from) if cable != "carrier" and self.minds_bursts else None
        self.begin_silence(self.run.now)
        self.close_in(out_from)
        self.misses_take = 0.0 if cable == "carrier" else self._misses_take()

    def begin_silence(self, at: float) -> None:
        """Begin the silence that counts, perhaps anew. It must last as 4-proof.md says: 3 s, three times the longest
        gap between answers, longer than a burst of loss is likely to last, and what was asked for. Where no hand could
        outlast the bursts, it need not try: `burst_luck` says what the silence is worth."""
        self.quiet_from = at
        least = LEAST_UNSEEN if self.cable != "carrier" and self.minds_bursts else LEAST_SILENCE
        if self.bursts is not None and not self.unclear():
            least = max(least, self.bursts.outlasted(self.sought, self.run.settings.luck))
        self.silence_least = max(least, 3 * self.gap, self.run.settings.out_for)

    def _misses_take(self) -> float:
        """Seconds that the misses take which phase out needs at least: nothing need be counted before."""
        seen = self.results[Phase.IN]
        kinds = zip((seen.arp, seen.echo), self.looked(), (ARP_EVERY, ECHO_EVERY), strict=True)
        needed = [
            (misses_needed(before.sent, before.answered, self.limit / looked) - 1) * every
            for before, looked, every in kinds
            if before.answered
        ]
        return max(needed, default=0.0)

    def _result(self, since: float, until: float, seconds: float, mac: int) -> PhaseResult:
        trips = [1000 * trip for trip in self.line.round_trips(since, until, mac)]
        rtt = Rtt(*(round(value, 3) for value in (min(trips), median(trips), max(trips)))) if trips else None
        arp, echo = self.line.tallies(since, until, mac)
        return PhaseResult(arp, echo, round(max(0.0, seconds), 3), rtt)

    def close_in(self, at: float) -> None:
        """Put down phase in as it stands at `at`; where nothing answered, every probe was a miss of nobody's."""
        if self.mac is None:
            self.results = {Phase.IN: self._result(self.began, EVER, at - self.began, mac=-1)}
        else:
            self.results[Phase.IN] = self._result(max(self.first, at - WINDOW), at, at - self.began, self.mac)

    def close_out(self) -> None:
        """Put down phase out: its trailing silence in numbers."""
        assert self.mac is not None
        now = self.run.now
        self.looks = self.looked()
        self.silence = now - self.quiet_from
        self.burst_luck = self.bursts.luck(self.silence, self.sought) if self.bursts is not None else 0.0
        self.results[Phase.OUT] = self._result(self.quiet_from, now, now - self.out_from, self.mac)
        if self.cable == "carrier":
            self.results[Phase.OUT] = PhaseResult(seconds=round(now - self.out_from, 3))

    def close_back(self) -> None:
        """Put down phase back, from the first answered probe on."""
        assert self.mac is not None
        self.results[Phase.BACK] = self._result(self.returned, EVER, self.run.now - self.back_from, self.mac)

    def close(self) -> None:
        """Put down whatever phase was running, and end the case."""
        if self.ended < EVER:
            return
        if self.back_from < EVER:
            self.close_back()
        elif self.out_from < EVER:
            self.close_out()
        elif Phase.IN not in self.results or self.stayed:
            self.close_in(self.run.now)
        self.ended = self.run.now + 1e-6  # what was heard until now counts
