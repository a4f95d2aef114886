"""One address on a walk: the ports of its interface that are still open, what is known of it, and how often it is
asked."""

from __future__ import annotations

from collections.abc import Generator, Sequence

from netcheck.proof.port.phase_in import CONTROL_ASKS, CONTROL_WAIT
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, AddressState, ProbeKind, Stage
from netcheck.proof.result import Proof
from netcheck.proof.run_state import ECHO_TRIES, RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.silence_rule import ARP_EVERY

KEPT = 400  # probes kept of an address: five minutes at the pace of the watch
SHOWN = 2.0  # seconds without an answer after which an address is shown as silent, so that it shows within three
SEEMS = 2e-2  # a run of misses of this chance is shown as a silence: one miss of a device that never missed before
Steps = Generator[None, None, None]


class Track:
    """One address on the walk: its interface's ports in order, what is known, and the port whose pull is examined."""

    def __init__(self, entry: AddressState, targets: list[Target], since: float) -> None:
        """`since` is when answers begin to count."""
        self.entry, self.targets, self.since = entry, targets, since
        entry.keep(KEPT)
        self.known = False  # it has answered often enough that a silence means something
        self.looked_at = 0  # probes that had been sent when it was last looked at
        self.macs = 1  # MACs heard for the address so far
        self.arps = 0  # broadcast requests that were answered, beyond the probes that are kept
        self.asked_before = (entry.asked_arp, entry.asked - entry.asked_arp)  # when it began to be watched
        self.unrequested = 0  # silences that nobody asked for
        self.away: list[list[float]] = []  # silences that did not count: [last answered probe before, first one after]
        self.shown = False  # it is shown as silent, although the silence does not count
        self.together: list[AddressState] = []  # what fell silent with it in the newest of these silences
        self.chained: set[AddressState] = set()  # what fell silent and returned with it before
        self.port: PortState | None = None
        self.steps: Steps | None = None
        self.proofs: dict[str, Proof] = {}  # by port, its newest proof where that left the port open

    @property
    def last(self) -> float:
        """When the newest probe was sent that it answered."""
        return self.entry.answered[-1]

    @property
    def still_out(self) -> bool:
        """A silence that does not count goes on."""
        return bool(self.away) and self.away[-1][1] == EVER

    def silent(self, now: float) -> bool:
        """Return whether it seems to be out: it left its newest requests unanswered, which proves nothing yet."""
        mac = self.entry.mac
        return now - self.last > SHOWN and mac is not None and self.entry.fallen(mac, -EVER, SEEMS, 1)

    def put_aside(self, away: list[list[float]], together: list[AddressState]) -> None:
        """Keep the silences that did not count out of the count of its answers."""
        self.away, self.together = away[-KEPT:], together

    def end_silence(self) -> float | None:
        """End the silence that does not count, once it is over; return when its first answered probe was sent."""
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
        """Discard its answers before a time."""
        self.known, self.since, self.away = False, since, []

    def expect(self, target: Target) -> None:
        """Expect the next pull at this port."""
        self.targets.remove(target)
        self.targets.insert(0, target)

    def named(self, row: int) -> Target | None:
        """Return the open port of a row of the screen; None where it is in another track. The one port of an interface
        whose MAC the plan has needs no name."""
        open_ports = (t for t in self.targets if t.ports > 1 or t.mac is None)
        return next((t for t in open_ports if t.row == row), None)

    @property
    def question(self) -> str:
        """Return the text of the numbers that select the port; empty if the port is certain without a key."""
        if len(self.targets) == 1 and self.target.mac is not None:
            return ""
        if len(self.targets) == 1:
            return f" (press {self.target.row} if the cable in your hand is that of {self.target.subject})"
        keys = " or ".join(f"{target.row} for {target.port}" for target in self.targets)
        return f" (press {keys} to say which port it is)"


REFRESH = 9.0  # broadcast requests a second that the watch may use in all, of the 10 of the pace
REFRESH_EACH = ARP_EVERY  # seconds between those to one address, at the least
LARGE = 100  # addresses: above, broadcast requests to all come less often than five in the minute that counts


class Watch:
    """The probe rates of every address on a walk. `controls` are, by subnet, the addresses that no host should own."""

    def __init__(self, run: RunState, tracks: Sequence[Track]) -> None:
        """Watch all addresses of the run, including gateways and addresses whose ports are not to be proven."""
        self._run, self._tracks = run, tracks
        ours = {track.entry for track in tracks}
        self._others = [entry for entry in run.watched.values() if entry not in ours]
        self.controls = {net.name: [run.scheduler.entry(a, net.name) for a in net.spare] for net in run.scope.nets}

    def controls_asked(self, subnet: str) -> bool:
        """Return whether the control addresses of a subnet have been asked often enough."""
        return not self._run.scheduler.hears_all or all(entry.asked >= CONTROL_ASKS for entry in self.controls[subnet])

    def tend(self) -> None:
        """Set the probe rates: a unicast echo a second to each address, and broadcasts as often as the pace allows.

        Broadcast requests let a second owner answer. On a large walk they end once the MAC of the address is known,
        since too few requests a minute are no evidence of silence. Control addresses are asked at the start.
        """
        steady = None if len(self._tracks) > LARGE else max(REFRESH_EACH, len(self._tracks) / REFRESH)
        unknown = sum(not track.known for track in self._tracks)
        missing = any(track.entry.mac is None for track in self._tracks)  # half the pace is theirs
        learning = max(REFRESH_EACH, unknown / (REFRESH / 2 if missing else REFRESH))
        echo = self._run.watch_every
        for track in self._tracks:
            if not track.entry.urgent:
                self._ask(track.entry, REFRESH_EACH, steady if track.known else learning, echo)
        rarely = max(REFRESH_EACH, len(self._others) / (REFRESH / 2))
        for entry in self._others:
            self._ask(entry, rarely, None, echo)
        for entry in (entry for entries in self.controls.values() for entry in entries):
            entry.most_wait = CONTROL_WAIT
            self._set_rates(entry, ARP_EVERY if entry.asked < CONTROL_ASKS else None, None)

    def _ask(self, entry: AddressState, lost: float, arp: float | None, echo: float) -> None:
        """Ask only by ARP, every `lost` seconds, if the MAC is not known or echo is ignored; otherwise by both."""
        if entry.mac is None or entry.missed_echoes >= ECHO_TRIES:
            self._set_rates(entry, lost, None)
        else:
            self._set_rates(entry, arp, echo)

    def _set_rates(self, entry: AddressState, arp: float | None, echo: float | None) -> None:
        if (entry.every[ProbeKind.ARP], entry.every[ProbeKind.ECHO]) != (arp, echo):
            self._run.scheduler.ask(entry, self._run.now, arp=arp, echo=echo)
