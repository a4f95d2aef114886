"""Plants on the rig with one thing wrong, or nothing: what the table of verdicts and the phases are tested on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from netcheck.proof.events import Action, Event, Key
from netcheck.proof.run_options import RunOptions
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.network import Jack
from netcheck.rig.technicians import Technician
from netcheck.wire.link import Way
from tests.rig.scenes import MACS, Scene, ip

STRANGER = MACS + 0x99
STRANGER_TEXT = "00-00-5E-00-53-99"


def pair(**about: object) -> Scene:
    """Two healthy devices on a switch, the first to be proven."""
    scene = Scene(**about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20)
    scene.add("beta/cpu", 21)
    return scene


def alone(**about: object) -> Scene:
    """One healthy device at the end of the station's cable."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True), **about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20)
    return scene


def faulty(faults: Faults, **about: object) -> Scene:
    """Two devices, the first with faults."""
    scene = Scene(**about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20, faults)
    scene.add("beta/cpu", 21)
    return scene


def with_gateway(scene: Scene) -> Scene:
    """With a gateway on the switch."""
    scene.plug("gateway", 254)
    return scene


def keyed(scene: Scene) -> Scene:
    """The technician presses Enter after every movement."""
    scene.options = replace(scene.options, hands_free=False)
    scene.hand.confirms = True
    return scene


def absent() -> Scene:
    """The device is not there."""
    scene = pair()
    scene.devices["alpha/cpu"].dead = True
    return scene


def absent_seen_elsewhere() -> Scene:
    """The device still has the address of its last job, and says so now and then."""
    scene = pair()
    jack = scene.jacks["alpha/cpu"]
    device = scene.devices["alpha/cpu"]
    device.addresses = {jack: {ip(77)}}
    scene.rig.after(20, lambda: device.announce(jack))
    return scene


def two_owners() -> Scene:
    """Somebody else has the address as well."""
    scene = pair()
    scene.plug("stranger", 20, mac=STRANGER)
    return scene


def second_owner_announces() -> Scene:
    """Somebody else has the address, answers nobody, and announces it now and then."""
    scene = pair()
    jack = scene.plug("stranger", 20, Faults(arp=False, echo=False), mac=STRANGER)
    for second in range(1, 60, 3):
        scene.rig.after(second, partial(scene.devices["stranger"].announce, jack))
    return scene


def owner_with_the_cable_out() -> Scene:
    """Somebody else has the address and is heard only once the device's cable is out."""
    scene = pair()
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["alpha/cpu"]), mac=STRANGER)
    return scene


def takes_over(same_device: bool) -> Scene:
    """Another MAC takes the address over when the cable goes out, and gives it back when it comes in."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    if same_device:
        scene.plan("alpha/module", 22)
    scene.add("beta/cpu", 21)
    mac = MACS + 22 if same_device else STRANGER
    scene.plug("other", 20, Faults(only_while_out=scene.jacks["alpha/cpu"]), mac=mac)
    return scene


def returns_as_another(both: bool) -> Scene:
    """After the cable was out another MAC answers, instead of the device's or beside it."""
    scene = pair()
    scene.plug("stranger", 20, mac=STRANGER)
    scene.devices["stranger"].dead = True
    scene.devices["alpha/cpu"].faults = Faults(dies_when_pulled=not both)
    tell = scene.hand.told

    def told(event: Event) -> None:
        tell(event)
        if event.action is Action.PLUG:
            scene.rig.after(scene.hand.hand, lambda: setattr(scene.devices["stranger"], "dead", False))

    scene.hand.told = told  # type: ignore[method-assign]
    return scene


def proxy_arp(absent_host: bool) -> Scene:
    """A router answers ARP for everything, 0.4 s late, as measured."""
    scene = pair()
    scene.devices["alpha/cpu"].dead = absent_host
    scene.plug("router", 254, Faults(answers_all=True, slow=0.4))
    return scene


def proxied_by_a_router_elsewhere() -> Scene:
    """A router that is not the gateway answers for two planned addresses and nothing else."""
    scene = pair()
    for name in ("alpha/cpu", "beta/cpu"):
        scene.devices[name].dead = True
    jack = scene.plug("router", 20, mac=STRANGER)
    scene.devices["router"].addresses = {jack: {ip(20), ip(21)}}
    for target in scene.targets:
        scene.targets[scene.targets.index(target)] = replace(target, mac=None)
    return scene


def gateway_answers() -> Scene:
    """The gateway has the address as well as its own; the device is absent."""
    scene = absent()
    jack = scene.plug("gateway", 254)
    scene.devices["gateway"].addresses = {jack: {ip(20), ip(254)}}
    return scene


def virtual_router() -> Scene:
    """A virtual router's MAC answers (RFC 7042 section 2.1.1)."""
    scene = pair()
    scene.targets[0] = replace(scene.targets[0], mac=None)
    scene.jacks["alpha/cpu"].mac = 0x00005E000105
    return scene


def swapped(macs: bool) -> Scene:
    """Two devices got each other's addresses."""
    scene = Scene()
    for name, planned, real in (("alpha/cpu", 20, 21), ("beta/cpu", 21, 20)):
        scene.plan(name, planned, mac=0 if macs else None)
        scene.hand.jacks[f"{name}:1"] = scene.plug(name, real, mac=MACS + planned)
    return scene


def proven_before() -> Scene:
    """The MAC that answers is already proven for another device."""
    scene = pair()
    scene.targets[0] = replace(scene.targets[0], mac=None)
    scene.proven = {MACS + 20: "gamma/cpu"}
    return scene


def wrong_nameplate() -> Scene:
    """Another device than the plan's was installed."""
    scene = pair()
    scene.jacks["alpha/cpu"].mac = STRANGER
    return scene


def weak_host(second_plugged: bool) -> Scene:
    """A device with two interfaces on one segment that answers for both on either, the stock kernels' default."""
    scene = Scene()
    scene.plan("alpha/cpu", 20)
    scene.plan("alpha/module", 22)
    scene.add("beta/cpu", 21)
    cpu, module = scene.segment.join(Jack(MACS + 20)), scene.segment.join(Jack(MACS + 22))
    VirtualDevice(scene.rig, {cpu: {ip(20)}, module: {ip(22)}}, Faults(weak=True))
    scene.hand.jacks = {"alpha/cpu:1": cpu, "alpha/module:1": module}
    module.plugged = second_plugged
    if not second_plugged:
        scene.only = ("alpha/module:1",)
        scene.hand.jacks = {}
    return scene


def weak_host_when_pulled() -> Scene:
    """A device answers for the unplugged interface through its other one."""
    scene = weak_host(second_plugged=True)
    device = scene.hand.jacks["alpha/cpu:1"].host
    assert isinstance(device, VirtualDevice)
    device.faults = Faults()
    module, cpu = scene.hand.jacks["alpha/module:1"], scene.hand.jacks["alpha/cpu:1"]
    scene.plug("through the other", 20, Faults(only_while_out=cpu), mac=module.mac)
    return scene


def second_path() -> Scene:
    """Both ports of a two-port device lead to the switch: a ring."""
    scene = Scene()
    scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21)
    scene.hand.jacks = {"alpha/cpu:1": Jack(0), "alpha/cpu:2": Jack(0)}
    return scene


def forwards_after(seconds: float) -> Scene:
    """The switch port blocks after the cable came in (spanning tree: RFC 4188, twice the forward delay)."""
    scene = pair()
    scene.jacks["alpha/cpu"].forwards_after = seconds
    scene.jacks["alpha/cpu"].forwarding_from = scene.rig.now() + seconds
    return scene


def never_returns() -> Scene:
    """The cable is not put back."""
    scene = pair()
    scene.hand.returns = False
    return scene


def never_pulled(scene: Scene) -> Scene:
    """Nobody pulls the cable."""
    scene.hand.pulls = False
    return scene


def lossy(share: float, control: float = 0.0) -> Scene:
    """Frames are lost, that share of them each way."""
    scene = pair()
    scene.jacks["alpha/cpu"].loss = share
    scene.jacks["beta/cpu"].loss = control
    return scene


def echo_from_another() -> Scene:
    """ARP says one MAC, echo answers come from another."""
    return faulty(Faults(echo_from=STRANGER))


def other_way(*, heard: str, own: bool = True) -> Scene:
    """The station has a second interface, and somebody behind it owns the address: at first, or with the cable out."""
    scene = alone(own=own, further_ways=(Way("x1", MACS + 2, ((ip(2), 24),)),))
    faults = Faults(only_while_out=scene.jacks["alpha/cpu"] if heard == "out" else None)
    scene.plug("stranger", 20, faults, mac=STRANGER, to=scene.beyond[0])
    return scene


def other_way_same_device() -> Scene:
    """The device itself is heard through the station's second interface while its direct cable is out."""
    scene = other_way(heard="out")
    scene.jacks["stranger"].mac = MACS + 20
    return scene


def own_cable(drops: bool) -> Scene:
    """The station's own cable, or the switch's uplink, is pulled instead."""
    scene = pair()
    trunk = Jack(0)
    for name in ("alpha/cpu", "beta/cpu"):
        scene.jacks[name].behind = trunk
    scene.hand.jacks = {"alpha/cpu:1": scene.rig.jacks[0] if drops else trunk}
    scene.hand.returns = False
    return scene


def wrong_cable_left_out_too() -> Scene:
    """The neighbour's cable is pulled and left out; then the right one as well."""
    scene = with_gateway(pair())
    scene.hand = Repenting(scene.rig, dict(scene.hand.jacks), wrong=scene.jacks["beta/cpu"], holds=8.0, mends=False)
    return scene


def own_cable_once() -> Scene:
    """The station's own cable is pulled at first, put back, and then the right one is pulled."""
    scene = pair()
    scene.hand = Repenting(scene.rig, dict(scene.hand.jacks), wrong=scene.rig.jacks[0])
    return scene


@dataclass(eq=False)
class Repenting(Technician):
    """Pulls the wrong cable first, holds it for a while, puts it back and pulls the right one."""

    wrong: Jack = None  # type: ignore[assignment]
    holds: float = 8.0
    mends: bool = True  # else the wrong one stays out
    tries: int = 1

    def told(self, event: Event) -> None:
        """At the first request the wrong cable goes out and in."""
        if event.action is Action.PULL and self.tries:
            self.tries -= 1
            self.log.append(event)
            self.rig.after(2, lambda: self.rig.plug(self.wrong, False))
            self.rig.after(2 + self.holds, lambda: self.rig.plug(self.wrong, self.mends))
            self.rig.after(4 + self.holds, lambda: self.rig.plug(self.jacks[event.port], False))
        else:
            super().told(event)


def wrong_cable(corrected: bool) -> Scene:
    """The neighbour's cable is pulled instead, and left out, or put back and the right one pulled."""
    scene = pair()
    wrong = scene.jacks["beta/cpu"]
    if corrected:
        scene.hand = Repenting(scene.rig, dict(scene.hand.jacks), wrong=wrong)
    else:
        scene.hand.jacks["alpha/cpu:1"] = wrong
    return scene


def flapping(scene: Scene, every: float) -> Scene:
    """The cable goes out and in, every so many seconds, from the request on."""
    tell, jack = scene.hand.told, scene.jacks["alpha/cpu"]

    def told(event: Event) -> None:
        if event.action is Action.PULL:
            for turn in range(100):
                scene.rig.after(2 + every * turn, partial(scene.rig.plug, jack, bool(turn % 2)))
            scene.hand.jacks = {}
        tell(event)

    scene.hand.told = told  # type: ignore[method-assign]
    return scene


def reboots(at: float, seconds: float) -> Scene:
    """The device restarts by itself while its answers are counted, before the request."""
    scene = with_gateway(pair())
    scene.rig.after(at, lambda: scene.devices["alpha/cpu"].restart(seconds))
    return scene


def interface_removed(after: float) -> Scene:
    """The station's adapter is pulled in mid-run."""
    scene = pair()
    scene.rig.after(after, scene.rig.remove)
    return scene


def interface_off(scene: Scene, after: float, seconds: float) -> Scene:
    """The interface under test is switched off for a while and nobody moves a cable meanwhile."""
    scene.rig.after(after, lambda: scene.rig.switch(False))
    scene.rig.after(after + seconds, lambda: scene.rig.switch(True))
    return scene


def borrowed_is_owned() -> Scene:
    """Somebody has the address that was to be borrowed."""
    scene = pair(own=False)
    scene.plug("stranger", 240, mac=STRANGER)
    return scene


def borrowed_is_claimed(at: float) -> Scene:
    """Somebody takes the borrowed address during the run: checks that it is free, and announces it."""
    scene = pair(own=False)
    jack = scene.plug("stranger", 240, mac=STRANGER)
    scene.devices["stranger"].dead = True

    def wake() -> None:
        scene.devices["stranger"].dead = False
        scene.devices["stranger"].announce(jack)

    scene.rig.after(at, wake)
    return scene


def two_ports(scene: Scene) -> Scene:
    """The second port of a device with a built-in switch."""
    scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21)
    scene.only = ("alpha/cpu:2",)
    return scene


def chain(behind: str, gateway: bool = True) -> Scene:
    """Gamma hangs behind alpha's second port; beta is on the switch."""
    scene = Scene()
    scene.add("alpha/cpu", 20, ports=2)
    scene.only = ("alpha/cpu:1",)
    scene.add("beta/cpu", 21)
    scene.add("gamma/cpu", 22, behind=behind).behind = scene.jacks["alpha/cpu"]
    return with_gateway(scene) if gateway else scene


def chain_alone() -> Scene:
    """The only other device hangs behind the one under test, and the plan does not say so."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    scene.add("gamma/cpu", 22).behind = scene.jacks["alpha/cpu"]
    return scene


def chain_direct(planned_mac: bool) -> Scene:
    """A two-port device on the direct cable, with its chain connected."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True))
    scene.add("alpha/cpu", 20, ports=2, mac=0 if planned_mac else None)
    scene.only = ("alpha/cpu:1",)
    scene.add("gamma/cpu", 22).behind = scene.jacks["alpha/cpu"]
    return scene


def trunk_pulled_too_early() -> Scene:
    """Enter is pressed a moment before the cable of a whole row of devices is pulled: the neighbour falls too."""
    scene = keyed(with_gateway(pair()))
    trunk = Jack(0)
    for name in ("alpha/cpu", "beta/cpu"):
        scene.jacks[name].behind = trunk
    scene.hand = Hasty(scene.rig, {"alpha/cpu:1": trunk}, early=0.1)
    return scene


def outage_over_just_in_time() -> Scene:
    """Everything is out for a while, and the control is back before the device, which is asked by ARP alone."""
    scene = pair()
    scene.options = replace(scene.options, hands_free=False)
    scene.devices["alpha/cpu"].faults = Faults(echo=False)
    trunk = Jack(0)
    for name in ("alpha/cpu", "beta/cpu"):
        scene.jacks[name].behind = trunk
    scene.hand = Hasty(scene.rig, {"alpha/cpu:1": Jack(0)}, early=1.0)
    for turn in range(8):
        scene.rig.after(12 + 20 * turn, partial(scene.rig.plug, trunk, False))
        scene.rig.after(19 + 20 * turn + turn / 8, partial(scene.rig.plug, trunk, True))
    return scene


@dataclass(eq=False)
class Hasty(Technician):
    """Presses Enter some seconds before the cable is out."""

    early: float = 5.0

    def told(self, event: Event) -> None:
        """Say that it is out, then pull it."""
        if event.action is Action.PULL:
            self.log.append(event)
            self.rig.after(1, lambda: self.press(Key.ENTER))
            self.rig.after(1 + self.early, lambda: self.rig.plug(self.jacks[event.port], False))
        else:
            super().told(event)


def hasty(early: float) -> Scene:
    """Enter is pressed long before the cable is out."""
    scene = pair()
    scene.options = replace(scene.options, hands_free=False)
    scene.hand = Hasty(scene.rig, dict(scene.hand.jacks), confirms=True, early=early)
    return scene


def says_so_and_does_nothing() -> Scene:
    """Enter is pressed and nothing is ever pulled."""
    scene = keyed(pair())
    scene.hand = Hasty(scene.rig, {"alpha/cpu:1": Jack(0)}, early=1.0)
    return scene


def gateway_alone() -> Scene:
    """The gateway is the only other thing that answers."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    return with_gateway(scene)


def no_control() -> Scene:
    """Nothing else answers on the switch."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    return scene


def not_direct() -> Scene:
    """The cable that is called direct leads to a switch with others on it."""
    scene = alone()
    scene.segment.direct = False
    scene.plug("stranger", 77, mac=STRANGER)
    scene.rig.after(3, partial(scene.devices["stranger"].announce, scene.jacks["stranger"]))
    return scene


def self_check_at_the_last_moment() -> Scene:
    """The cable comes in just before the patience ends; the device is checking its own address when it ends."""
    scene = faulty(Faults(checks_itself=True))
    jack = scene.jacks["alpha/cpu"]
    jack.plugged = False
    del scene.hand.jacks["alpha/cpu:1"]
    scene.rig.after(58, lambda: scene.rig.plug(jack, True))

    def later() -> None:
        scene.hand.jacks["alpha/cpu:1"] = jack

    scene.rig.after(59, later)
    return scene


def pressing(key: Key, at: float, scene: Scene) -> Scene:
    """A key is pressed so many seconds after the beginning."""
    scene.rig.after(at, lambda: scene.hand.press(key))
    return scene


def barred(why: str) -> Scene:
    """The port cannot be probed at all."""
    scene = Scene()
    scene.plan("alpha/cpu", 20, barred=why)
    scene.add("beta/cpu", 21)
    return scene


def no_station() -> Scene:
    """Neither the computer nor the plan has an address in the subnet."""
    scene = pair(own=False)
    scene.net = replace(scene.net, station=None)
    return scene


def planned_is_ours(by_plan: bool) -> Scene:
    """A planned address is the station's own."""
    scene = Scene(own=not by_plan)
    scene.add("alpha/cpu", 240 if by_plan else 1)
    return scene


def moved_direct() -> Scene:
    """The direct cable is moved from one device to the next; the first is heard no more."""
    scene = alone()
    scene.add("beta/cpu", 21).plugged = False
    scene.only = ("alpha/cpu:1", "beta/cpu:1")
    tell = scene.hand.told

    def told(event: Event) -> None:
        tell(event)
        if event.action is Action.CONNECT and event.port == "beta/cpu:1":
            scene.rig.after(1, lambda: scene.rig.plug(scene.jacks["alpha/cpu"], False))

    scene.hand.told = told  # type: ignore[method-assign]
    return scene
