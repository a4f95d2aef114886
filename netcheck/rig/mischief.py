"""Plants gone wrong at random, with the truth about each: whether a proof of its port would be deserved.

A plant is built from a seed alone. What no prober could see is never built, since it says nothing about this one: a
device that restarts by itself just when the wrong cable is pulled, a second owner that answers nobody, an impostor
with the device's own MAC (6-settled-details.md 37).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from random import Random

from netcheck.addr import quad
from netcheck.proof.events import Key, Settings
from netcheck.proof.targets import Aim, Net, Target
from netcheck.rig.careless import Hand
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.network import Jack, Rig, Segment
from netcheck.wire.link import Way

FIRST = 0xC0000200  # 192.0.2.0, a documentation prefix: RFC 5737
MACS = 0x00005E005300  # documentation MACs: RFC 7042 section 2.1.2
OWN, BORROWED, GATEWAY = FIRST + 1, FIRST + 240, FIRST + 254
GIVES_UP = 400.0  # seconds after which the technician goes home
NET = Net("process", FIRST, 24, GATEWAY, BORROWED, (FIRST + 253, FIRST + 252))


@dataclass(eq=False)
class Plant:
    """A bench with its story. `others` are devices that own the address too, with the time from which each does;
    `hollow` says that no proof is deserved whatever is pulled."""

    random: Random
    rig: Rig
    aim: Aim
    settings: Settings
    hand: Hand
    story: list[str]
    hollow: bool = False
    others: list[float] = field(default_factory=list)

    def deserved(self, ended: float) -> bool:
        """Say whether the port deserved a proof: a cable that leads to the owner of its address was out, and nobody
        else has the address, unless somebody came so late that nobody could hear it."""
        owned = any(since < ended - 2.5 for since in self.others)
        return self.hand.out_between and not (self.hollow or owned)


class _Builder:
    """Takes one decision after another, all from one source of chance."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.direct = self._maybe(0.25)
        self.own = self._maybe(0.6)
        self.segment = Segment(direct=self.direct)
        self.office = Segment()
        ways = [Way("x0", MACS + 1, ((OWN, 24),) if self.own else ())]
        segments = [self.segment]
        if self._maybe(0.3):
            ways.append(Way("x1", MACS + 2, ((FIRST + 2, 24),)))
            segments.append(self.office)
        self.rig = Rig(seed, ways, segments)
        self.trunk = Jack(0)
        self.targets: list[Target] = []
        self.devices: list[VirtualDevice] = []
        self.story: list[str] = ["direct" if self.direct else "switch", "own" if self.own else "borrowed"]
        self.hollow = False
        self.others: list[float] = []
        self.hasty = 0.1
        self.by_trunk = not self.direct and self._maybe(0.2)

    def _maybe(self, chance: float) -> bool:
        return self.random.random() < chance

    def tell(self, word: str) -> None:
        """Add to the story."""
        self.story.append(word)

    def plant(self) -> Plant:
        """Build everything."""
        swap = not self.direct and self._maybe(0.1)
        known = self._maybe(0.7)
        alpha = self._device("alpha/cpu", 20, self._faults(swap), known, real=21 if swap else 20)
        self._neighbours(known, swap)
        self._trouble(alpha, swap)
        self._second_owners()
        return Plant(
            random=self.random,
            rig=self.rig,
            aim=self._aim(),
            settings=Settings(
                hands_free=self._maybe(0.7), direct=self.direct, patience=self.random.choice((15.0, 60.0))
            ),
            hand=self._hand(alpha),
            story=self.story,
            hollow=self.hollow,
            others=self.others,
        )

    def _device(self, name: str, last: int, faults: Faults, known: bool, real: int = 0) -> VirtualDevice:
        mac = MACS + last if known else None
        text = quad(FIRST + last)
        self.targets.append(Target(name, "1", name.split("/")[0], FIRST + last, text, "process", mac))
        jack = self.segment.join(Jack(MACS + last, behind=self.trunk if self.by_trunk else None))
        device = VirtualDevice(self.rig, {jack: {FIRST + (real or last)}}, faults)
        self.devices.append(device)
        return device

    def _faults(self, swap: bool) -> Faults:
        """What may be odd about an honest device, and what makes a proof hollow."""
        random = self.random
        choices = [
            (5.0, "sound", Faults()),
            (1.0, "no echo", Faults(echo=False)),
            (1.0, "slow", Faults(slow=random.uniform(0.05, 3.0))),
            (0.5, "boots", Faults(boots_in=random.uniform(1, 15))),
            (1.0, "checks itself", Faults(checks_itself=True)),
            (0.3, "wrong identifier", Faults(wrong_identifier=True)),
            (0.3, "wrong payload", Faults(wrong_payload=True)),
            (0.3, "wrong source", Faults(wrong_source=FIRST + 99)),
            (0.3, "dies", Faults(dies_when_pulled=True)),
            (0.3, "deaf", Faults(deaf_to=lambda sender: True)),
            (0.4, "echo from another MAC", Faults(echo_from=MACS + 0x76)),
        ]
        _, word, faults = random.choices(choices, [weight for weight, _, _ in choices])[0]
        self.tell(word)
        self.hollow = bool(faults.echo_from) and not swap
        return faults

    def _neighbours(self, known: bool, swap: bool) -> None:
        if self.direct:
            return
        for number in range(1, 1 + self.random.randrange(1 if swap or self.by_trunk else 0, 4)):
            faults = Faults(echo=self._maybe(0.8))
            self._device(f"n{number}/cpu", 20 + number, faults, known, real=20 if swap and number == 1 else 0)
        if self._maybe(0.5):
            self.tell("gateway")
            jack = self.segment.join(
                Jack(MACS + 254, behind=self.trunk if self.by_trunk and self._maybe(0.5) else None)
            )
            VirtualDevice(self.rig, {jack: {GATEWAY}}, Faults(answers_all=self._maybe(0.1), slow=0.3))

    def _trouble(self, alpha: VirtualDevice, swap: bool) -> None:
        jack = next(iter(alpha.addresses))
        if swap:
            self.tell("swapped")
            self.hollow = self.hollow or self.targets[0].mac is not None
        if self._maybe(0.3):
            jack.loss = self.random.uniform(0.02, 0.4)
            self.tell(f"loss {jack.loss:.2f}")
        if self._maybe(0.1):
            jack.delay = self.random.uniform(0.1, 4.0)
            self.tell(f"delay {jack.delay:.1f}")
        if self._maybe(0.06):
            alpha.dead = True
            self.tell("absent")
        if self._maybe(0.08):
            jack.mac = self.random.choice((MACS + 0x77, MACS + 21, 0x00005E000107))
            self.tell("other MAC")
            known = [target.mac for target in self.targets] + [next(iter(d.addresses)).mac for d in self.devices[1:]]
            wrong = self.targets[0].mac is not None or jack.mac == 0x00005E000107
            self.hollow = self.hollow or (wrong and not swap) or jack.mac in known
        if self.by_trunk and self._maybe(0.4):
            self._blips()
        if len(self.devices) > 1 and not self.by_trunk and self._maybe(0.1):
            jack.behind = next(iter(self.devices[-1].addresses))
            self.tell("hangs behind another")
        if self._maybe(0.1):
            jack.forwards_after = self.random.uniform(2, 30)
            self.tell("forwards late")

    def _blips(self) -> None:
        """The cable of a whole row of devices is out by itself, again and again for some seconds."""
        self.tell("blips")
        moment = self.rig.now()
        while moment < self.rig.now() + 120:
            moment += self.random.uniform(3, 25)
            self.rig.at(moment, partial(self.rig.plug, self.trunk, False))
            moment += self.random.uniform(1, 14)
            self.rig.at(moment, partial(self.rig.plug, self.trunk, True))

    def _owner(self) -> Jack:
        """The cable of the device that has the address under test."""
        address = self.targets[0].address
        return next(jack for device in self.devices for jack, owned in device.addresses.items() if address in owned)

    def _second_owners(self) -> None:
        """Others that own the address: they answer well enough to be heard in the time that they have."""
        cable = self._owner()
        elsewhere = len(self.rig.ways) > 1 and self.direct
        while self._maybe(0.2):
            kind = self.random.choice(("always", "while out", "from some time"))
            on = self.office if elsewhere else self.segment
            if self.direct and not elsewhere:
                return
            jack = on.join(Jack(MACS + 0x90 + len(self.others)))
            faults = Faults(echo=self._maybe(0.7), slow=self.random.choice((0.0, 0.3)))
            since = self.rig.now()
            if kind == "always":
                jack.loss = 0.0 if elsewhere else self.random.uniform(0, 0.2)
            if kind == "while out":
                faults.only_while_out = cable
                self.hasty = 0.0  # it must be out long enough for that owner to be heard
            owner = VirtualDevice(self.rig, {jack: {self.targets[0].address}}, faults)
            if kind == "from some time":
                owner.dead = True
                since += self.random.uniform(0, 40)
                self.rig.at(since, partial(setattr, owner, "dead", False))
            self.others.append(since)
            self.tell(f"second owner {kind}")

    def _hand(self, alpha: VirtualDevice) -> Hand:
        cable = next(iter(alpha.addresses))
        wrong = [next(iter(device.addresses)) for device in self.devices[1:]]
        wrong += [Jack(0)] + ([] if self.direct else [self.rig.jacks[0]])
        wrong += [self.trunk] * 3 if self.by_trunk else []
        chance = self.random.choice((0.0, 0.0, 0.0, 0.3, 1.0))
        hand = Hand(self.rig, self.random, {"alpha/cpu:1": cable}, chance, wrong, self.random.choice((0.1, 3.0, 10.0)))
        hand.owner = self._owner()
        hand.keys, hand.early = self._maybe(0.4), self.random.choice((0.0, 0.0, 0.5, 5.0))
        if chance == 0 and self._maybe(0.15):
            self.tell("restarts")
            self.hasty = 0.0
            moment = self.rig.now() + self.random.uniform(0, 60)
            self.rig.at(moment, partial(alpha.restart, self.random.uniform(3, 30)))
        if self._maybe(0.04):
            key = self.random.choice((Key.SKIP, Key.QUIT))
            self.rig.after(self.random.uniform(0, 30), partial(hand.press, key))
        hand.hasty = self.hasty
        self.rig.after(GIVES_UP, partial(hand.press, Key.QUIT))
        self.tell(f"hand wrong {chance}, keys {hand.keys}")
        return hand

    def _aim(self) -> Aim:
        macs = {target.mac: target.interface for target in self.targets if target.mac is not None}
        return Aim(tuple(self.targets), tuple(self.targets[:1]), (NET,), frozenset({BORROWED}), macs, {})


def wild_plant(seed: int) -> Plant:
    """The plant of a seed."""
    return _Builder(seed).plant()
