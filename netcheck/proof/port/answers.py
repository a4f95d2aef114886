"""Evaluates the probes of one port: when the MAC under test answered, how reliably, and when it fell silent."""

from __future__ import annotations

from netcheck.proof.probing.address_state import EVER, MANY, AddressState, Sighting
from netcheck.proof.result import Phase
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.observation import LEAST_ARP
from netcheck.proof.verdict.silence_rule import misses_needed

WINDOW = 60.0  # seconds of phase in that count: older answers say little about how the device answers now
LEAST_ECHO = 5  # echo requests in phase in
JUST_NOW = 0.1  # an answer is current for this many seconds: the prober takes a step every 0.05 s
TRIGGER = 1e-3  # misses in a row with a chance below this begin phase out; they prove nothing
GAP = 3.0  # seconds without an answer from which on a silence that nobody asked for is counted


class PortAnswers:
    """The probes of one port and their answers. A time is EVER until it is known."""

    def __init__(self, run: RunState, target: Target, keep: int = MANY) -> None:
        """Start without probes; keep the newest `keep` probes."""
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
        """Return a MAC that answered in time a probe sent since *since*, and the send time of that probe.

        If several MACs answered, the planned MAC comes first, then the one that answered first. Only ARP replies count;
        on a link that hears no ARP, echo replies count.
        """
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
        """Return the send time of the first probe since *since* that this MAC answered in time, or None."""
        asked = [s.asked for s in self.entry.heard(since) if s.mac == mac and s.asked is not None and not s.late]
        return min(asked, default=None)

    def heard_before(self, mac: int, since: float, until: float) -> bool:
        """Return whether this MAC answered, before *until*, a probe sent since *since*."""
        answers = (s for s in self.entry.heard(since, until) if s.mac == mac and s.asked is not None)
        return any(sighting.at < until for sighting in answers)

    def newest_sign(self, since: float) -> Sighting | None:
        """Return the newest frame of the MAC under test that is evidence about the time since *since*.

        Late replies and frames that answer no probe are included.
        """
        signs = (sighting for sighting in self.entry.heard(since) if sighting.mac == self.mac)
        return max(signs, key=lambda sighting: sighting.at, default=None)

    def last_sign(self) -> float:
        """Return the send time of the newest probe that the MAC under test answered."""
        probes = reversed(self.entry.probes)
        return next((probe.sent for probe in probes if self.mac in probe.answers), self.first)

    def fell(self) -> bool:
        """Return whether the MAC under test has probably fallen silent. This proves nothing."""
        return self.mac is not None and self.entry.fallen(self.mac, self.first, TRIGGER, 3)

    def note_gap(self) -> None:
        """Count each silence that nobody asked for once. Outages come in clusters, so more pulls are needed then."""
        last = self.last_sign()
        if last > self._noted_gap and self.run.now - last > GAP and self.fell():
            self._noted_gap = last
            self.unrequested += 1

    def reliable(self) -> bool:
        """Return whether phase in has enough probes of each kind."""
        assert self.mac is not None
        until = self.last_sign() + 1e-6  # probes after its last answer may turn out to belong to phase out
        arps, echoes = self.entry.tallies(self.first, until, self.mac, cable_in=True)
        least = LEAST_ARP[Phase.IN] if self.run.scheduler.hears_all else 0
        return echoes.sent >= LEAST_ECHO and arps.sent >= least

    def misses_needed(self, most: int) -> int:
        """Return how many misses in a row phase out will need after the answers so far; at most `most`."""
        assert self.mac is not None
        since = max(self.first, self.run.now - WINDOW)
        tallies = self.entry.tallies(since, EVER, self.mac, cable_in=True)
        limit = self.run.options.luck
        return max((misses_needed(t.sent, t.answered, limit, most) for t in tallies if t.answered), default=0)

    def longest_gap(self, until: float) -> float:
        """Return the longest time in seconds between two answers within the last WINDOW seconds before *until*."""
        return self.entry.longest_gap(max(self.first, until - WINDOW), until, self.mac or 0, self.away)

    def answers_just_now(self) -> bool:
        """Return whether the MAC under test answered within the last JUST_NOW seconds."""
        return self.entry.last_heard.get(self.mac or 0, -EVER) > self.run.now - JUST_NOW

    def second_owner(self, detour: float = 1.0) -> bool:
        """Return whether another MAC owns the address as well.

        This is certain if the MAC under test still answers a probe that was sent *detour* seconds after the first frame
        of the other MAC.
        """
        if all(mac == self.mac or at < self.began for mac, at in self.entry.last_heard.items()):
            return False
        heard = self.entry.heard(self.began)
        others = [sighting.means for sighting in heard if sighting.mac != self.mac and sighting.how != "echo"]
        return bool(others) and self.mac is not None and self.answer_of(self.mac, others[0] + detour) is not None
