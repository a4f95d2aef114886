"""The head start of the next port: requests to its address begin while the port under test comes back.

The technician's hand and a slow switch take seconds until a port answers again. Meanwhile the answers of the next port
are counted, and its phase `in` is over when its turn comes. Only then is its cable asked for. If two ports fall silent
at once, neither silence tells which connector was pulled.
"""

from __future__ import annotations

from netcheck.proof.events import What
from netcheck.proof.port.answers import GAP
from netcheck.proof.port.phase_in import ask_negatives
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, FEW
from netcheck.proof.result import Phase
from netcheck.proof.run_state import WATCH_SHARE, RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY


def may_begin(port: PortState, target: Target) -> bool:
    """Return whether the requests to the next port, *target*, may begin while *port* comes back.

    They may begin only through a switch, where both ports are connected, and with keys: hands-free, the technician
    walks to the next port during its phase `in`. They do not begin if the cable of the next port must be moved first,
    if the next port can fall silent together with this port, or if the pace leaves no room for two ports in addition
    to the watch.
    """
    run, options = port.run, port.run.options
    both_fit = 2 * options.pace_each <= (1 - WATCH_SHARE) * options.pace
    elsewhere = target.device != port.target.device and not run.is_behind_interface(target, port.target)
    unsuited = options.direct or options.hands_free or not run.scheduler.hears_all
    cables_stay = run.moved is None and not target.ordinal
    return port.phase is Phase.BACK and elsewhere and both_fit and cables_stay and not unsuited


class HeadStart:
    """The requests to the next port before its turn. `broken`: its answers were interrupted, so none counts."""

    def __init__(self, run: RunState, target: Target) -> None:
        """Begin the requests. They are not urgent: those of the port under test go first."""
        self.run, self.target = run, target
        self.port = PortState(run, target)
        self.broken = False
        run.scheduler.ask(self.port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY)

    def step(self) -> None:
        """Check that the port keeps answering, and send requests to the addresses that nobody should own."""
        port = self.port
        if port.mac is None:
            if (found := port.first_answer(port.began)) is None:
                return
            port.mac, port.first = found
        if not self._holds():
            self.broken = True
        else:
            ask_negatives(port)

    def _holds(self) -> bool:
        """Return whether the port answers, and this computer was not disturbed since the first request."""
        run, port = self.run, self.port
        undisturbed = (run.drops, run.disturbances) == (port.drops, port.disturbances)
        return undisturbed and run.carrier[0] and not run.gone and run.now - port.last_sign() <= GAP

    def hand_over(self) -> PortState | None:
        """Return the state with which the turn of the port begins; None if the head start must not count."""
        port, run = self.port, self.run
        if self.broken or port.mac is None or not self._holds() or run.options.hands_free:
            return None
        port.head_start, port.mac, port.first = run.now - port.began, None, EVER  # it must also answer in its own turn
        run.scheduler.ask(port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
        return port

    def stop(self) -> None:
        """Return to the request rate of the watch."""
        for entry in (self.port.entry, *self.port.negatives):
            self.run.scheduler.ask(entry, self.run.now)
        self.port.entry.keep(FEW)

    def announce(self) -> None:
        """Tell the technician which port is next, and where it is."""
        place = ", ".join(filter(None, (self.target.place, self.target.switch_port)))
        where = f", {place}" if place else ""
        self.run.say(What.NEXT, self.target.subject, f"It is next{where}; netcheck counts its answers already")
