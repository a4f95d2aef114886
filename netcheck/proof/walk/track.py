"""One address on a walk: the open ports of its interface, what is known of it, and the rates of its probes."""

from __future__ import annotations

from collections.abc import Generator, Sequence

from netcheck.proof.port.phase_in import NEGATIVE_ASKS, NEGATIVE_WAIT
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, AddressState, ProbeKind, Stage
from netcheck.proof.result import Proof
from netcheck.proof.run_state import ECHO_TRIES, RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.silence_rule import ARP_EVERY

KEPT = 400  # probes kept of an address: five minutes at the rate of the watch
SHOWN = 2.0  # seconds without an answer after which an address is shown as silent: the screen shows it within three
SEEMS = 2e-2  # misses of this chance are shown as a silence: one miss of a device that missed none before
Steps = Generator[None, None, None]


class Track:
    """One address on the walk: the open ports of its interface in order, and the port whose pull is in progress."""

    def __init__(self, entry: AddressState, targets: list[Target], since: float) -> None:
        """Answers count from *since* on."""
        self.entry, self.targets, self.since = entry, targets, since
        entry.keep(KEPT)
        self.known = False  # it has answered often enough that a silence is evidence
        self.checked_at = 0  # number of probes that had been sent at the last check of its answers
        self.macs = 1  # MACs heard for the address so far
        self.arps = 0  # broadcast requests sent while its answers were counted; the kept probes may be fewer
        self.asked_before = (entry.asked_arp, entry.asked - entry.asked_arp)  # probes sent before the walk
        self.unrequested = 0  # silences that nobody asked for
        self.away: list[list[float]] = []  # silences that did not count: [last answered probe before, first one after]
        self.shown = False  # it is shown as silent, and the silence does not count
        self.together: list[AddressState] = []  # addresses that fell silent with it in the newest of these silences
        self.chained: set[AddressState] = set()  # addresses that fell silent and returned together with it before
        self.port: PortState | None = None  # the port whose pull is in progress
        self.steps: Steps | None = None  # the phases of that pull
        self.proofs: dict[str, Proof] = {}  # by port, its newest proof after which the port stays open

    @property
    def last(self) -> float:
        """The send time of the newest probe that it answered."""
        return self.entry.answered[-1]

    @property
    def still_out(self) -> bool:
        """Whether a silence that does not count is still going on."""
        return bool(self.away) and self.away[-1][1] == EVER

    def silent(self, now: float) -> bool:
        """Return whether its newest probes are unanswered, so that its cable may be out. This proves nothing."""
        mac = self.entry.mac
        return now - self.last > SHOWN and mac is not None and self.entry.fallen(mac, -EVER, SEEMS, 1)

    def put_aside(self, away: list[list[float]], together: list[AddressState]) -> None:
        """Record the silences that did not count: their misses are left out of the rate of its answers."""
        self.away, self.together = away[-KEPT:], together

    def end_silence(self) -> float | None:
        """End the silence that does not count, if it is over; return the send time of the first answered probe."""
        if not self.still_out or self.last <= self.away[-1][0] + 1e-6:
            return None
        since = self.away[-1][0] + 1e-6
        back = min(at for at in self.entry.answered if at > since)
        self.away[-1][1] = back
        self.entry.restamp(since, Stage.OUT)
        self.entry.restamp(back, Stage.IN)
        return back

    @property
    def target(self) -> Target:
        """The port whose pull is expected next."""
        return self.targets[0]

    def forget(self, since: float) -> None:
        """Discard its answers before *since*."""
        self.known, self.since, self.away = False, since, []

    def expect(self, target: Target) -> None:
        """Assign the next pull to this port."""
        self.targets.remove(target)
        self.targets.insert(0, target)

    def named(self, row: int) -> Target | None:
        """Return the open port in a row of the screen that a number key can select, or None.

        The only port of an interface whose MAC the plan has needs no key.
        """
        open_ports = (t for t in self.targets if t.ports > 1 or t.mac is None)
        return next((t for t in open_ports if t.row == row), None)

    @property
    def question(self) -> str:
        """The text that asks for the number of the port; empty if the port is certain without a key."""
        if len(self.targets) == 1 and self.target.mac is not None:
            return ""
        if len(self.targets) == 1:
            return f" (press {self.target.row} if the cable in your hand is that of {self.target.subject})"
        keys = " or ".join(f"{target.row} for {target.port}" for target in self.targets)
        return f" (press {keys} to say which port it is)"


REFRESH = 9.0  # broadcast requests a second that the watch may use, of the 10 that the pace allows
REFRESH_EACH = ARP_EVERY  # least seconds between broadcast requests to one address
LARGE = 100  # with more addresses, each gets fewer than five broadcast requests in the minute that counts


class Watch:
    """The probe rates of every address on a walk. `negatives` are, by subnet, the addresses that no host should own."""

    def __init__(self, run: RunState, tracks: Sequence[Track]) -> None:
        """Watch all addresses of the run, including gateways and addresses of ports that are not proven in this run."""
        self._run, self._tracks = run, tracks
        ours = {track.entry for track in tracks}
        self._others = [entry for entry in run.watched.values() if entry not in ours]
        self.negatives = {net.name: [run.scheduler.entry(a, net.name) for a in net.spare] for net in run.scope.nets}

    def negatives_asked(self, subnet: str) -> bool:
        """Return whether the negatives of a subnet have been asked often enough."""
        entries = self.negatives[subnet]
        return not self._run.scheduler.hears_all or all(entry.asked >= NEGATIVE_ASKS for entry in entries)

    def tend(self) -> None:
        """Set the probe rates: a unicast echo a second to each address, and broadcasts as often as the pace allows.

        Broadcast requests let a second owner answer. On a large walk they end once the MAC of the address is known,
        since too few requests a minute are no evidence of silence. The negatives are asked only at the start.
        """
        steady = None if len(self._tracks) > LARGE else max(REFRESH_EACH, len(self._tracks) / REFRESH)
        unknown = sum(not track.known for track in self._tracks)
        missing = any(track.entry.mac is None for track in self._tracks)  # they use half of the pace
        learning = max(REFRESH_EACH, unknown / (REFRESH / 2 if missing else REFRESH))
        echo = self._run.watch_every
        for track in self._tracks:
            if not track.entry.urgent:
                self._ask(track.entry, REFRESH_EACH, steady if track.known else learning, echo)
        rarely = max(REFRESH_EACH, len(self._others) / (REFRESH / 2))
        for entry in self._others:
            self._ask(entry, rarely, None, echo)
        for entry in (entry for entries in self.negatives.values() for entry in entries):
            entry.most_wait = NEGATIVE_WAIT
            self._set_rates(entry, ARP_EVERY if entry.asked < NEGATIVE_ASKS else None, None)

    def _ask(self, entry: AddressState, lost: float, arp: float | None, echo: float) -> None:
        """Probe by ARP alone, every `lost` seconds, if the MAC is unknown or echo is not answered; else by both."""
        if entry.mac is None or entry.missed_echoes >= ECHO_TRIES:
            self._set_rates(entry, lost, None)
        else:
            self._set_rates(entry, arp, echo)

    def _set_rates(self, entry: AddressState, arp: float | None, echo: float | None) -> None:
        if (entry.every[ProbeKind.ARP], entry.every[ProbeKind.ECHO]) != (arp, echo):
            self._run.scheduler.ask(entry, self._run.now, arp=arp, echo=echo)
