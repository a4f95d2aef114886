"""The addresses that probes are sent from: in each subnet this computer's own or the plan's station address."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from random import Random

from netcheck.addr import quad
from netcheck.proof.events import What
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Net
from netcheck.text import listed

# RFC 5227 section 1.1: PROBE_WAIT, PROBE_NUM, PROBE_MIN, PROBE_MAX, ANNOUNCE_WAIT. PROBE_MIN is a little longer, so
# that jitter does not put two probes into one second.
PROBE_WAIT, PROBE_NUM, PROBE_MIN, PROBE_MAX, ANNOUNCE_WAIT = 1.0, 3, 1.01, 2.0, 2.0
Steps = Generator[None, None, None]


class StationAddresses:
    """The addresses that probes are sent from. A subnet without one is recorded in `RunState.lack` with the reason."""

    def __init__(self, run: RunState, rng: Random) -> None:
        """Start without an address."""
        self.run, self.scheduler, self._rng = run, run.scheduler, rng

    def trouble(self) -> str:
        """Return why no frame may be sent: an address of this computer is planned for a device. Empty if none is."""
        for adapter in self.scheduler.adapters:
            for address, _ in adapter.addresses:
                if address in self.run.owner_of:
                    return f"{quad(address)} is planned for a device, and this computer has it on {adapter.name}"
        for address in sorted(self.run.scope.stations):
            if address in self.run.owner_of:
                return f"the plan's station address {quad(address)} is planned for a device as well"
        return ""

    def choose(self, net: Net) -> None:
        """Choose the sender address of a subnet on each interface: the operating system's own address, if it has one.

        Only the interface under test sends from a borrowed address: the plan reserves it for this one link.
        """
        for number, adapter in enumerate(self.scheduler.adapters):
            inside = [address for address, _ in adapter.addresses if net.holds(address)]
            own = inside or [address for address, _ in adapter.addresses if number]
            if own:
                self.scheduler.senders[number, net.name] = own[0]
        if (0, net.name) not in self.scheduler.senders and net.station is None:
            self.run.lack[net.name] = (
                f"this computer has no address in {net.name}, and the plan has no [[station]] there"
            )

    def claim(self, nets: Iterable[Net]) -> Steps:
        """Borrow the plan's station address in subnets where the operating system has no address, then watch them.

        An address is borrowed only if no host answers for it. Addresses that were borrowed before are checked again.
        """
        nets = list(nets)
        borrow = [net for net in nets if net.station is not None and self._to_be_borrowed(net)]
        if borrow:
            yield from self._check_free({net.station: net.name for net in borrow if net.station is not None})
        for net in borrow:
            if net.station is not None:
                self.scheduler.senders[0, net.name] = net.station
        self.run.watch(nets)

    def _to_be_borrowed(self, net: Net) -> bool:
        sender = self.scheduler.senders.get((0, net.name))
        return sender is None or sender in self.scheduler.matcher.borrowed

    def _check_free(self, addresses: dict[int, str]) -> Steps:
        """Send three ARP probes for each address, timed by RFC 5227 section 2.1.1; no other probe is sent meanwhile.

        A host that has one of them sets `ReplyMatcher.conflict`.
        """
        matcher = self.scheduler.matcher
        matcher.claiming.update(addresses)
        self.scheduler.paused = True
        names = listed(list(map(quad, addresses)), joint="or")
        self.run.say(What.WAIT, "", f"Checking that no host has {names} before netcheck sends from it")
        try:
            yield from self._pause(self._rng.uniform(0, PROBE_WAIT))
            for turn in range(PROBE_NUM):
                for address, name in addresses.items():
                    self.scheduler.ask_anonymously(self.run.now, self.scheduler.entry(address, name))
                last = turn == PROBE_NUM - 1
                yield from self._pause(ANNOUNCE_WAIT if last else self._rng.uniform(PROBE_MIN, PROBE_MAX))
        finally:
            self.scheduler.paused = False
            self.run.drop_request("")
            matcher.claiming.difference_update(addresses)
        matcher.borrowed.update(addresses)

    def _pause(self, seconds: float) -> Steps:
        until = self.run.now + seconds
        while self.run.now < until:
            yield
