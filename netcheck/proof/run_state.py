"""The state that the parts of a run share: scheduler, watched addresses, keys, requests, events and proofs."""

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

FRESH = 5.0  # a control must have answered within these seconds before a silence
NEIGHBOURS_KEPT = 64  # LLDP frames remembered
MACS_KEPT, ADDRESSES_KEPT = 4096, 64  # MACs remembered, and addresses of each
WATCH_SHARE = 0.8  # share of the pace that the watch may use; the rest is for the port under test
ECHO_TRIES = 5  # echo requests in a row that a watched address may leave unanswered before it is asked by ARP instead
HINT = 1e-2  # misses in a row with a chance below this suggest that a watched address fell silent

OUT_AFTER = 6.0  # seconds without an answer after which a watched address is out: common practice, no source
HOLDS = 2.5  # seconds until a warning that is not renewed ends: phases renew it every 0.25 s
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
    """The reason to wait; `until` is its deadline on the link's clock."""

    text: str
    until: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Warned:
    """A warning that was given or renewed at `at`.

    A warning that `holds` is renewed while it is true. Any other is the reason of a request, and is shown until
    something changes.
    """

    at: float
    port: str
    text: str
    holds: bool


class Void(Exception):
    """Raised if the phase proves nothing and must be repeated; the text says why."""


class Cut(Exception):
    """Raised to cut a phase short. `why` completes the sentence "A phase was cut short: ...".

    `void`: the phase proved nothing and could not be repeated. `skipped`: the operator skipped the port.
    """

    def __init__(self, why: str, *, void: bool = False, skipped: bool = False) -> None:
        super().__init__(why)
        self.why, self.void, self.skipped = why, void, skipped


class RunState:
    """The shared state of a run. The prober sets `now`, in seconds on the link's clock, before it calls other parts."""

    def __init__(
        self, scope: Scope, options: RunOptions, scheduler: ProbeScheduler, rng: Random, names: Names = UNKNOWN
    ) -> None:
        """Start without requests and proofs."""
        self.scope, self.options, self.scheduler, self.rng, self.names = scope, options, scheduler, rng, names
        self.now = self.started = 0.0
        self.carrier = scheduler.carrier
        self.gone = False  # the interface under test is administratively down or removed
        self.drops = 0  # how often the carrier under test has dropped
        self.linked = -EVER  # time of the last link up; -EVER if the link was up from the beginning
        self.disturbances, self.disturbance = 0, ""  # how often netcheck did not run, and the last reason
        self.lost_frames = 0  # received frames that the kernel dropped before they could be read
        self.events: list[Event] = []
        self.requests: dict[str, CableRequest] = {}  # requests to the technician by port, "" for one without a port
        self.waits: dict[str, Wait] = {}  # reasons to wait by port
        self.warned: Warned | None = None  # the newest warning
        self.moved: Target | None = None  # the connector that a cable was moved to, until it is put back
        self.enters = 0  # presses of Enter that no phase has taken yet
        self.heard_for: dict[int, dict[int, float]] = {}  # MAC -> address it was heard for on adapter 0 -> when last
        self.owner_of = {target.address: target for target in scope.targets if not target.barred}
        self.watched: dict[int, AddressState] = {}
        self.gateways = {net.gateway: net for net in scope.nets if net.gateway is not None}
        self.neighbours: deque[tuple[float, Lldp]] = deque(maxlen=NEIGHBOURS_KEPT)  # LLDP heard on adapter 0, and when
        self.inquiry: Inquiry | None = None  # the search for settings in progress; it reads the answers to its requests
        self.proven: dict[int, str] = {}  # MAC -> device/interface already proven in this record
        self.lack: dict[str, str] = {}  # subnet without an address to send from -> why
        self.proofs: list[Proof] = []
        for target in self.owner_of.values():  # frames for a planned address count from the start of the run
            scheduler.entry(target.address, target.subnet)

    def say(self, what: What, port: str, text: str, until: float | None = None, mac: int | None = None) -> None:
        """Emit an event. An event of CHANGES also ends the request and the warning of the port."""
        if what in CHANGES:
            self.drop_request(port)
            self.warned = None
        elif what is What.WAIT:
            self._wait(port, text, until)
        self.events.append(Event(at=self.now, what=what, port=port, text=text, until=until, mac=mac))

    def ask(self, action: Action, port: str, text: str, until: float | None = None) -> None:
        """Ask the technician to do something with a cable.

        This ends the shown warning: the reason of an earlier request no longer applies, and a warning that holds is
        renewed at the next step.
        """
        self.drop_request(port)
        self.requests[port] = CableRequest(action=action, text=text, until=until)
        if self.warned is not None and (self.warned.holds or self.now - self.warned.at > SAME_MOMENT):
            self.warned = None
        self.events.append(Event(at=self.now, what=What.DO, port=port, text=text, until=until, action=action))

    def _wait(self, port: str, text: str, until: float | None) -> None:
        """Record the reason to wait.

        This ends the request of the port, since its movement was confirmed. A request to connect stays until the device
        answers, since the cable may be in already.
        """
        asked = self.requests.get(port)
        if asked is not None and asked.action is not Action.CONNECT:
            self.drop_request(port)
        self.waits[port] = Wait(text=text, until=until)

    def drop_request(self, port: str) -> None:
        """End the request and the wait of a port."""
        self.requests.pop(port, None)
        self.waits.pop(port, None)

    def warn(self, port: str, text: str, *, holds: bool = False, silently: bool = False) -> None:
        """Show a warning and emit its event.

        *holds*: the warning is true now, and the caller renews it while it is true. *silently*: emit no event, since it
        was emitted a short time ago.
        """
        self.warned = Warned(at=self.now, port=port, text=text, holds=holds)
        if not silently:
            self.say(What.WARN, port, text)

    def warning_now(self) -> Warned | None:
        """Return the warning that applies now."""
        if self.warned is None:
            return None
        if not self.warned.holds and self.warned.port and self.warned.port in self.requests:
            return self.warned  # the reason of a request that is still open
        lasts = HOLDS if self.warned.holds else REASON_LASTS
        return self.warned if self.now - self.warned.at <= lasts else None

    def put(self, seen: Observation) -> None:
        """Judge a port, keep its proof, and emit its event."""
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
        """Record that netcheck itself did not run for some time: the phases in progress prove nothing."""
        self.disturbances, self.disturbance = self.disturbances + 1, why
        self.warn("", f"{why[:1].upper()}{why[1:]}")

    def remember(self, sighting: Sighting) -> None:
        """Record that a MAC was heard for an address; drop the oldest records if there are too many."""
        if sighting.adapter:
            return
        addresses = self.heard_for.pop(sighting.mac, {})
        addresses.pop(sighting.address, None)
        addresses[sighting.address] = sighting.at
        self.heard_for[sighting.mac] = addresses
        if len(addresses) > ADDRESSES_KEPT:
            del addresses[next(iter(addresses))]
        if len(self.heard_for) > MACS_KEPT:
            del self.heard_for[next(iter(self.heard_for))]

    # The watch over every planned address and the gateways

    def watch(self, nets: Iterable[Net]) -> None:
        """Begin to watch all planned addresses and the gateways of these subnets."""
        wanted = {address: target.subnet for address, target in self.owner_of.items()}
        wanted |= {address: net.name for address, net in self.gateways.items() if address not in wanted}
        names = {net.name for net in nets}
        for address, name in wanted.items():
            if name in names and address not in self.watched and address not in self.scope.stations:
                self.watched[address] = self.scheduler.entry(address, name)
        self.tend(None)

    @property
    def watch_every(self) -> float:
        """Seconds between echo requests to one watched address: one, or more if the pace requires it."""
        return max(WATCH_EVERY, len(self.watched) / (WATCH_SHARE * self.options.pace))

    def tend(self, under_test: AddressState | None) -> None:
        """Set the probe rates of each watched address except the one under test.

        An address gets one unicast echo request a second if its MAC is known and it answers echo, else broadcast ARP
        requests within the broadcast pace.
        """
        for entry in self.watched.values():
            by_arp = self.scheduler.hears_all and (entry.mac is None or entry.missed_echoes >= ECHO_TRIES)
            if entry is under_test or entry.every[ARP if by_arp else ECHO] is not None:
                continue
            if by_arp:
                self.scheduler.ask(entry, self.now, arp=WATCH_EVERY)
            else:
                self.scheduler.ask(entry, self.now, echo=self.watch_every)

    def companions(self, target: Target, since: float, until: float) -> tuple[list[AddressState], AddressState | None]:
        """Return the controls for a silence: the other devices and the gateway that answered in [since, until].

        Devices that the plan attaches behind this interface are left out. The gateway is None if it did not answer, or
        if it is a planned device.
        """
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
        return not self.is_behind_interface(other, target)

    def is_behind_interface(self, other: Target, target: Target) -> bool:
        """Return whether the plan attaches *other* behind any port of the interface of *target*, also through others.

        The interfaces behind its other ports fall silent with it, whichever of its ports leads to the network.
        """
        seen: set[str] = set()
        above = _interface(other.behind)
        while above and above not in seen:
            if above == target.interface:
                return True
            seen.add(above)
            above = next((_interface(t.behind) for t in self.scope.targets if t.interface == above), "")
        return False

    def fell(self, entry: AddressState, limit: float = HINT, least: int = 2) -> bool:
        """Return whether a watched address has fallen silent.

        It missed at least *least* probes in a row, and the chance that this is luck is at most *limit*.
        """
        if entry.mac is None or not entry.answered or self.now - entry.answered[-1] < 2.0:
            return False
        return entry.fallen(entry.mac, -EVER, limit, least)

    def is_out(self, entry: AddressState) -> bool:
        """Return whether the cable of a watched address is probably out, for the screen and before the next port.

        This proves nothing. The limit is weak and a least time is added, because misses of an earlier outage must not
        hide this one.
        """
        return self.fell(entry, HINT, 3) and self.now - entry.answered[-1] > OUT_AFTER

    def is_behind_port(self, other: Target, target: Target) -> bool:
        """Return whether the plan attaches *other* behind the port *target*, directly or through other interfaces."""
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
        """Return the other planned interfaces for whose addresses a MAC was heard since *since*."""
        owners = [
            self.owner_of[address]
            for address, entry in self.watched.items()
            if address in self.owner_of and any(sighting.mac == mac for sighting in entry.heard(since))
        ]
        return [other for other in owners if other.address != target.address]

    def label(self, entry: AddressState) -> str:
        """Return a watched address as text: its planned interface and the address, or `the gateway`."""
        target = self.owner_of.get(entry.address)
        return f"{target.interface} ({target.address_text})" if target is not None else "the gateway"


def _interface(port: str) -> str:
    """Return `device/interface` of `device/interface:port`."""
    return port.rsplit(":", 1)[0]
