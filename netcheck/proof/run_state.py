"""What one proving run shares between its parts: the asker, the watch over all other addresses, keys and events."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from random import Random

from netcheck.proof.events import Action, Event, What
from netcheck.proof.probing.address_state import ARP, ECHO, EVER, AddressState, Sighting
from netcheck.proof.probing.scheduler import WATCH_EVERY, ProbeScheduler
from netcheck.proof.run_options import RunOptions
from netcheck.proof.settings.inquiry import Inquiry
from netcheck.proof.targets import Net, Scope, Target
from netcheck.wire.frames import Lldp

FRESH = 5.0  # seconds: a control must have answered in this time before the silence (6-settled-details.md 12)
NEIGHBOURS_KEPT = 64
MACS_KEPT, ADDRESSES_KEPT = 4096, 64  # who spoke for what: MACs, and addresses of each
WATCH_SHARE = 0.8  # of the pace that the watch may use, so that requests of the port under test find room
ECHO_TRIES = 5  # echoes that a watched address may leave unanswered before it is asked by ARP instead
HINT = 1e-2  # a run of misses of a watched address this unlikely says that it fell silent


class Cut(Exception):
    """A phase is cut short; `why` completes the sentence "A phase was cut short: ...". `void` says that nobody wished
    it: the phase meant nothing and could not be repeated."""

    def __init__(self, why: str, *, void: bool = False) -> None:
        super().__init__(why)
        self.why, self.void = why, void


class RunState:
    """Shared state of a run. `now` is set by the prober before anything else is called."""

    def __init__(self, scope: Scope, settings: RunOptions, scheduler: ProbeScheduler, rng: Random) -> None:
        """Nothing is asked yet."""
        self.scope, self.settings, self.scheduler, self.rng = scope, settings, scheduler, rng
        self.now = 0.0
        self.carrier = scheduler.carrier
        self.drops = 0  # times that the carrier under test has dropped
        self.linked = -EVER  # when it came up last; long ago where it was up from the beginning
        self.events: list[Event] = []
        self.enters = 0  # Enter presses that nobody has taken yet
        self.spoken: dict[int, dict[int, float]] = {}  # MAC -> addresses it spoke for on way 0, and when last
        self.owner_of = {target.address: target for target in scope.targets if not target.barred}
        self.watched: dict[int, AddressState] = {}
        self.gateways = {net.gateway: net for net in scope.nets if net.gateway is not None}
        self.neighbours: deque[tuple[float, Lldp]] = deque(maxlen=NEIGHBOURS_KEPT)  # LLDP heard on way 0, and when
        self.inquiry: Inquiry | None = None  # which takes the answers to its questions out of what is heard
        self.proven: dict[int, str] = {}  # MAC -> device/interface already proven in this record

    def say(self, what: What, port: str, text: str, until: float | None = None, mac: int | None = None) -> None:
        """Tell an event."""
        self.events.append(Event(self.now, what, port, text, until, mac=mac))

    def ask(self, action: Action, port: str, text: str, until: float | None = None) -> None:
        """Ask the technician to do something with a cable."""
        self.events.append(Event(self.now, What.DO, port, text, until, action=action))

    def enter(self) -> bool:
        """Take all presses of Enter; say whether there was one."""
        pressed = self.enters > 0
        self.enters = 0
        return pressed

    def take(self, hearing: Sighting) -> None:
        """Remember which addresses a MAC speaks for; of those that say too much, the oldest is forgotten first."""
        if hearing.way:
            return
        addresses = self.spoken.pop(hearing.mac, {})
        addresses.pop(hearing.address, None)
        addresses[hearing.address] = hearing.at
        self.spoken[hearing.mac] = addresses
        if len(addresses) > ADDRESSES_KEPT:
            del addresses[next(iter(addresses))]
        if len(self.spoken) > MACS_KEPT:
            del self.spoken[next(iter(self.spoken))]

    # The watch over every planned address and the gateways

    def watch(self, nets: Iterable[Net]) -> None:
        """Begin to watch all planned addresses and gateways of these subnets."""
        wanted = {address: target.subnet for address, target in self.owner_of.items()}
        wanted |= {address: net.name for address, net in self.gateways.items() if address not in wanted}
        names = {net.name for net in nets}
        for address, name in wanted.items():
            if name in names and address not in self.watched and address not in self.scope.stations:
                self.watched[address] = self.scheduler.line(address, name)
        self.tend(None)

    @property
    def watch_every(self) -> float:
        """Seconds between echoes to one watched address: a second, or more where the pace would leave no room."""
        return max(WATCH_EVERY, len(self.watched) / (WATCH_SHARE * self.settings.pace))

    def tend(self, under_test: AddressState | None) -> None:
        """Ask each watched address the gentlest way that works: one unicast echo a second where its MAC is known and
        it answers echo, else by broadcast within the broadcast pace."""
        for line in self.watched.values():
            by_arp = self.scheduler.hears_all and (line.mac is None or line.missed_echoes >= ECHO_TRIES)
            if line is under_test or line.every[ARP if by_arp else ECHO] is not None:
                continue
            if by_arp:
                self.scheduler.want(line, self.now, arp=WATCH_EVERY)
            else:
                self.scheduler.want(line, self.now, echo=self.watch_every)

    def companions(self, target: Target, since: float, until: float) -> tuple[list[AddressState], AddressState | None]:
        """Controls for a silence: addresses of other devices that answered in this time and do not hang behind this
        port, and the gateway where it answered."""
        others = [
            line
            for address, line in self.watched.items()
            if line.answered_between(since, until) and self._is_other(address, target)
        ]
        gateway = self.scope.net(target.subnet).gateway
        line = self.watched.get(gateway) if gateway is not None and gateway not in self.owner_of else None
        return others, line if line is not None and line.answered_between(since, until) else None

    def _is_other(self, address: int, target: Target) -> bool:
        other = self.owner_of.get(address)
        if other is None or address == target.address or other.device == target.device:
            return False
        return not self.hangs_behind(other, target)

    def hangs_behind(self, other: Target, target: Target) -> bool:
        """Say whether the plan puts the other interface behind a port of this one, directly or through others in
        between: whichever port leads to the network, those behind the others fall silent with it."""
        seen: set[str] = set()
        above = _interface(other.behind)
        while above and above not in seen:
            if above == target.interface:
                return True
            seen.add(above)
            above = next((_interface(t.behind) for t in self.scope.targets if t.interface == above), "")
        return False

    def fell(self, line: AddressState, limit: float = HINT, least: int = 2) -> bool:
        """Say whether a watched address has fallen silent, so that luck explains it with a chance below the limit."""
        if line.mac is None or not line.answered or self.now - line.answered[-1] < 2.0:
            return False
        return line.fallen(line.mac, -EVER, limit, least)

    def macs_of(self, device: str) -> frozenset[int]:
        """The MACs planned for a device."""
        return frozenset(mac for mac, subject in self.scope.macs.items() if subject.split("/")[0] == device)

    def shared(self, target: Target, mac: int, since: float) -> list[str]:
        """Planned interfaces of other devices whose addresses a MAC spoke for since then."""
        owners = [
            self.owner_of[address]
            for address, line in self.watched.items()
            if address in self.owner_of and any(hearing.mac == mac for hearing in line.heard(since))
        ]
        others = (o for o in owners if o.device != target.device and o.address != target.address)
        return list(dict.fromkeys(other.interface for other in others))

    def word(self, line: AddressState) -> str:
        """A watched address in words: the planned interface and the address."""
        target = self.owner_of.get(line.address)
        return f"{target.interface} ({target.address_text})" if target is not None else "the gateway"


def _interface(port: str) -> str:
    """`device/interface` of `device/interface:port`."""
    return port.rsplit(":", 1)[0]
