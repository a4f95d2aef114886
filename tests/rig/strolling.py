"""Walks gone wrong at random, built from a seed alone, with the truth about each port: did it deserve a proof?

What no prober could see counts as true (6-settled-details.md 37): another cable pulled that leads to the same device
alone. Never built are a second owner that answers nobody, a copy of a device's MAC, and, where one pull is enough, a
device that restarts by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from random import Random

from netcheck.proof.events import Key
from netcheck.proof.run_options import RunOptions
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.network import Jack
from tests.rig.scenes import MACS, Ran, Scene, ip
from tests.rig.walks import walk

FIRST, STRANGERS = 20, 0x80  # the last octets of the planned addresses, and of the MACs that nobody planned


@dataclass(eq=False)
class Stroll:
    """One walk: the scene, what was done to it in words, and who has which address really."""

    random: Random
    scene: Scene
    story: list[str] = field(default_factory=list)
    pulled: set[str] = field(default_factory=set)  # interfaces whose own cable was out, or one that led to them alone
    hollow: set[str] = field(default_factory=set)  # interfaces whose address is not theirs alone
    doubled: set[str] = field(default_factory=set)  # those of which somebody else has the address as well

    def deserved(self, interface: str) -> bool:
        """Say whether a proof of this interface would be true."""
        return interface in self.pulled and interface not in self.hollow

    def chance(self, share: float) -> bool:
        """Say yes so often."""
        return self.random.random() < share

    def out(self, jack: Jack) -> None:
        """Pull a cable, and note whom it cut off: its own device, or the only one that was there behind it."""
        before = self._present()
        self.scene.rig.plug(jack, False)
        lost = before - self._present()
        own = {name for name, own in self.scene.jacks.items() if own is jack}
        self.pulled |= own | (lost if len(lost) == 1 else set())

    def _present(self) -> set[str]:
        """Planned interfaces that have been connected and up for some seconds, and whose address falls silent when they
        are not."""
        devices = self.scene.devices
        planned = {target.interface for target in self.scene.targets} - self.doubled
        up = {name for name in planned if not devices[name].dead and devices[name].up_from <= self.scene.rig.now() - 3}
        return {name for name in up if self.scene.jacks[name].joined}


def stroll(seed: int) -> tuple[Stroll, Ran]:
    """Build the walk of a seed and walk it."""
    random = Random(seed)
    scene = Scene(own=random.random() < 0.7, seed=seed)
    lasts = random.uniform(80, 160)
    scene.options = RunOptions(lasts=lasts, patience=random.choice((20.0, 60.0)), once=random.random() < 0.2)
    one = Stroll(random, scene)
    names = _devices(one)
    for trouble in (_owners, _swap, _station, _trunk, _restart):
        trouble(one, names)
    _pulls(one, names, lasts)
    if one.chance(0.15):
        scene.rig.after(random.uniform(20, lasts), partial(scene.hand.press, Key.QUIT))
        one.story.append("stopped")
    return one, walk(scene, seed)


def _devices(one: Stroll) -> list[str]:
    """Two to four devices, some of them lossy, slow, deaf to echo, in a chain or with two ports."""
    names = [f"d{FIRST + number}/lan" for number in range(one.random.choice((2, 2, 3, 3, 4)))]
    for number, name in enumerate(names):
        about: dict[str, object] = {"ports": 2} if one.chance(0.2) else {}
        if one.chance(0.3):
            about["mac"] = None
        above = f"{names[number - 1]}:1" if number and one.chance(0.25) else ""
        if above and one.chance(0.5):
            about["behind"] = above
        jack = one.scene.add(name, FIRST + number, _faults(one), **about)
        jack.loss = one.random.choice((0, 0, 0, 0, 0, 0, 0.05, 0.15))
        if above:
            jack.behind = one.scene.jacks[names[number - 1]]
            one.story.append(f"{name} hangs behind {above}" + ("" if "behind" in about else ", unsaid"))
        if one.chance(0.1):
            one.scene.devices[name].dead = True
    if one.chance(0.5):
        one.scene.plug("gateway", 254)
    return names


def _faults(one: Stroll) -> Faults:
    kinds: tuple[Callable[[], Faults], ...] = (
        lambda: Faults(echo=False),
        lambda: Faults(slow=one.random.uniform(0.1, 1.5)),
        lambda: Faults(boots_in=one.random.uniform(1, 15)),
        lambda: Faults(checks_itself=True),
        lambda: Faults(dies_when_pulled=True),
        lambda: Faults(wrong_payload=True),
    )
    return one.random.choice(kinds)() if one.chance(0.4) else Faults()


def _owners(one: Stroll, names: list[str]) -> None:
    """Somebody else owns an address: from the start, later on, or only while the cable is out."""
    for number, name in enumerate(names):
        if not one.chance(0.2):
            continue
        seen = not one.scene.devices[name].dead and one.scene.jacks[name].behind is None
        kind = one.random.choice(("from the start", "later", *(("while it is out",) if seen else ())))
        faults = Faults(only_while_out=one.scene.jacks[name] if kind == "while it is out" else None)
        one.scene.plug(f"stranger {number}", FIRST + number, faults, mac=MACS + STRANGERS + number)
        stranger = one.scene.devices[f"stranger {number}"]
        if kind == "later":
            stranger.dead = True
            one.scene.rig.after(one.random.uniform(5, 40), partial(setattr, stranger, "dead", False))
        one.hollow.add(name)
        one.doubled.add(name)
        one.story.append(f"a second owner of {name}, {kind}")


def _swap(one: Stroll, names: list[str]) -> None:
    """Two devices got each other's addresses. Where the plan names the MAC of neither nobody can tell."""
    if not one.chance(0.15):
        return
    pair = one.random.sample(names, 2)
    devices = [one.scene.devices[name] for name in pair]
    jacks = [one.scene.jacks[name] for name in pair]
    owned = [device.addresses[jack] for device, jack in zip(devices, jacks, strict=True)]
    for device, jack, addresses in zip(devices, jacks, reversed(owned), strict=True):
        device.addresses = {jack: addresses}
    for index, target in enumerate(one.scene.targets):
        if target.interface in pair:
            one.scene.targets[index] = replace(target, mac=MACS + target.address - ip(0))
    one.hollow.update(pair)
    one.story.append(f"{pair[0]} and {pair[1]} are swapped")


def _station(one: Stroll, names: list[str]) -> None:
    """The station's own cable comes out for a while."""
    if one.chance(0.15):
        at, out = one.random.uniform(15, 90), one.random.uniform(0.5, 25)
        _move(one, one.scene.rig.jacks[0], at, out)
        one.story.append(f"own cable out at {at:.0f} for {out:.0f} s")


def _trunk(one: Stroll, names: list[str]) -> None:
    """The cable of a whole row comes out, twice: no connector of the row was pulled."""
    jacks, devices = one.scene.jacks, one.scene.devices
    alive = [n for n in names if not devices[n].dead and jacks[n].behind is None and n not in one.doubled]
    if len(alive) < 2 or not one.chance(0.15):
        return
    trunk = Jack(0)
    for name in alive[:2]:
        one.scene.jacks[name].behind = trunk
    at = one.random.uniform(20, 50)
    for moment in (at, at + 35):
        _move(one, trunk, moment, 14)
    one.story.append(f"the cable of {alive[0]} and {alive[1]} out at {at:.0f}")


def _restart(one: Stroll, names: list[str]) -> None:
    """A device restarts by itself, once; with `once` nobody could tell that from a pull."""
    if one.chance(0.2) and not one.scene.options.once:
        name, at = one.random.choice(names), one.random.uniform(10, 80)
        device = one.scene.devices[name]
        one.scene.rig.after(at, partial(VirtualDevice.restart, device, one.random.uniform(2, 20)))
        one.story.append(f"{name} restarts at {at:.0f}")


def _pulls(one: Stroll, names: list[str], lasts: float) -> None:
    """Each cable is pulled never to three times, for a while that is mostly long enough, and a port may be named."""
    at = one.random.uniform(12, 35)
    for name in one.random.sample(names, len(names)):
        for _ in range(one.random.choice((0, 1, 2, 2, 2, 2, 2, 3))):
            out = one.random.uniform(2, 9) if one.chance(0.1) else one.random.uniform(12, 20)
            if at + 2 < lasts:
                _move(one, one.scene.jacks[name], at, out)
                one.story.append(f"{name} out at {at:.0f} for {out:.0f} s")
            if one.chance(0.3):
                one.scene.rig.after(
                    at + one.random.uniform(-3, out), partial(one.scene.hand.press, one.random.choice((1, 2)))
                )
            at += 0.3 if one.chance(0.08) else out + one.random.uniform(3, 14)


def _move(one: Stroll, jack: Jack, at: float, out: float) -> None:
    one.scene.rig.after(at, partial(one.out, jack))
    one.scene.rig.after(at + out, partial(one.scene.rig.plug, jack, True))
