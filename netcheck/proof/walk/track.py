"""One address on a walk: the ports of its interface that are still open, and what is known of it."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import AddressState
from netcheck.proof.result import Proof
from netcheck.proof.targets import Target

KEPT = 400  # probes kept of an address: five minutes at the pace of the watch
DIGITS = "123456789"
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
        self.port: PortState | None = None
        self.steps: Steps | None = None
        self.last: dict[str, Proof] = {}  # by port, its newest proof where that left the port open
        self._by_name = all(len(target.port) == 1 and target.port in DIGITS for target in targets)

    @property
    def target(self) -> Target:
        """The port whose pull is expected next."""
        return self.targets[0]

    def expect(self, target: Target) -> None:
        """Expect the next pull at this port."""
        self.targets.remove(target)
        self.targets.insert(0, target)

    def key_of(self, target: Target) -> str:
        """Return the key that names a port: its own name where all are single digits, else its place in the plan."""
        return target.port if self._by_name else str(target.ordinal + 1)

    def named(self, number: int) -> Target | None:
        """Return the open port that a key names; None where there is none. The one port of an interface whose MAC the
        plan has needs no name."""
        open_ports = (t for t in self.targets if t.ports > 1 or t.mac is None)
        return next((t for t in open_ports if self.key_of(t) == str(number)), None)

    @property
    def question(self) -> str:
        """Return the text of the keys that select the port; empty if the port is certain without a key."""
        if len(self.targets) == 1 and self.target.mac is not None:
            return ""
        if len(self.targets) == 1:
            return f" (press {self.key_of(self.target)} if the cable in your hand is that of {self.target.subject})"
        keys = " or ".join(
            key if key == target.port else f"{key} for {target.port}"
            for target in self.targets
            for key in (self.key_of(target),)
        )
        return f" (press {keys} to say which port it is)"
