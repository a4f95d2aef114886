"""The head start of the next port: its address is asked already while the port before it comes back.

A hand and a slow switch take seconds until a port answers again. Meanwhile the answers of the next port are counted, so
that its phase `in` is over when its turn comes. Its cable is asked for only then, because of two silences at once
neither tells which connector was pulled.
"""

from __future__ import annotations

from netcheck.proof.events import What
from netcheck.proof.port.answers import GAP
from netcheck.proof.port.phase_in import controls_asked
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, FEW
from netcheck.proof.result import Phase
from netcheck.proof.run_state import WATCH_SHARE, RunState
from netcheck.proof.targets import Target
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY


def may_begin(port: PortState, target: Target) -> bool:
    """Return whether the next port may be asked while this one comes back.

    It may be asked only through a switch, where both are connected, and with keys: hands-free, a person walks to the
    next port during its phase `in`. It is not asked if its cable must be moved first, if it may fall silent with this
    one, or if the pace leaves no room for two ports in addition to the watch."""
    run, options = port.run, port.run.options
    both_fit = 2 * options.pace_each <= (1 - WATCH_SHARE) * options.pace
    elsewhere = target.device != port.target.device and not run.hangs_behind(target, port.target)
    alike = options.direct or options.hands_free or not run.scheduler.hears_all
    return port.phase is Phase.BACK and elsewhere and both_fit and run.moved is None and not (target.ordinal or alike)


class HeadStart:
    """The requests to the next port before its turn. `broken` says that its answers were interrupted, so that none of
    them counts."""

    def __init__(self, run: RunState, target: Target) -> None:
        """Begin to ask. Where the pace is short, the port under test goes first."""
        self.run, self.target = run, target
        self.port = PortState(run, target)
        self.broken = False
        run.scheduler.ask(self.port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY)

    def look(self) -> None:
        """See that its answers follow one another, and ask the addresses that nobody should own."""
        port = self.port
        if port.mac is None:
            if (found := port.first_answer(port.began)) is None:
                return
            port.mac, port.first = found
        if not self._holds():
            self.broken = True
        else:
            controls_asked(port)

    def _holds(self) -> bool:
        """Return whether it answers, and this computer has been listening since it was first asked."""
        run, port = self.run, self.port
        undisturbed = (run.drops, run.disturbances) == (port.drops, port.disturbances)
        return undisturbed and run.carrier[0] and not run.gone and run.now - port.last_sign() <= GAP

    def take(self) -> PortState | None:
        """Return the state with which the turn of the port begins, None where nothing of it may count."""
        port, run = self.port, self.run
        if self.broken or port.mac is None or not self._holds() or run.options.hands_free:
            return None
        port.head_start, port.mac, port.first = run.now - port.began, None, EVER  # it must answer in its turn as well
        run.scheduler.ask(port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
        return port

    def drop(self) -> None:
        """Ask no more than the watch does."""
        for entry in (self.port.entry, *self.port.negatives):
            self.run.scheduler.ask(entry, self.run.now)
        self.port.entry.keep(FEW)

    def announce(self) -> None:
        """Say which port is next, and where it is."""
        place = ", ".join(filter(None, (self.target.place, self.target.switch_port)))
        where = f", {place}" if place else ""
        self.run.say(What.NEXT, self.target.subject, f"It is next{where}; its address is asked already")
