"""The watch of a walk: asks every address slowly, but often enough that its silence is evidence."""

from __future__ import annotations

from collections.abc import Sequence

from netcheck.proof.port.phase_in import CONTROL_ASKS, CONTROL_WAIT
from netcheck.proof.probing.address_state import AddressState, ProbeKind
from netcheck.proof.run_state import ECHO_TRIES, RunState
from netcheck.proof.verdict.silence_rule import ARP_EVERY
from netcheck.proof.walk.track import Track

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
