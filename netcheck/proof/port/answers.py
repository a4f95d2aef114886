"""Evaluates the probes of one port: when the MAC under test answered, how reliably, and when it fell silent."""

from __future__ import annotations

from netcheck.proof.probing.address_state import EVER, MANY, AddressState, Sighting
from netcheck.proof.result import Phase
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.observation import LEAST_ARP
from netcheck.proof.verdict.silence_rule import misses_needed

WINDOW = 60.0  # seconds of phase in that count: what a device did minutes ago says little about it now
LEAST_ECHO = 5  # echoes in phase in
JUST_NOW = 0.1  # seconds within which an answer counts as one of just now: the prober looks every 0.05 s
TRIGGER = 1e-3  # a run of misses this unlikely opens phase out; it proves nothing
GAP = 3.0  # seconds without an answer that are noted as a silence that nobody asked for


class PortAnswers:
    """The probes of one port and their answers; times are EVER until they are known."""

    def __init__(self, run: RunState, target: Target, keep: int = MANY) -> None:
        """Start with nothing sent. `keep` is how many probes are kept."""
        self.run, self.target = run, target
        self.entry: AddressState = run.scheduler.entry(target.address, target.subnet)
        self.entry.keep(keep)
        adapters = range(1, len(run.scheduler.adapters))
        self.beyond = [run.scheduler.entry(target.address, target.subnet, adapter) for adapter in adapters]
        self.began = run.now  # sightings from here on count
        self.mac: int | None = None  # the MAC under test: the one that answered first
        self.first = EVER  # when the first answered probe was sent
        self.away: list[list[float]] = []  # spans with the cable out: [last answered probe before, first one after]
        self.unrequested = 0  # silences that began while nobody was asked to pull
        self._noted_gap = -EVER

    def first_answer(self, since: float) -> tuple[int, float] | None:
        """Return the MAC that answered a probe sent since then, in time, the planned one before others; and that
        probe's time. Only ARP tells owners, or echo where the link hears no ARP."""
        found: dict[int, float] = {}
        for sighting in self.entry.heard(since):
            counts = sighting.how == "arp" or (sighting.how == "echo" and not self.run.scheduler.hears_all)
            if counts and sighting.asked is not None and not sighting.late:
                found.setdefault(sighting.mac, sighting.asked)
        if not found:
            return None
        mac = self.target.mac if self.target.mac is not None and self.target.mac in found else next(iter(found))
        return mac, found[mac]

    def answer_of(self, mac: int, since: float) -> float | None:
        """Return when the first probe since then that this MAC answered in time was sent."""
        asked = [s.asked for s in self.entry.heard(since) if s.mac == mac and s.asked is not None and not s.late]
        return min(asked, default=None)

    def heard_before(self, mac: int, since: float, until: float) -> bool:
        """Return whether an answer of this MAC to a probe sent since then came before *until*."""
        answers = (s for s in self.entry.heard(since, until) if s.mac == mac and s.asked is not None)
        return any(sighting.at < until for sighting in answers)

    def newest_sign(self, since: float) -> Sighting | None:
        """Return the newest sign of life of the MAC under test about that time, late replies included."""
        signs = (sighting for sighting in self.entry.heard(since) if sighting.mac == self.mac)
        return max(signs, key=lambda sighting: sighting.at, default=None)

    def last_sign(self) -> float:
        """Return when the newest probe that the MAC under test answered was sent."""
        probes = reversed(self.entry.probes)
        return next((probe.sent for probe in probes if self.mac in probe.answers), self.first)

    def fell(self) -> bool:
        """Return whether the MAC under test seems to have fallen silent."""
        return self.mac is not None and self.entry.fallen(self.mac, self.first, TRIGGER, 3)

    def note_gap(self) -> None:
        """Count each silence without a request once, since outages come in clusters."""
        last = self.last_sign()
        if last > self._noted_gap and self.run.now - last > GAP and self.fell():
            self._noted_gap = last
            self.unrequested += 1

    def reliable(self) -> bool:
        """Return whether there are enough probes of each kind in phase in."""
        assert self.mac is not None
        until = self.last_sign() + 1e-6  # what is asked after its last answer may turn out to be phase out
        arps, echoes = self.entry.tallies(self.first, until, self.mac, cable_in=True)
        least = LEAST_ARP[Phase.IN] if self.run.scheduler.hears_all else 0
        return echoes.sent >= LEAST_ECHO and arps.sent >= least

    def misses_needed(self, most: int) -> int:
        """Return how many misses in a row phase out will need, given the answers so far; at most `most`."""
        assert self.mac is not None
        since = max(self.first, self.run.now - WINDOW)
        tallies = self.entry.tallies(since, EVER, self.mac, cable_in=True)
        limit = self.run.options.luck
        return max((misses_needed(t.sent, t.answered, limit, most) for t in tallies if t.answered), default=0)

    def longest_gap(self, until: float) -> float:
        """Return the longest time between two answers in the part of phase in that counts."""
        return self.entry.longest_gap(max(self.first, until - WINDOW), until, self.mac or 0, self.away)

    def answers_just_now(self) -> bool:
        """Return whether the MAC under test answered within the last moment."""
        return self.entry.last_heard.get(self.mac or 0, -EVER) > self.run.now - JUST_NOW

    def second_owner(self, detour: float = 1.0) -> bool:
        """Return whether another MAC also owns the address, because the MAC under test kept answering meanwhile."""
        if all(mac == self.mac or at < self.began for mac, at in self.entry.last_heard.items()):
            return False
        heard = self.entry.heard(self.began)
        others = [sighting.means for sighting in heard if sighting.mac != self.mac and sighting.how != "echo"]
        return bool(others) and self.mac is not None and self.answer_of(self.mac, others[0] + detour) is not None
