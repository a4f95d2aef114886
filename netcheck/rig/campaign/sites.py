"""Sites with one port under test, drawn from the distribution of `distribution`. A seed alone determines a site."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from random import Random

from netcheck.addr import quad
from netcheck.proof.events import Key, RunOptions
from netcheck.proof.result import Verdict
from netcheck.proof.targets import Net, Scope, Target
from netcheck.rig.campaign import distribution
from netcheck.rig.campaign.distribution import Fault, Topology, Trait, weighted_choice
from netcheck.rig.campaign.expected import SiteFacts
from netcheck.rig.devices import Faults, Forger, VirtualDevice
from netcheck.rig.network import Bursts, Jack, Rig, Segment
from netcheck.rig.technicians import GIVES_UP, Habit, Hand
from netcheck.rig.truth import Place
from netcheck.wire.link import Adapter

FIRST = 0xC0000200  # 192.0.2.0, a documentation prefix: RFC 5737
MACS = 0x00005E005300  # documentation MACs: RFC 7042 section 2.1.2
OWN, BORROWED, GATEWAY = FIRST + 1, FIRST + 240, FIRST + 254
NET = Net("process", FIRST, 24, GATEWAY, BORROWED, (FIRST + 253, FIRST + 252))
ALPHA, STATION_MAC, STRANGER = MACS + 20, MACS + 1, MACS + 0x90

ON_A_SWITCH = (
    Fault.SECOND_AT_TIMES, Fault.SECOND_LATER, Fault.SWAPPED, Fault.WEAK, Fault.RING, Fault.FORGED_ECHO,
    Fault.FORGED_ARP, Fault.UNKNOWN_CHAIN, Fault.TWIN, Fault.SECOND_FAINT, Fault.COINCIDENCE, Fault.UPLINK,
    Fault.CANCELS,
)  # fmt: skip
SECOND = (
    Fault.SECOND_ALWAYS, Fault.SECOND_OUT, Fault.SECOND_AT_TIMES, Fault.SECOND_LATER, Fault.SECOND_FAINT
)  # fmt: skip
GOES_ON = (Fault.RING, Fault.FORGED_ARP, Fault.SECOND_LATER)  # the address answers although its chain is cut upstream
FORCED = {Fault.TWIN: Habit.RIGHT, Fault.COINCIDENCE: Habit.NONE, Fault.UPLINK: Habit.WRONG, Fault.CANCELS: Habit.WRONG}


@dataclass(eq=False, kw_only=True)
class DrawnSite:
    """A bench with the scope and the options of its run, its technician and its facts. `story` is the facts as text."""

    rig: Rig
    scope: Scope
    options: RunOptions
    hand: Hand
    drawn: SiteFacts
    place: Place
    story: tuple[str, ...]


class _Builder:
    """Draws a site: one decision after the other, all from one random generator."""

    BEHIND = ("alpha/", "down1/")  # the interfaces attached behind these fall silent with the port under test

    def __init__(self, seed: int) -> None:
        self.random = random = Random(seed)
        self.topology, self.fault = (
            weighted_choice(random, distribution.TOPOLOGIES),
            weighted_choice(random, distribution.FAULTS),
        )
        if self.topology is Topology.DIRECT and self.fault in ON_A_SWITCH:
            self.topology = Topology.SWITCH
        if self.fault is Fault.UNKNOWN_CHAIN:
            self.topology = Topology.CHAIN
        self.direct = self.topology is Topology.DIRECT
        self.habit = FORCED.get(self.fault) or weighted_choice(random, distribution.HABITS)
        if self.direct and self.habit in (Habit.STATION, Habit.ALWAYS_STATION):
            self.habit = Habit.RIGHT  # a direct cable is the same at either end
        self.trait = self._trait()
        self.known = self.fault is Fault.NAMEPLATE or (
            self.fault is not Fault.CANCELS and self._maybe(distribution.NAMED)
        )
        self.keys = self.fault is not Fault.COINCIDENCE and self._maybe(distribution.KEYED)
        self.story = [str(self.topology), str(self.fault), f"pulls {self.habit}", str(self.trait)]
        self.targets: list[Target] = []
        self.devices: dict[str, VirtualDevice] = {}
        self._bench(seed)

    def _maybe(self, chance: float) -> bool:
        return self.random.random() < chance

    def _trait(self) -> Trait:
        trait = weighted_choice(self.random, distribution.TRAITS)
        return Trait.SOUND if self.fault is Fault.ECHO_ELSEWHERE else trait

    def _bench(self, seed: int) -> None:
        own = not self._maybe(distribution.BORROWED)
        adapters = [Adapter("x0", STATION_MAC, ((OWN, 24),) if own else ())]
        self.segment, self.office = Segment(direct=self.direct), Segment()
        segments = [self.segment]
        if self.direct and (self.fault in SECOND or self._maybe(0.3)):
            adapters.append(Adapter("x1", MACS + 2, ((FIRST + 2, 24),)))
            segments.append(self.office)
        self.rig = Rig(seed, adapters, segments)

    def site(self) -> DrawnSite:
        """Build the site."""
        self._alpha()
        if not self.direct:
            self._neighbours()
        self._cable()
        other, right_for_other = self._other()
        self.hand = Hand(self.rig, self.random, self.habit, self.cable, other, self.random.choice((0.8, 2.0, 6.0)))
        faults = self.alpha.faults
        self.since = float("inf")
        self.hand.keys, self.hand.early = self.keys, self.random.choice(distribution.EARLY_KEYS)
        self._go_wrong()
        self.rig.after(GIVES_UP, partial(self.hand.press, Key.QUIT))
        macs = {target.mac: target.interface for target in self.targets if target.mac is not None}
        asked = self.targets[self.ordinal]
        return DrawnSite(
            rig=self.rig,
            scope=Scope(
                targets=tuple(self.targets),
                asked=(asked,),
                nets=(NET,),
                stations=frozenset({BORROWED}),
                macs=macs,
                site_macs={},
            ),
            options=RunOptions(hands_free=not self.keys, direct=self.direct),
            hand=self.hand,
            drawn=SiteFacts(
                fault=self.fault,
                direct=self.direct,
                owner=self.cable,
                other=right_for_other,
                known=self.known,
                since=self.since,
                loss=self.loss,
                bursts=self.bursty,
                slow_start=bool(self.cable.forwards_after or faults.boots_in or faults.checks_itself),
            ),
            place=self._place(asked),
            story=tuple(self.story),
        )

    def _place(self, asked: Target) -> Place:
        """Return where the port under test physically is, and all hosts on the bench."""
        jacks = [jack for segment in (self.segment, self.office) for jack in segment.jacks]
        hosts = dict.fromkeys(jack.host for jack in jacks if isinstance(jack.host, VirtualDevice))
        return Place(
            subject=asked.subject,
            address=asked.address,
            jack=self.cable,
            device=self.alpha,
            planned_mac=asked.mac,
            hosts=tuple(hosts),
            dependents=frozenset(target.address for target in self.targets if target.behind.startswith(self.BEHIND)),
            far_end=self.rig.jacks[0] if self.direct else None,
            said_direct=self.direct,
            hands_free=not self.keys,
            forged=self.fault is Fault.FORGED_ARP,
        )

    # Devices

    def _plan(self, name: str, last: int, ports: int = 1, behind: str = "") -> None:
        mac = MACS + last if self.known else None
        for ordinal in range(ports):
            self.targets.append(
                Target(interface=name, port=str(ordinal + 1), device=name.split("/")[0], address=FIRST + last,
                    address_text=quad(FIRST + last), subnet=NET.name, mac=mac,
                       ordinal=ordinal, ports=ports, behind=behind)
            )  # fmt: skip

    def _device(self, name: str, last: int, faults: Faults, real: int = 0, behind: Jack | None = None) -> Jack:
        jack = self.segment.join(Jack(MACS + last, behind=behind))
        self.devices[name] = VirtualDevice(self.rig, {jack: {FIRST + (real or last)}}, faults)
        return jack

    def _alpha(self) -> None:
        second = self.keys and self.fault is Fault.NONE and self.habit is Habit.RIGHT and self._maybe(0.15)
        ports = 2 if second or self.topology is Topology.CHAIN or self._maybe(0.15) else 1
        self.ordinal = 1 if second and not self.direct and self.topology is not Topology.CHAIN else 0
        self.upstream = 0
        if self.topology is Topology.CHAIN:
            self.upstream = self.random.randrange(3)
        self._plan("alpha/cpu", 20, ports, "up1/cpu:1" if self.upstream else "")
        swapped = self.fault in (Fault.SWAPPED, Fault.CANCELS)
        real = 21 if swapped else 77 if self.fault is Fault.STALE else 20
        self.cable = self._device("alpha/cpu", 20, self._faults(), real)
        self.alpha = self.devices["alpha/cpu"]
        if self.fault in (Fault.ABSENT, Fault.TWIN):
            self.alpha.dead = True

    def _faults(self) -> Faults:
        random = self.random
        match self.trait:
            case Trait.NO_ECHO:
                faults = Faults(echo=False)
            case Trait.SLOW:
                faults = Faults(slow=random.uniform(0.05, 1.0))
            case Trait.SLOW_START:
                faults = Faults(boots_in=random.uniform(1, 20))
            case Trait.CHECKS:
                faults = Faults(checks_itself=True)
            case Trait.LIMITED:
                faults = Faults(rate=random.uniform(0.8, 3.0))
            case Trait.ODD_ECHO:
                faults = random.choice(
                    (Faults(wrong_identifier=True), Faults(wrong_payload=True), Faults(wrong_source=FIRST + 99))
                )
            case Trait.SOUND | Trait.RESTARTS:
                faults = Faults()
        faults.dies_when_pulled = self.fault is Fault.DIES
        if self.fault is Fault.ECHO_ELSEWHERE:
            faults.echo_from = MACS + 0x76
        if self.fault is Fault.DEAF:
            faults.deaf_to = bool
        return faults

    def _neighbours(self) -> None:
        """Build the other devices: on the switch, upstream of alpha, and downstream of alpha."""
        for number in range(1, 1 + self.random.randrange(1, 3)):
            name, last = f"n{number}/cpu", 20 + number
            self._plan(name, last)
            partner = number == 1 and self.fault in (Fault.SWAPPED, Fault.CANCELS)
            self._device(name, last, Faults(echo=self._maybe(0.85)), 20 if partner else 0)
        above: Jack | None = None
        for number in range(self.upstream, 0, -1):
            name = f"up{number}/cpu"
            self._plan(name, 30 + number, 2, f"up{number + 1}/cpu:2" if number < self.upstream else "")
            above = self._device(name, 30 + number, Faults(), behind=above)
        self.cable.behind = above
        if self.topology is Topology.CHAIN:
            self._downstream()
        if self.fault is not Fault.PROXY and self._maybe(0.5):
            jack = self.segment.join(Jack(MACS + 254))
            VirtualDevice(self.rig, {jack: {GATEWAY}}, Faults(slow=self.random.choice((0.0, 0.3))))

    def _downstream(self) -> None:
        unknown = self.fault is Fault.UNKNOWN_CHAIN
        for number in range(1, 1 + self.random.randrange(1 if unknown else 0, 3)):
            behind = "alpha/cpu:2" if number == 1 else "down1/cpu:2"
            self._plan(f"down{number}/cpu", 40 + number, 2, "" if unknown else behind)
            self._device(f"down{number}/cpu", 40 + number, Faults(), behind=self.cable)

    # The cable

    def _cable(self) -> None:
        """Draw the loss and the delay of the cable of the port under test."""
        random, jack = self.random, self.cable
        low, high = weighted_choice(random, distribution.LOSSES)
        self.loss, self.bursty = random.uniform(low, high), self._maybe(distribution.BURSTY)
        if self.loss and self.bursty:
            low, high = distribution.BURST_LASTS
            length = low * (high / low) ** random.random()
            jack.bursts = Bursts(self.loss, length, Random(random.random()))
            self.story.append(f"bursts of {length:.1f} s, {self.loss:.2f}")
        elif self.loss:
            jack.loss = self.loss
            self.story.append(f"loss {self.loss:.2f}")
        if self._maybe(distribution.JITTERY):
            jack.jitter = random.uniform(0, distribution.JITTER)
            self.story.append(f"jitter {jack.jitter:.2f}")
        if not self.direct and self._maybe(distribution.SPANNING):
            jack.forwards_after = random.uniform(*distribution.BLOCKS)
            jack.forwarding_from = self.rig.time + random.choice((0.0, jack.forwards_after))
            self.story.append(f"forwards after {jack.forwards_after:.0f} s")

    def _other(self) -> tuple[Jack, frozenset[Verdict]]:
        """Return another cable, and the right verdicts if it is pulled instead."""
        if self.fault is Fault.UPLINK:
            self.cable.behind = Jack(0, behind=self.cable.behind)
            return self.cable.behind, frozenset({Verdict.SWAPPED, Verdict.STILL_ANSWERING})
        neighbour = next((d for name, d in self.devices.items() if name == "n1/cpu"), None)
        if self.fault is Fault.CANCELS and neighbour is not None:
            return next(iter(neighbour.addresses)), frozenset({Verdict.SWAPPED})
        if neighbour is None or self.fault is Fault.SWAPPED or self._maybe(0.3):
            return Jack(0), frozenset({Verdict.STILL_ANSWERING})
        if self.upstream and self._maybe(0.5):
            right = {Verdict.SWAPPED, Verdict.UNSETTLED} if self.fault in GOES_ON else {Verdict.UNSETTLED}
            return next(iter(self.devices["up1/cpu"].addresses)), frozenset(right)
        return next(iter(neighbour.addresses)), frozenset({Verdict.SWAPPED, Verdict.STILL_ANSWERING})

    # What goes wrong

    def _go_wrong(self) -> None:
        rig, random, fault = self.rig, self.random, self.fault
        if self.trait is Trait.RESTARTS:
            at, lasts = rig.time + random.uniform(0, 30), random.uniform(3, 30)
            rig.at(at, partial(self.alpha.restart, lasts))
        if fault in SECOND:
            self._second_owner()
        elif fault is Fault.PROXY:
            self.alpha.dead = self.direct or self._maybe(0.5)
            router = self.cable if self.direct else self.segment.join(Jack(MACS + 254))
            router.mac = MACS + 254
            VirtualDevice(rig, {router: {GATEWAY}}, Faults(answers_all=True, slow=random.uniform(0, 0.6)))
        elif fault is Fault.NAMEPLATE:
            self.cable.mac = MACS + 0x77
        elif fault is Fault.STALE and self._maybe(0.5):
            rig.after(random.uniform(5, 50), partial(self.alpha.announce, self.cable))
        elif fault is Fault.WEAK:
            self._weak()
        elif fault is Fault.RING:
            ring, beyond = Jack(0), next(iter(self.devices["n1/cpu"].addresses))
            self.cable.detour, beyond.detour = (beyond, ring), (self.cable, ring)
            self.cable.heals = beyond.heals = random.uniform(0, 2)
        elif fault in (Fault.FORGED_ECHO, Fault.FORGED_ARP):
            mirror = self.segment.join(Jack(STATION_MAC))
            asks_from = OWN if rig.adapters[0].addresses else BORROWED
            Forger(rig, mirror, FIRST + 20, ALPHA, asks_from, fault is Fault.FORGED_ARP)
        elif fault is Fault.FLAPPING:
            self._flap()
        elif fault is Fault.TWIN:
            self.segment.join(twin := Jack(ALPHA, behind=self.cable))
            VirtualDevice(rig, {twin: {FIRST + 20}})
        elif fault is Fault.COINCIDENCE:
            self.hand.at_request = partial(self.alpha.restart, random.uniform(15, 30))

    def _second_owner(self) -> None:
        rig, random, fault = self.rig, self.random, self.fault
        jack = (self.office if self.direct else self.segment).join(Jack(STRANGER))
        faults = Faults(echo=self._maybe(0.7), slow=random.choice((0.0, 0.3)))
        owner = VirtualDevice(rig, {jack: {FIRST + 20}}, faults)
        match fault:
            case Fault.SECOND_ALWAYS:
                jack.loss = random.uniform(0, 0.1)
            case Fault.SECOND_OUT:
                faults.only_while_out = self.cable
            case Fault.SECOND_AT_TIMES:
                stays = random.uniform(2, 8)
                faults.there = (stays, random.uniform(0.5, stays / 2), rig.time - random.uniform(0, 8))
            case Fault.SECOND_FAINT if self._maybe(0.5):
                jack.loss = random.uniform(0.45, 0.8)
            case Fault.SECOND_FAINT:
                faults.there = (1.0, random.uniform(10, 30), rig.time - random.uniform(0, 30))
            case _:
                owner.dead = True
                self.since = rig.time + random.uniform(3, 40)
                rig.at(self.since, partial(setattr, owner, "dead", False))

    def _weak(self) -> None:
        """Give the device a second planned interface; each answers for both addresses."""
        self._plan("alpha/module", 22 + 60)
        module = self.segment.join(Jack(MACS + 82))
        self.alpha.faults.weak = True
        self.alpha.addresses[module] = {FIRST + 82}
        module.host = self.alpha

    def _flap(self) -> None:
        """Let the link fail again and again for some seconds."""
        worn = self.cable.behind = Jack(0, behind=self.cable.behind)
        moment = self.rig.time + self.random.uniform(0, 10)
        for _ in range(60):
            lasts = self.random.uniform(0.3, 3)
            self.rig.at(moment, partial(self.rig.link, worn, False))
            self.rig.at(moment + lasts, partial(self.rig.link, worn, True))
            moment += lasts + self.random.uniform(3, 15)


def site_of(seed: int) -> DrawnSite:
    """Return the site of a seed."""
    return _Builder(seed).site()
