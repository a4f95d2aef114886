"""Plants on the rig, healthy or with one fault, for the tests of verdicts and phases."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from netcheck.proof.events import Action, Event, Key, RunOptions
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.network import Jack
from netcheck.rig.technicians import Technician
from netcheck.wire.link import Adapter
from tests.rig.scenes import MACS, Scene, ip

STRANGER = MACS + 0x99
STRANGER_TEXT = "00-00-5E-00-53-99"


def pair(**about: object) -> Scene:
    """Return two healthy devices on a switch; the first is to be proven."""
    scene = Scene(**about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20)
    scene.add("beta/cpu", 21)
    return scene


def alone(**about: object) -> Scene:
    """Return one healthy device at the far end of a direct cable."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True), **about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20)
    return scene


def faulty(faults: Faults, **about: object) -> Scene:
    """Return two devices, the first with faults."""
    scene = Scene(**about)  # type: ignore[arg-type]
    scene.add("alpha/cpu", 20, faults)
    scene.add("beta/cpu", 21)
    return scene


def with_gateway(scene: Scene) -> Scene:
    """Add a gateway on the switch."""
    scene.plug("gateway", 254)
    return scene


def keyed(scene: Scene) -> Scene:
    """Let the technician press Enter after every movement."""
    scene.options = replace(scene.options, hands_free=False)
    scene.hand.confirms = True
    return scene


def absent() -> Scene:
    """Return a plant whose device is absent."""
    scene = pair()
    scene.devices["alpha/cpu"].dead = True
    return scene


def absent_seen_elsewhere() -> Scene:
    """Return a plant whose device still has another address and announces it."""
    scene = pair()
    jack = scene.jacks["alpha/cpu"]
    device = scene.devices["alpha/cpu"]
    device.addresses = {jack: {ip(77)}}
    scene.rig.after(20, lambda: device.announce(jack))
    return scene


def two_owners() -> Scene:
    """Return a plant in which another device has the same address."""
    scene = pair()
    scene.plug("stranger", 20, mac=STRANGER)
    return scene


def second_owner_announces() -> Scene:
    """Return a plant in which another owner of the address answers nothing, but announces itself."""
    scene = pair()
    jack = scene.plug("stranger", 20, Faults(arp=False, echo=False), mac=STRANGER)
    for second in range(1, 60, 3):
        scene.rig.after(second, partial(scene.devices["stranger"].announce, jack))
    return scene


def owner_with_the_cable_out() -> Scene:
    """Return a plant in which another owner of the address answers only while the device's cable is out."""
    scene = pair()
    scene.plug("stranger", 20, Faults(only_while_out=scene.jacks["alpha/cpu"]), mac=STRANGER)
    return scene


def takes_over(same_device: bool) -> Scene:
    """Return a plant in which another MAC has the address exactly while the cable is out."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    if same_device:
        scene.plan("alpha/module", 22)
    scene.add("beta/cpu", 21)
    mac = MACS + 22 if same_device else STRANGER
    scene.plug("other", 20, Faults(only_while_out=scene.jacks["alpha/cpu"]), mac=mac)
    return scene


def returns_as_another(both: bool) -> Scene:
    """Return a plant in which another MAC answers after the return, instead of the device's or (*both*) in addition to
    it.
    """
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
    """Return a plant whose router answers ARP for every address after 0.4 s, as measured on real routers."""
    scene = pair()
    scene.devices["alpha/cpu"].dead = absent_host
    scene.plug("router", 254, Faults(answers_all=True, slow=0.4))
    return scene


def proxied_by_a_router_elsewhere() -> Scene:
    """Return a plant in which a router that is not the gateway answers for two planned addresses only."""
    scene = pair()
    for name in ("alpha/cpu", "beta/cpu"):
        scene.devices[name].dead = True
    jack = scene.plug("router", 20, mac=STRANGER)
    scene.devices["router"].addresses = {jack: {ip(20), ip(21)}}
    for target in scene.targets:
        scene.targets[scene.targets.index(target)] = replace(target, mac=None)
    return scene


def gateway_answers() -> Scene:
    """Return a plant in which the gateway also has the address, and the device is absent."""
    scene = absent()
    jack = scene.plug("gateway", 254)
    scene.devices["gateway"].addresses = {jack: {ip(20), ip(254)}}
    return scene


def virtual_router() -> Scene:
    """Return a plant in which a virtual router's MAC answers (RFC 7042 section 2.1.1)."""
    scene = pair()
    scene.targets[0] = replace(scene.targets[0], mac=None)
    scene.jacks["alpha/cpu"].mac = 0x00005E000105
    return scene


def swapped(macs: bool) -> Scene:
    """Return a plant in which two devices have each other's address."""
    scene = Scene()
    for name, planned, real in (("alpha/cpu", 20, 21), ("beta/cpu", 21, 20)):
        scene.plan(name, planned, mac=0 if macs else None)
        scene.hand.jacks[f"{name}:1"] = scene.plug(name, real, mac=MACS + planned)
    return scene


def proven_before() -> Scene:
    """Return a plant whose answering MAC is already proven for another device."""
    scene = pair()
    scene.targets[0] = replace(scene.targets[0], mac=None)
    scene.proven = {MACS + 20: "gamma/cpu"}
    return scene


def wrong_nameplate() -> Scene:
    """Return a plant in which another device than the planned one is installed."""
    scene = pair()
    scene.jacks["alpha/cpu"].mac = STRANGER
    return scene


def weak_host(second_plugged: bool) -> Scene:
    """Return a device with two interfaces on one segment that answers for both on either, as Linux does by default."""
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
    """Return a device that answers for its unplugged interface through the other one."""
    scene = weak_host(second_plugged=True)
    device = scene.hand.jacks["alpha/cpu:1"].host
    assert isinstance(device, VirtualDevice)
    device.faults = Faults()
    module, cpu = scene.hand.jacks["alpha/module:1"], scene.hand.jacks["alpha/cpu:1"]
    scene.plug("through the other", 20, Faults(only_while_out=cpu), mac=module.mac)
    return scene


def second_path() -> Scene:
    """Return a two-port device whose ports both lead to the switch: a ring."""
    scene = Scene()
    scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21)
    scene.hand.jacks = {"alpha/cpu:1": Jack(0), "alpha/cpu:2": Jack(0)}
    return scene


def forwards_after(seconds: float) -> Scene:
    """Return a plant whose switch port blocks after the cable is plugged in (spanning tree: RFC 4188, twice the forward
    delay).
    """
    scene = pair()
    scene.jacks["alpha/cpu"].forwards_after = seconds
    scene.jacks["alpha/cpu"].forwarding_from = scene.rig.now() + seconds
    return scene


def never_returns() -> Scene:
    """Return a plant in which the cable is never put back."""
    scene = pair()
    scene.hand.returns = False
    return scene


def never_pulled(scene: Scene) -> Scene:
    """Let nobody pull the cable."""
    scene.hand.pulls = False
    return scene


def lossy(share: float, control: float = 0.0) -> Scene:
    """Return a plant in which the share *share* of the frames is lost in each direction."""
    scene = pair()
    scene.jacks["alpha/cpu"].loss = share
    scene.jacks["beta/cpu"].loss = control
    return scene


def echo_from_another() -> Scene:
    """Return a device whose echo replies come from another MAC than its ARP replies."""
    return faulty(Faults(echo_from=STRANGER))


def other_adapter(*, heard: str, own: bool = True) -> Scene:
    """Return a station with a second interface, behind which another host owns the address, always or with the cable
    out.
    """
    scene = alone(own=own, further_adapters=(Adapter("x1", MACS + 2, ((ip(2), 24),)),))
    faults = Faults(only_while_out=scene.jacks["alpha/cpu"] if heard == "out" else None)
    scene.plug("stranger", 20, faults, mac=STRANGER, to=scene.beyond[0])
    return scene


def other_adapter_same_device() -> Scene:
    """Return a device that is heard through the station's second interface while its direct cable is out."""
    scene = other_adapter(heard="out")
    scene.jacks["stranger"].mac = MACS + 20
    return scene


def own_cable(drops: bool) -> Scene:
    """Return a plant in which the station's own cable, or the switch's uplink, is pulled instead."""
    scene = pair()
    trunk = Jack(0)
    for name in ("alpha/cpu", "beta/cpu"):
        scene.jacks[name].behind = trunk
    scene.hand.jacks = {"alpha/cpu:1": scene.rig.jacks[0] if drops else trunk}
    scene.hand.returns = False
    return scene


def wrong_cable_left_out_too() -> Scene:
    """Return a plant in which the neighbour's cable is pulled and left out, then the right one is pulled as well."""
    scene = with_gateway(pair())
    scene.hand = WrongCableFirst(
        scene.rig, dict(scene.hand.jacks), wrong=scene.jacks["beta/cpu"], holds=8.0, puts_back=False
    )
    return scene


def own_cable_once() -> Scene:
    """Return a plant in which the station's own cable is pulled first and put back, then the right one is pulled."""
    scene = pair()
    scene.hand = WrongCableFirst(scene.rig, dict(scene.hand.jacks), wrong=scene.rig.jacks[0])
    return scene


@dataclass(eq=False)
class WrongCableFirst(Technician):
    """A technician who pulls the wrong cable first, then the right one."""

    wrong: Jack = None  # type: ignore[assignment]
    holds: float = 8.0
    puts_back: bool = True  # whether the wrong cable is put back
    tries: int = 1

    def told(self, event: Event) -> None:
        """Pull the wrong cable at the first request; afterwards follow the instructions."""
        if event.action is Action.PULL and self.tries:
            self.tries -= 1
            self.log.append(event)
            self.rig.after(2, lambda: self.rig.plug(self.wrong, False))
            self.rig.after(2 + self.holds, lambda: self.rig.plug(self.wrong, self.puts_back))
            self.rig.after(4 + self.holds, lambda: self.rig.plug(self.jacks[event.port], False))
        else:
            super().told(event)


def wrong_cable(corrected: bool) -> Scene:
    """Return a plant in which the neighbour's cable is pulled instead, and left out or corrected."""
    scene = pair()
    wrong = scene.jacks["beta/cpu"]
    if corrected:
        scene.hand = WrongCableFirst(scene.rig, dict(scene.hand.jacks), wrong=wrong)
    else:
        scene.hand.jacks["alpha/cpu:1"] = wrong
    return scene


def flapping(scene: Scene, every: float) -> Scene:
    """Let the cable go out and in every *every* seconds after the request."""
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
    """Return a plant whose device restarts by itself during phase in."""
    scene = with_gateway(pair())
    scene.rig.after(at, lambda: scene.devices["alpha/cpu"].restart(seconds))
    return scene


def interface_removed(after: float) -> Scene:
    """Return a plant in which the station's adapter is removed during the run."""
    scene = pair()
    scene.rig.after(after, scene.rig.remove)
    return scene


def interface_off(scene: Scene, after: float, seconds: float) -> Scene:
    """Switch the station's interface off for *seconds* while nobody moves a cable."""
    scene.rig.after(after, lambda: scene.rig.switch(False))
    scene.rig.after(after + seconds, lambda: scene.rig.switch(True))
    return scene


def borrowed_is_owned() -> Scene:
    """Return a plant in which another host has the address to be borrowed."""
    scene = pair(own=False)
    scene.plug("stranger", 240, mac=STRANGER)
    return scene


def borrowed_is_claimed(at: float) -> Scene:
    """Return a plant in which another host takes and announces the borrowed address during the run."""
    scene = pair(own=False)
    jack = scene.plug("stranger", 240, mac=STRANGER)
    scene.devices["stranger"].dead = True

    def wake() -> None:
        scene.devices["stranger"].dead = False
        scene.devices["stranger"].announce(jack)

    scene.rig.after(at, wake)
    return scene


def two_ports(scene: Scene) -> Scene:
    """Select the second port of a device with a built-in switch."""
    scene.add("alpha/cpu", 20, ports=2)
    scene.add("beta/cpu", 21)
    scene.only = ("alpha/cpu:2",)
    return scene


def chain(behind: str, gateway: bool = True) -> Scene:
    """Return a plant in which gamma is behind alpha's second port, and beta is on the switch."""
    scene = Scene()
    scene.add("alpha/cpu", 20, ports=2)
    scene.only = ("alpha/cpu:1",)
    scene.add("beta/cpu", 21)
    scene.add("gamma/cpu", 22, behind=behind).behind = scene.jacks["alpha/cpu"]
    return with_gateway(scene) if gateway else scene


def chain_alone() -> Scene:
    """Return a plant whose only other device is behind the one under test, without the plan's key `behind`."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    scene.add("gamma/cpu", 22).behind = scene.jacks["alpha/cpu"]
    return scene


def chain_direct(planned_mac: bool) -> Scene:
    """Return a two-port device on a direct cable, with its chain connected."""
    scene = Scene(direct=True, options=RunOptions(hands_free=True, direct=True))
    scene.add("alpha/cpu", 20, ports=2, mac=0 if planned_mac else None)
    scene.only = ("alpha/cpu:1",)
    scene.add("gamma/cpu", 22).behind = scene.jacks["alpha/cpu"]
    return scene


def trunk_pulled_too_early() -> Scene:
    """Return a plant in which Enter is pressed just before the cable of a whole row is pulled."""
    scene = keyed(with_gateway(pair()))
    trunk = Jack(0)
    for name in ("alpha/cpu", "beta/cpu"):
        scene.jacks[name].behind = trunk
    scene.hand = EarlyEnter(scene.rig, {"alpha/cpu:1": trunk}, early=0.1)
    return scene


def outage_over_just_in_time() -> Scene:
    """Return a plant with a short outage of all devices.

    The control is back before the device, which answers only ARP.
    """
    scene = pair()
    scene.options = replace(scene.options, hands_free=False)
    scene.devices["alpha/cpu"].faults = Faults(echo=False)
    trunk = Jack(0)
    for name in ("alpha/cpu", "beta/cpu"):
        scene.jacks[name].behind = trunk
    scene.hand = EarlyEnter(scene.rig, {"alpha/cpu:1": Jack(0)}, early=1.0)
    for turn in range(8):
        scene.rig.after(12 + 20 * turn, partial(scene.rig.plug, trunk, False))
        scene.rig.after(19 + 20 * turn + turn / 8, partial(scene.rig.plug, trunk, True))
    return scene


@dataclass(eq=False)
class EarlyEnter(Technician):
    """A technician who presses Enter some seconds before the cable is out."""

    early: float = 5.0

    def told(self, event: Event) -> None:
        """Press Enter, then pull the cable."""
        if event.action is Action.PULL:
            self.log.append(event)
            self.rig.after(1, lambda: self.press(Key.ENTER))
            self.rig.after(1 + self.early, lambda: self.rig.plug(self.jacks[event.port], False))
        else:
            super().told(event)


def hasty(early: float) -> Scene:
    """Return a plant in which Enter is pressed *early* seconds before the cable is out."""
    scene = pair()
    scene.options = replace(scene.options, hands_free=False)
    scene.hand = EarlyEnter(scene.rig, dict(scene.hand.jacks), confirms=True, early=early)
    return scene


def confirms_without_a_pull() -> Scene:
    """Return a plant in which Enter is pressed and no cable is pulled."""
    scene = keyed(pair())
    scene.hand = EarlyEnter(scene.rig, {"alpha/cpu:1": Jack(0)}, early=1.0)
    return scene


def gateway_alone() -> Scene:
    """Return a plant in which the gateway is the only other host that answers."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    return with_gateway(scene)


def no_control() -> Scene:
    """Return a plant in which no other host answers on the switch."""
    scene = Scene()
    scene.add("alpha/cpu", 20)
    return scene


def not_direct() -> Scene:
    """Return a plant in which the direct cable leads to a switch with other hosts."""
    scene = alone()
    scene.segment.direct = False
    scene.plug("stranger", 77, mac=STRANGER)
    scene.rig.after(3, partial(scene.devices["stranger"].announce, scene.jacks["stranger"]))
    return scene


def self_check_at_the_last_moment() -> Scene:
    """Return a plant in which the cable is plugged in just before the patience ends, while the device still checks its
    address.
    """
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
    """Press a key *at* seconds after the start."""
    scene.rig.after(at, lambda: scene.hand.press(key))
    return scene


def barred(why: str) -> Scene:
    """Return a plant with a port that cannot be probed."""
    scene = Scene()
    scene.plan("alpha/cpu", 20, barred=why)
    scene.add("beta/cpu", 21)
    return scene


def no_station() -> Scene:
    """Return a plant in which neither the computer nor the plan has an address in the subnet."""
    scene = pair(own=False)
    scene.net = replace(scene.net, station=None)
    return scene


def planned_is_ours(by_plan: bool) -> Scene:
    """Return a plant in which a planned address is the station's own."""
    scene = Scene(own=not by_plan)
    scene.add("alpha/cpu", 240 if by_plan else 1)
    return scene


def moved_direct() -> Scene:
    """Return a plant in which the direct cable is moved from one device to the next."""
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
