"""What one run shares between its parts: the scheduler, the watch over all other addresses, keys, events and proofs."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from random import Random

from netcheck.proof.events import Action, Event, RunOptions, What
from netcheck.proof.probing.address_state import ARP, ECHO, EVER, AddressState, Sighting
from netcheck.proof.probing.scheduler import WATCH_EVERY, ProbeScheduler
from netcheck.proof.result import PASSED, Proof
from netcheck.proof.settings.inquiry import Inquiry
from netcheck.proof.targets import Net, Scope, Target
from netcheck.proof.verdict.judge import judge
from netcheck.proof.verdict.names import UNKNOWN, Names
from netcheck.proof.verdict.observation import Observation
from netcheck.wire.frames import Lldp

FRESH = 5.0  # seconds before a silence in which a control must have answered
NEIGHBOURS_KEPT = 64
MACS_KEPT, ADDRESSES_KEPT = 4096, 64  # MACs remembered, and addresses of each
WATCH_SHARE = 0.8  # share of the pace that the watch may use, so that requests of the port under test find room
ECHO_TRIES = 5  # echoes that a watched address may leave unanswered before it is asked by ARP instead
HINT = 1e-2  # a run of misses of a watched address this unlikely suggests that it fell silent

OUT_AFTER = 6.0  # seconds without an answer after which a watched address is out: common practice, no source
HOLDS = 2.5  # seconds after which a warning that is no longer renewed does not hold: phases look every 0.25 s
REASON_LASTS = 60.0  # seconds for which a reason is shown without a request: common practice, no source
SAME_MOMENT = 1.0  # seconds within which a warning and a request belong together
# Events after which the request and the reason shown for a port no longer apply.
CHANGES = (What.HEARD, What.KNOWN, What.SILENT, What.RETURNED, What.SEEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class CableRequest:
    """What the technician is asked to do; `until` is the deadline on the link's clock."""

    action: Action
    text: str
    until: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """What is waited for, and until when on the link's clock."""

    text: str
    until: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Warned:
    """A warning that was given at `at`. One that `holds` is renewed for as long as it is true; any other is the reason
    of a request, and stays until something changes."""

    at: float
    port: str
    text: str
    holds: bool


class Void(Exception):
    """The phase proves nothing and is repeated; the text says why."""


class Cut(Exception):
    """A phase is cut short; `why` completes the sentence "A phase was cut short: ...". `void` says that this
    was not requested: the phase proved nothing and could not be repeated; `skipped` that the operator skips the
    port."""

    def __init__(self, why: str, *, void: bool = False, skipped: bool = False) -> None:
        super().__init__(why)
        self.why, self.void, self.skipped = why, void, skipped


class RunState:
    """Shared state of a run. `now` is set by the prober before anything else is called."""

    def __init__(
        self, scope: Scope, options: RunOptions, scheduler: ProbeScheduler, rng: Random, names: Names = UNKNOWN
    ) -> None:
        """Start with nothing sent."""
        self.scope, self.options, self.scheduler, self.rng, self.names = scope, options, scheduler, rng, names
        self.now = self.started = 0.0
        self.carrier = scheduler.carrier
        self.gone = False  # the interface under test is administratively down or removed
        self.drops = 0  # times that the carrier under test has dropped
        self.linked = -EVER  # when it came up last; long ago where it was up from the beginning
        self.disturbances, self.disturbance = 0, ""  # times that netcheck itself did not run, and the last reason
        self.lost_frames = 0  # received frames that the kernel dropped before they could be read
        self.events: list[Event] = []
        self.requests: dict[str, CableRequest] = {}  # what is asked of the technician, by port; "" where it names none
        self.waits: dict[str, Wait] = {}  # what is waited for, by port
        self.warned: Warned | None = None  # the newest warning
        self.moved: Target | None = None  # the connector to which a cable was moved, and in which it is not as planned
        self.enters = 0  # presses of Enter that no phase has taken yet
        self.spoken: dict[int, dict[int, float]] = {}  # MAC -> addresses it spoke for on adapter 0, and when last
        self.owner_of = {target.address: target for target in scope.targets if not target.barred}
        self.watched: dict[int, AddressState] = {}
        self.gateways = {net.gateway: net for net in scope.nets if net.gateway is not None}
        self.neighbours: deque[tuple[float, Lldp]] = deque(maxlen=NEIGHBOURS_KEPT)  # LLDP heard on adapter 0, and when
        self.inquiry: Inquiry | None = None  # takes the answers to its own requests out of what is heard
        self.proven: dict[int, str] = {}  # MAC -> device/interface already proven in this record
        self.lack: dict[str, str] = {}  # subnets without an address to ask from, and why
        self.proofs: list[Proof] = []
        for target in self.owner_of.values():  # whatever is heard for a planned address counts from the start
            scheduler.entry(target.address, target.subnet)

    def say(self, what: What, port: str, text: str, until: float | None = None, mac: int | None = None) -> None:
        """Emit an event."""
        if what in CHANGES:
            self.drop_request(port)
            self.warned = None
        elif what is What.WAIT:
            self._wait(port, text, until)
        self.events.append(Event(at=self.now, what=what, port=port, text=text, until=until, mac=mac))

    def ask(self, action: Action, port: str, text: str, until: float | None = None) -> None:
        """Ask the technician to do something with a cable. The reason of an earlier request no longer applies, and what
        holds is said again at the next look."""
        self.drop_request(port)
        self.requests[port] = CableRequest(action=action, text=text, until=until)
        if self.warned is not None and (self.warned.holds or self.now - self.warned.at > SAME_MOMENT):
            self.warned = None
        self.events.append(Event(at=self.now, what=What.DO, port=port, text=text, until=until, action=action))

    def _wait(self, port: str, text: str, until: float | None) -> None:
        """Note what is waited for. A movement that was confirmed is no longer asked for; a cable that may be in already
        is asked for until its device answers."""
        asked = self.requests.get(port)
        if asked is not None and asked.action is not Action.CONNECT:
            self.drop_request(port)
        self.waits[port] = Wait(text=text, until=until)

    def drop_request(self, port: str) -> None:
        """Ask nothing of the technician for a port any more."""
        self.requests.pop(port, None)
        self.waits.pop(port, None)

    def warn(self, port: str, text: str, *, holds: bool = False, silently: bool = False) -> None:
        """Warn of something. *holds* says that it is true now, and that this is called again while it is true;
        *silently* that the event was emitted just now."""
        self.warned = Warned(at=self.now, port=port, text=text, holds=holds)
        if not silently:
            self.say(What.WARN, port, text)

    def warning_now(self) -> Warned | None:
        """Return the warning that applies now."""
        if self.warned is None:
            return None
        if not self.warned.holds and self.warned.port and self.warned.port in self.requests:
            return self.warned  # the reason of a request that still stands
        lasts = HOLDS if self.warned.holds else REASON_LASTS
        return self.warned if self.now - self.warned.at <= lasts else None

    def put(self, seen: Observation) -> None:
        """Judge a port and keep its proof."""
        self.put_proof(judge(seen, self.names))

    def put_proof(self, proof: Proof) -> None:
        """Keep a proof, and emit its event."""
        self.proofs.append(proof)
        self.drop_request(proof.subject)
        if self.warned is not None and self.warned.port == proof.subject:
            self.warned = None
        if proof.verdict in PASSED and proof.mac is not None:
            self.proven[proof.mac] = proof.interface
        text = f"{proof.verdict}: {proof.why}"
        self.events.append(Event(at=self.now, what=What.VERDICT, port=proof.subject, text=text, proof=proof))

    def take_enter(self) -> bool:
        """Take all presses of Enter; return whether there was one."""
        pressed = self.enters > 0
        self.enters = 0
        return pressed

    def disturb(self, why: str) -> None:
        """Note that netcheck itself did not run for a while: the running phases prove nothing."""
        self.disturbances, self.disturbance = self.disturbances + 1, why
        self.warn("", f"{why[:1].upper()}{why[1:]}")

    def take(self, sighting: Sighting) -> None:
        """Remember which addresses a MAC speaks for; where they are too many, the oldest is dropped."""
        if sighting.adapter:
            return
        addresses = self.spoken.pop(sighting.mac, {})
        addresses.pop(sighting.address, None)
        addresses[sighting.address] = sighting.at
        self.spoken[sighting.mac] = addresses
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
                self.watched[address] = self.scheduler.entry(address, name)
        self.tend(None)

    @property
    def watch_every(self) -> float:
        """Seconds between echoes to one watched address: one, or more where the pace would leave no room."""
        return max(WATCH_EVERY, len(self.watched) / (WATCH_SHARE * self.options.pace))

    def tend(self, under_test: AddressState | None) -> None:
        """Ask each watched address in the gentlest way that works: one unicast echo a second where its MAC is known and
        it answers echo, else by broadcast ARP within the broadcast pace."""
        for entry in self.watched.values():
            by_arp = self.scheduler.hears_all and (entry.mac is None or entry.missed_echoes >= ECHO_TRIES)
            if entry is under_test or entry.every[ARP if by_arp else ECHO] is not None:
                continue
            if by_arp:
                self.scheduler.ask(entry, self.now, arp=WATCH_EVERY)
            else:
                self.scheduler.ask(entry, self.now, echo=self.watch_every)

    def companions(self, target: Target, since: float, until: float) -> tuple[list[AddressState], AddressState | None]:
        """Return the controls for a silence: addresses of other devices that answered in this time and are not attached
        behind this port, and the gateway where it answered."""
        others = [
            entry
            for address, entry in self.watched.items()
            if entry.answered_between(since, until) and self._is_other(address, target)
        ]
        gateway = self.scope.net(target.subnet).gateway
        entry = self.watched.get(gateway) if gateway is not None and gateway not in self.owner_of else None
        return others, entry if entry is not None and entry.answered_between(since, until) else None

    def _is_other(self, address: int, target: Target) -> bool:
        other = self.owner_of.get(address)
        if other is None or address == target.address or other.device == target.device:
            return False
        return not self.hangs_behind(other, target)

    def hangs_behind(self, other: Target, target: Target) -> bool:
        """Return whether the plan puts the other interface behind a port of this one, directly or through others.
        Whichever port leads to the network, the interfaces behind the other ports fall silent with it."""
        seen: set[str] = set()
        above = _interface(other.behind)
        while above and above not in seen:
            if above == target.interface:
                return True
            seen.add(above)
            above = next((_interface(t.behind) for t in self.scope.targets if t.interface == above), "")
        return False

    def fell(self, entry: AddressState, limit: float = HINT, least: int = 2) -> bool:
        """Return whether a watched address has fallen silent: the chance that its misses are luck is below the
        limit."""
        if entry.mac is None or not entry.answered or self.now - entry.answered[-1] < 2.0:
            return False
        return entry.fallen(entry.mac, -EVER, limit, least)

    def is_out(self, entry: AddressState) -> bool:
        """Return whether a watched address that answered before is out, for the screen and before the next port. A
        weaker limit and a time are enough, since misses of an earlier outage must not hide it. It proves nothing."""
        return self.fell(entry, HINT, 3) and self.now - entry.answered[-1] > OUT_AFTER

    def hangs_at(self, other: Target, target: Target) -> bool:
        """Return whether the plan puts the other interface behind this very port, directly or through others."""
        seen: set[str] = set()
        above = other.behind
        while above and above not in seen and other.interface != target.interface:
            if above == target.subject:
                return True
            seen.add(above)
            above = next((t.behind for t in self.scope.targets if t.interface == _interface(above)), "")
        return False

    def macs_of(self, device: str) -> frozenset[int]:
        """Return the MACs planned for a device."""
        return frozenset(mac for mac, subject in self.scope.macs.items() if subject.split("/")[0] == device)

    def shared(self, target: Target, mac: int, since: float) -> list[Target]:
        """Return other planned interfaces whose addresses a MAC spoke for since then."""
        owners = [
            self.owner_of[address]
            for address, entry in self.watched.items()
            if address in self.owner_of and any(sighting.mac == mac for sighting in entry.heard(since))
        ]
        return [other for other in owners if other.address != target.address]

    def word(self, entry: AddressState) -> str:
        """Return the planned interface and the address of a watched address as text."""
        target = self.owner_of.get(entry.address)
        return f"{target.interface} ({target.address_text})" if target is not None else "the gateway"


def _interface(port: str) -> str:
    """Return `device/interface` of `device/interface:port`."""
    return port.rsplit(":", 1)[0]
