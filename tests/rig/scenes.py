"""A small plant on the rig for one test, its run, and the limits on the frames that every run may send."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from random import Random

from netcheck.addr import Address, mac_text, quad
from netcheck.proof.driver import drive
from netcheck.proof.events import Event, RunOptions
from netcheck.proof.prober import Prober
from netcheck.proof.result import Proof
from netcheck.proof.targets import Net, Scope, Target
from netcheck.proof.verdict.names import Names
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.network import Jack, Rig, Segment
from netcheck.rig.technicians import Technician
from netcheck.wire.frames import BROADCAST, REQUEST, arp_from_wire, echo_from_wire
from netcheck.wire.link import Adapter

MACS = 0x00005E005300  # documentation MACs: RFC 7042 section 2.1.2
STATION_MAC = MACS + 1


def ip(last: int) -> int:
    """Return an address of 192.0.2.0/24, a documentation prefix (RFC 5737)."""
    return Address.from_text("192.0.2.0").value + last


OWN, BORROWED, GATEWAY = ip(1), ip(240), ip(254)
NET = Net("process", ip(0), 24, GATEWAY, BORROWED, (ip(253), ip(252)))
HANDS_FREE = RunOptions(hands_free=True)


@dataclass
class Ran:
    """The result of a run."""

    prober: Prober
    rig: Rig
    log: list[Event]
    seconds: float

    @property
    def proof(self) -> Proof:
        """Return the proof of the first port."""
        return self.prober.proofs[0]


@dataclass
class Scene:
    """A station, a switch or a direct cable, the planned devices and their faults."""

    direct: bool = False
    own: bool = True  # the station's operating system has an address in the subnet
    seed: int = 1
    net: Net = NET
    further_adapters: tuple[Adapter, ...] = ()
    options: RunOptions = HANDS_FREE
    hears_all: bool = True
    obeys: bool = False  # on a walk: the technician moves the cables that are asked for
    only: tuple[str, ...] = ()  # ports to be proven; if empty, all ports of the first interface
    targets: list[Target] = field(default_factory=list)
    proven: dict[int, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Build the bench."""
        self.segment = Segment(direct=self.direct)
        self.beyond = [Segment() for _ in self.further_adapters]
        adapter = Adapter("x0", STATION_MAC, ((OWN, 24),) if self.own else ())
        self.rig = Rig(self.seed, [adapter, *self.further_adapters], [self.segment, *self.beyond])
        self.hand = Technician(self.rig, {})
        self.jacks: dict[str, Jack] = {}
        self.devices: dict[str, VirtualDevice] = {}

    def plan(
        self, interface: str, last: int, *, mac: int | None = 0, ports: int = 1, barred: str = "", behind: str = ""
    ) -> None:
        """Plan an interface; by default its MAC ends in the same octet as its address."""
        planned = MACS + last if mac == 0 else mac
        for ordinal in range(ports):
            self.targets.append(
                Target(
                    interface=interface, port=str(ordinal + 1), device=interface.split("/")[0],
                    address=0 if barred else ip(last), address_text=quad(ip(last)),
                    subnet=self.net.name, mac=planned, ordinal=ordinal, ports=ports, barred=barred, behind=behind,
                    row=len(self.targets) + 1,
                )
            )  # fmt: skip

    def plug(
        self, name: str, last: int, faults: Faults | None = None, *, mac: int = 0, to: Segment | None = None
    ) -> Jack:
        """Connect a device with an address; by default its MAC ends in the same octet as its address."""
        jack = (to or self.segment).join(Jack(mac or MACS + last))
        self.jacks[name] = jack
        self.devices[name] = VirtualDevice(self.rig, {jack: {ip(last)}}, faults or Faults())
        return jack

    def add(self, interface: str, last: int, faults: Faults | None = None, **planned: object) -> Jack:
        """Plan an interface and connect its device as planned."""
        self.plan(interface, last, **planned)  # type: ignore[arg-type]
        jack = self.plug(interface, last, faults)
        for target in self.targets:
            if target.interface == interface:
                self.hand.jacks[target.subject] = jack
        return jack

    def scope(self) -> Scope:
        """Return the scope of the run."""
        first = self.targets[0].interface
        asked = tuple(t for t in self.targets if (t.subject in self.only if self.only else t.interface == first))
        macs = {target.mac: target.interface for target in self.targets if target.mac is not None}
        stations = frozenset() if self.net.station is None else frozenset({self.net.station})
        return Scope(
            targets=tuple(self.targets), asked=asked, nets=(self.net,), stations=stations, macs=macs, site_macs={}
        )

    def prove(self) -> Ran:
        """Run to the end in virtual time, and check that nothing is sent within the next seconds."""
        prober = Prober(
            self.scope(), self.rig.adapters, Names(lambda mac: "", lambda mac: None), self.options, Random(self.seed),
            hears_all=self.hears_all, proven=self.proven, poll=60.0,
        )  # fmt: skip
        began = self.rig.now()
        drive(prober, self.rig, self.hand)
        return Ran(prober, self.rig, self.hand.log, self.rig.now() - began)


def forbidden_frames(ran: Ran) -> list[str]:
    """Return every frame that a run must not send, by its target, its sender and the rate."""
    scope, sent = ran.prober.scope, ran.rig.sent
    planned = {target.address for target in scope.targets if not target.barred}
    ours = {address for adapter in ran.rig.adapters for address, _ in adapter.addresses} | set(scope.stations)
    askable = planned | ours | {n for net in scope.nets for n in (net.gateway, *net.spare) if n is not None}
    silent_ports = {proof.address for proof in ran.prober.proofs if proof.verdict == "silent"}
    wrong, times, anonymous = [], defaultdict(list), Counter[int]()
    for at, adapter, frame in sent:
        arp, echo = arp_from_wire(frame), echo_from_wire(frame)
        assert arp is not None or echo is not None
        target, source = (arp.target_ip, arp.sender_ip) if arp is not None else (echo.target_ip, echo.source_ip)  # type: ignore[union-attr]
        times["all"].append(at)
        times[f"to {quad(target)}"].append(at)
        if int.from_bytes(frame[:6], "big") == BROADCAST:
            times["broadcast"].append(at)
            times[f"broadcast to {quad(target)} on {adapter}"].append(at)
        if arp is None or arp.op == REQUEST:
            wrong += [f"{quad(target)} was asked"] if target not in askable else []
        wrong += [f"{quad(source)} was used as sender"] if source not in ours | {0} else []
        if source == 0 and target in planned and quad(target) not in silent_ports:
            anonymous[target] += 1
        if adapter and source == scope.nets[0].station:
            wrong.append("the borrowed address was used on another interface")
        wrong += (
            [f"{mac_text(int.from_bytes(frame[6:12], 'big'))} is not ours"] if frame[6:12] != _mac(ran, adapter) else []
        )
    wrong += ["something was sent after the end"] if any(ran.prober.turn(ran.rig.now() + n) for n in range(5)) else []
    ports = Counter(target.address for target in scope.targets)
    wrong += [f"{quad(a)} was asked {n} times with sender 0" for a, n in anonymous.items() if n > 8 * ports[a]]
    limits = {"all": 500, "broadcast": 10}
    for name, moments in times.items():
        limit = limits.get(name, 1 if name.startswith("broadcast") else 5)
        most = _most_in_a_second(moments)
        wrong += [f"{most} frames in a second: {name}"] if most > limit else []
    return wrong


def _mac(ran: Ran, adapter: int) -> bytes:
    return ran.rig.adapters[adapter].mac.to_bytes(6, "big")


def _most_in_a_second(moments: list[float]) -> int:
    """Return the largest number of frames in any window of one second."""
    return max(bisect_left(moments, at + 1.0 - 1e-9) - index for index, at in enumerate(moments))
