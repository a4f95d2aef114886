"""The case of one port while it is being proven: what is settled so far, and every measure taken from its lines."""

from __future__ import annotations

from statistics import median

from netcheck.proof.bench import Bench
from netcheck.proof.events import What
from netcheck.proof.lines import Hearing, Kind, Line
from netcheck.proof.luck import luck, misses_needed
from netcheck.proof.observed import LEAST_ARP, LEAST_SILENCE, Observed, Owner
from netcheck.proof.result import Phase, PhaseResult, Rtt
from netcheck.proof.targets import Target

WINDOW = 60.0  # seconds of phase in that count: 6-settled-details.md 34
LEAST_ECHO = 5  # echoes in phase in: 4-proof.md, Phases
EVER = float("inf")


class Case:
    """Fields are set by the phases, in their order; `observed` turns them into the judge's input."""

    def __init__(self, bench: Bench, target: Target) -> None:
        """The asker must already have a sender for the target's subnet."""
        self.bench, self.target = bench, target
        self.line = bench.asker.line(target.address, target.subnet)
        ways = range(1, len(bench.asker.ways))
        self.beyond = [bench.asker.line(target.address, target.subnet, way) for way in ways]
        self.began = bench.now
        self.drops = bench.drops
        self.mac: int | None = None
        self.first = EVER  # when the first answered probe was sent
        self.first_after = 0.0
        self.negatives: list[Line] = []
        self.request: float | None = None
        self.cable: str | None = None
        self.connector = "assumed"
        self.out_from = EVER  # hearings from here on belong to phase out
        self.quiet_from = EVER  # start of the trailing silence
        self.back_from = EVER
        self.returned = EVER  # when the first probe answered in phase back was sent
        self.stayed = False
        self.controls: list[Line] = []
        self.gateway: Line | None = None
        self.held = 0
        self.fallen: tuple[str, ...] = ()
        self.instead: tuple[str, ...] = ()
        self.anonymous: int | None = None
        self.voids = 0
        self.cut = ""
        self.silence = 0.0
        self.looks = (1, 1)
        self.results: dict[Phase, PhaseResult] = {}
        self._warned: dict[str, float] = {}

    def say(self, what: What, text: str, until: float | None = None) -> None:
        """Tell an event of this port."""
        self.bench.say(what, self.target.subject, text, until)

    def warn(self, text: str) -> None:
        """Tell a warning, the same one at most every five seconds."""
        if self.bench.now - self._warned.get(text, -EVER) > 5.0:
            self._warned[text] = self.bench.now
            self.say(What.WARN, text)

    def pressed(self) -> bool:
        """Take a press of Enter; while a port is under test it also says that the cable is in this connector."""
        if not self.bench.enter():
            return False
        self.connector = "operator"
        return True

    @property
    def phase(self) -> Phase:
        """The phase that is running."""
        return Phase.IN if self.out_from == EVER else Phase.OUT if self.back_from == EVER else Phase.BACK

    # Measures

    def first_answer(self, since: float) -> tuple[int, float] | None:
        """The MAC that answered a probe sent since then, in time, the planned one before others; and that probe's time.
        Only ARP tells owners, or echo where the link hears no ARP."""
        found: dict[int, float] = {}
        for hearing in self.line.heard(since, EVER):
            counts = hearing.how == "arp" or (hearing.how == "echo" and not self.bench.asker.hears_all)
            if counts and hearing.asked is not None and not hearing.late:
                found.setdefault(hearing.mac, hearing.asked)
        if not found:
            return None
        mac = self.target.mac if self.target.mac is not None and self.target.mac in found else next(iter(found))
        return mac, found[mac]

    def answer_of(self, mac: int, since: float) -> float | None:
        """When the first probe since then that this MAC answered in time was sent, by ARP or echo."""
        asked = [h.asked for h in self.line.heard(since, EVER) if h.mac == mac and h.asked is not None and not h.late]
        return min(asked, default=None)

    def newest_sign(self, since: float) -> Hearing | None:
        """The newest sign of life of the MAC under test about that time, late answers and announcements included."""
        signs = (hearing for hearing in self.line.heard(since, EVER) if hearing.mac == self.mac)
        return max(signs, key=lambda hearing: hearing.at, default=None)

    def reliable(self) -> bool:
        """Say whether there are enough probes of each kind in phase in."""
        assert self.mac is not None
        arp, echo = (self.line.tally(kind, self.first, EVER, self.mac) for kind in Kind)
        return echo.sent >= LEAST_ECHO and (arp.sent >= LEAST_ARP[Phase.IN] or not self.bench.asker.hears_all)

    def needed(self) -> int:
        """How many misses in a row phase out will need, by what was answered so far."""
        assert self.mac is not None
        tallies = [self.line.tally(kind, self.bench.now - WINDOW, EVER, self.mac) for kind in Kind]
        return max(
            (misses_needed(t.sent, t.answered, self.bench.settings.luck) for t in tallies if t.answered), default=0
        )

    def second_owner(self, detour: float = 1.0) -> bool:
        """Say whether another MAC owns the address as well: the one under test went on beside it."""
        first = {mac: h.means for mac, h in self.line.macs(self.began, EVER).items() if h.how != "echo"}
        others = [means for mac, means in first.items() if mac != self.mac]
        return bool(others) and self.mac is not None and self.answer_of(self.mac, min(others) + detour) is not None

    def silence_least(self) -> float:
        """Seconds that the silence must last: 4-proof.md, phase out."""
        assert self.mac is not None
        gap = self.line.longest_gap(self.first, self.out_from, self.mac)
        return max(LEAST_SILENCE, 3 * gap, self.bench.settings.out_for)

    def looked(self) -> tuple[int, int]:
        """Probes of each kind sent since the request where the start of the silence was inferred, else one each."""
        if self.cable != "inferred" or self.request is None:
            return 1, 1
        sent = [probe.kind for probe in self.line.probes if probe.sent >= self.request]
        return sent.count(Kind.ARP), sent.count(Kind.ECHO)

    def silent_enough(self) -> bool:
        """Say whether the trailing silence means something, if it goes on until now."""
        assert self.mac is not None
        if self.bench.now - self.quiet_from < self.silence_least():
            return False
        if self.cable == "carrier":
            return all(self._asked_beyond(line) for line in self.beyond)
        out = {kind: self.line.tally(kind, self.quiet_from, EVER, self.mac) for kind in Kind}
        if out[Kind.ARP].sent < LEAST_ARP[Phase.OUT] and self.bench.asker.hears_all:
            return False
        seen = self.results[Phase.IN]
        pairs = ((seen.arp, out[Kind.ARP]), (seen.echo, out[Kind.ECHO]))
        return all(
            luck(before.sent, before.answered, after.sent) * looked <= self.bench.settings.luck
            for (before, after), looked in zip(pairs, self.looked(), strict=True)
            if before.answered
        )

    def _asked_beyond(self, line: Line) -> bool:
        """Another interface of the station has been asked three times, if it has an address to ask from."""
        if (line.way, line.net) not in self.bench.asker.senders:
            return True
        return sum(probe.sent >= self.out_from and probe.settled for probe in line.probes) >= 3

    # Closing phases

    def _result(self, since: float, until: float, seconds: float) -> PhaseResult:
        assert self.mac is not None
        trips = [1000 * trip for trip in self.line.round_trips(since, until, self.mac)]
        rtt = Rtt(*(round(value, 3) for value in (min(trips), median(trips), max(trips)))) if trips else None
        arp, echo = (self.line.tally(kind, since, until, self.mac) for kind in Kind)
        return PhaseResult(arp, echo, round(max(0.0, seconds), 3), rtt)

    def close_in(self, at: float) -> None:
        """Put down phase in as it stands at `at`."""
        self.results[Phase.IN] = self._result(max(self.first, at - WINDOW), at, at - self.began)

    def close_out(self) -> None:
        """Put down phase out: its trailing silence in numbers."""
        now = self.bench.now
        self.looks = self.looked()
        self.silence = now - self.quiet_from
        self.results[Phase.OUT] = self._result(self.quiet_from, now, now - self.out_from)
        if self.cable == "carrier":
            self.results[Phase.OUT] = PhaseResult(seconds=round(now - self.out_from, 3))

    def close_back(self) -> None:
        """Put down phase back, from the first answered probe on."""
        self.results[Phase.BACK] = self._result(self.returned, EVER, self.bench.now - self.back_from)

    def close(self) -> None:
        """Put down whatever phase was running."""
        if self.mac is None:
            self.results = {Phase.IN: self._nothing_heard()}
        elif self.back_from < EVER:
            self.close_back()
        elif self.out_from < EVER:
            self.close_out()
        elif Phase.IN not in self.results or self.stayed:
            self.close_in(self.bench.now)

    def _nothing_heard(self) -> PhaseResult:
        """Phase in where nothing answered: every probe was a miss."""
        self.mac = -1  # nobody's MAC
        result = self._result(self.began, EVER, self.bench.now - self.began)
        self.mac = None
        return result

    # The observation

    def observed(self) -> Observed:
        """Everything the judge needs, as it stands now."""
        bench, target = self.bench, self.target
        spoken = bench.spoken.get(self.mac, {}) if self.mac is not None else {}
        elsewhere = bench.spoken.get(target.mac, {}) if target.mac is not None else {}
        planned_for = bench.aim.macs.get(self.mac, "") if self.mac is not None else ""
        proven_for = bench.proven.get(self.mac, "") if self.mac is not None else ""
        gateway = bench.aim.net(target.subnet).gateway
        gateway_line = bench.watched.get(gateway) if gateway is not None else None
        return Observed(
            target=target,
            mac=self.mac,
            phases=tuple(self.results.items()),
            owners=self._owners(),
            device_macs=bench.macs_of(target.device),
            cable=self.cable,
            connector=self.connector,
            looked=self.looks,
            silence=self.silence,
            silence_least=self.silence_least() if self.mac is not None else LEAST_SILENCE,
            stayed=self.stayed,
            hands_free=bench.settings.hands_free,
            controls=self.held,
            fallen=self.fallen,
            instead=self.instead,
            negatives=tuple((line.address, mac) for line in self.negatives for mac in line.macs(self.began, EVER)),
            gateway_mac=None if gateway_line is None else gateway_line.mac,
            is_gateway=target.address in bench.gateways,
            shared=tuple(bench.shared(target, spoken, self.began)),
            planned_for=planned_for if planned_for != target.interface else "",
            proven_for=proven_for if proven_for.split("/")[0] != target.device else "",
            direct=bench.settings.direct,
            strangers=self._strangers() if bench.settings.direct else (),
            anonymous=self.anonymous,
            elsewhere=tuple(address for address in elsewhere if address != target.address),
            late=self.mac is None and any(h.late for h in self.line.heard(self.began, EVER)),
            forged=bench.asker.forged,
            cut=self.cut,
            hears_all=bench.asker.hears_all,
            first_after=self.first_after,
            luck_limit=bench.settings.luck,
            unheard_limit=bench.settings.unheard,
        )

    def _owners(self) -> tuple[Owner, ...]:
        found: dict[tuple[int, Phase, int], bool] = {}
        for line in (self.line, *self.beyond):
            for hearing in line.heard(self.began, EVER):
                phase = self._phase_of(hearing)
                if phase is not None:
                    key = (hearing.mac, phase, hearing.way)
                    found[key] = found.get(key, True) and hearing.how == "echo"
        return tuple(Owner(mac, phase, way, echo_only) for (mac, phase, way), echo_only in found.items())

    def _phase_of(self, hearing: Hearing) -> Phase | None:
        if hearing.means >= self.back_from:
            before_it = hearing.mac != self.mac and hearing.means < self.returned < EVER
            return Phase.OUT if before_it else Phase.BACK
        if hearing.means < self.out_from:
            return Phase.IN
        early = hearing.mac == self.mac and hearing.way == 0 and hearing.means < self.quiet_from
        return None if early else Phase.OUT

    def _strangers(self) -> tuple[int, ...]:
        ours = self.bench.macs_of(self.target.device) | {self.mac}
        recent = (mac for mac, said in self.bench.spoken.items() if max(said.values()) >= self.began)
        return tuple(mac for mac in recent if mac not in ours)
