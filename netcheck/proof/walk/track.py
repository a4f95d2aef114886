"""One address on a walk: the ports of its interface that are still open, and what their pulls have shown."""

from __future__ import annotations

from netcheck.proof.port.phase_in import Steps
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import AddressState
from netcheck.proof.result import Proof
from netcheck.proof.targets import Target
from netcheck.proof.verdict.observation import Observation

KEPT = 400  # probes kept of an address: five minutes at the pace of the watch, in which it gets to be known
DIGITS = "123456789"


class Track:
    """One address on the walk: its interface's ports in order, what is known, and the case that is open, if one is."""

    def __init__(self, line: AddressState, targets: list[Target], since: float) -> None:
        """`since` is when answers begin to count."""
        self.line, self.targets, self.since = line, targets, since
        line.keep(KEPT)
        self.known = False  # it has answered often enough that a silence means something
        self.looked_at = 0  # probes that had been sent when it was last looked at
        self.voices = 1  # MACs heard for the address so far
        self.case: PortState | None = None
        self.steps: Steps | None = None
        self.arps = 0  # broadcast requests that were answered since then, beyond the probes that are kept
        self.first_pull: Observation | None = None  # what the first pull showed
        self.returned = 0.0  # and when it was over
        self.last: dict[str, Proof] = {}  # by port, what its newest case came to, where it left the port open
        self._by_name = all(len(target.port) == 1 and target.port in DIGITS for target in targets)

    @property
    def target(self) -> Target:
        """The port whose pull is expected next."""
        return self.targets[0]

    def expect(self, target: Target) -> None:
        """Take the next pull for this port's."""
        self.targets.remove(target)
        self.targets.insert(0, target)

    def key_of(self, target: Target) -> str:
        """The key that names a port: its own name where all are single digits, else its place in the plan."""
        return target.port if self._by_name else str(target.ordinal + 1)

    def named(self, number: int) -> Target | None:
        """The open port that a key names; None where there is none, or where the interface has one port only."""
        return next((t for t in self.targets if t.ports > 1 and self.key_of(t) == str(number)), None)

    @property
    def question(self) -> str:
        """Which keys say which port is out; nothing where only one is open."""
        if len(self.targets) == 1:
            return ""
        keys = " or ".join(
            key if key == target.port else f"{key} for {target.port}"
            for target in self.targets
            for key in (self.key_of(target),)
        )
        return f" (press {keys} to say which port it is)"
