"""A scenario on the bench: build the plant, run `prove` or `walk` on it, and record what happens."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from random import Random

from netcheck.addr import quad
from netcheck.proof.driver import drive
from netcheck.proof.events import Action, Event, Key, Press, RunOptions
from netcheck.proof.prober import Prober
from netcheck.proof.result import Proof
from netcheck.proof.targets import Net, Scope, Target
from netcheck.proof.verdict.names import Names
from netcheck.proof.walk.walk import Walk
from netcheck.rig.devices import Faults, LldpSpeaker, VirtualDevice
from netcheck.rig.network import Jack, Rig, Segment
from netcheck.rig.scenario import Act, Cable, Device, Do, HandMove, Mode, On, Replies, Scenario, Stranger
from netcheck.rig.technicians import MOVES, MOVES_AGAIN
from netcheck.rig.truth import Place, Truth
from netcheck.wire.link import Adapter

FIRST = 0xC0000200  # 192.0.2.0, a documentation prefix: RFC 5737
MACS = 0x00005E005300  # documentation MACs: RFC 7042 section 2.1.2
DEVICE, OWN, BORROWED, GATEWAY = FIRST + 20, FIRST + 1, FIRST + 240, FIRST + 254
STATION_MAC, STRANGER_MAC, SWITCH_MAC = MACS + 1, MACS + 0x90, MACS + 0xF0
NET = Net("process", FIRST, 24, GATEWAY, BORROWED, (FIRST + 253, FIRST + 252))
NOBODY = Names(lambda mac: "", lambda mac: None)
POLL = 60.0  # seconds between reads of the keys: a scripted key press ends the wait itself
GIVES_UP = 400.0  # seconds after which the technician stops the run
WALKS_FOR = 200.0  # seconds that a walk lasts
NAMED_AFTER = 4.0  # seconds from a pull until the number of its row is pressed
PROVEN_IN = 25.0  # seconds from a pull on a walk until its port is proven, roughly
HOLDS = 60.0  # seconds that the technician keeps a cable out on a walk without an instruction


class Bench:
    """The plant of a scenario, and its run. `places` maps each port to where it physically is."""

    def __init__(self, scenario: Scenario) -> None:
        """Build the plant; the run has not started."""
        self.scenario = scenario
        self.mode = scenario.mode
        self.direct_cable = self.mode.direct and not scenario.through_switch
        self.segment, self.office = Segment(direct=self.direct_cable), Segment()
        adapters, segments = [Adapter("x0", STATION_MAC, () if scenario.borrowed else ((OWN, 24),))], [self.segment]
        if scenario.two_interfaces:
            adapters.append(Adapter("x1", MACS + 2, ((FIRST + 2, 24),)))
            segments.append(self.office)
        self.rig = Rig(scenario.seed, adapters, segments)
        self.hosts: list[VirtualDevice] = []
        self.places: dict[str, Place] = {}
        self.trunks: list[Jack] = []  # for each device, the cable upstream of its own
        self.devices: list[VirtualDevice] = []
        self.targets: list[Target] = []
        for index, device in enumerate(scenario.devices):
            self._device(index, device)
        if scenario.heals is not None and not self.direct_cable:
            beyond = [self.jack_of(index) for index in range(1, len(self.devices))][:1]
            self.jack_of(0).detour = (*beyond, Jack(0))
            self.jack_of(0).heals = scenario.heals
        if scenario.gateway and not self.mode.direct:
            self.hosts.append(VirtualDevice(self.rig, {self.segment.join(Jack(MACS + 254)): {GATEWAY}}))
        self.strangers = [self._stranger(number, one) for number, one in enumerate(scenario.strangers)]
        if scenario.device_lldp and self.direct_cable:  # bridges do not forward LLDP (IEEE 802.1AB)
            for place in self.places.values():
                LldpSpeaker(self.rig, place.jack, place.jack.mac, f"port {place.subject[-1]}")
        if scenario.switch_lldp:
            LldpSpeaker(self.rig, None, SWITCH_MAC, scenario.switch_lldp)
        self.hand = ScriptedHand(self)
        self.prober: Prober | None = None

    # The plant

    def _device(self, index: int, device: Device) -> None:
        scenario, name, address = self.scenario, f"d{index}/lan", DEVICE + index
        held = address
        if scenario.swapped and index < 2 <= len(scenario.devices):
            held = DEVICE + 1 - index
        above = self.jack_of(0) if device.behind and index and not self.mode.direct else None
        trunk = Jack(0, behind=above)
        self.trunks.append(trunk)
        jacks = [self.segment.join(Jack(MACS + 20 + index, behind=trunk)) for _ in range(device.ports)]
        for number, jack in enumerate(jacks):
            jack.loss = device.loss
            jack.plugged = number == 0 and (index == 0 or not self.mode.direct)
            jack.forwards_after = 0.0 if self.direct_cable else scenario.blocks
        host = VirtualDevice(self.rig, {jack: {held} for jack in jacks}, _faults(device.replies))
        host.faults.boots_in, host.faults.checks_itself, host.faults.slow = (
            device.boots, device.checks_itself, device.slow,
        )  # fmt: skip
        self.hosts.append(host)
        self.devices.append(host)
        mac = MACS + 20 + index if scenario.named else None
        behind = "d0/lan:1" if above is not None and scenario.behind_planned else ""
        for ordinal, jack in enumerate(jacks):
            target = Target(
                interface=name, port=str(ordinal + 1), device=f"d{index}", address=address,
                address_text=quad(address), subnet=NET.name, mac=mac, ordinal=ordinal, ports=device.ports,
                behind=behind, row=len(self.targets) + 1,
            )  # fmt: skip
            self.targets.append(target)
            self.places[target.subject] = Place(
                subject=target.subject,
                address=address,
                jack=jack,
                device=host,
                planned_mac=mac,
                hosts=self.hosts,
                far_end=self.rig.jacks[0] if self.direct_cable else None,
                said_direct=self.mode.direct,
                hands_free=not self.mode.keyed,
                dependents=self._dependents(index),
            )

    def _dependents(self, index: int) -> frozenset[int]:
        """Return the addresses that the plan places behind a device."""
        if index or not self.scenario.behind_planned:
            return frozenset()
        return frozenset(DEVICE + number for number, one in enumerate(self.scenario.devices) if number and one.behind)

    def row_of(self, index: int, port: int) -> int:
        """Return the screen row of a port; 0 if there is none. Devices count from 0 and ports from 1."""
        return next((t.row for t in self.targets if (t.device, t.ordinal) == (f"d{index}", port - 1)), 0)

    def jack_of(self, index: int) -> Jack:
        """Return the connector of a device that its cable is in, else its first connector."""
        jacks = list(self.devices[index].addresses)
        return next((jack for jack in jacks if jack.plugged), jacks[0])

    def _stranger(self, number: int, one: Stranger) -> VirtualDevice:
        of = one.of % len(self.devices)
        segment = self.office if one.beyond and self.scenario.two_interfaces else self.segment
        jack = segment.join(Jack(MACS + 20 + of if one.twin else STRANGER_MAC + number))
        jack.plugged = segment is self.office or not self.direct_cable  # a direct cable connects only two hosts
        if one.twin and segment is self.segment:
            jack.behind = self.jack_of(of)
        jack.loss = one.loss
        host = VirtualDevice(self.rig, {jack: {DEVICE + of}}, _faults(one.replies))
        host.faults.only_while_out = self.jack_of(of) if one.while_out else None
        host.dead = not (one.always or one.while_out)
        self.hosts.append(host)
        return host

    # The run

    def scope(self) -> Scope:
        """Return the scope of the run."""
        macs = {target.mac: target.interface for target in self.targets if target.mac is not None}
        asked = tuple(self.targets if self.mode.walks else self.targets[: self.scenario.asked])
        return Scope(
            targets=tuple(self.targets),
            asked=asked,
            nets=(NET,),
            stations=frozenset({BORROWED}),
            macs=macs,
            site_macs={},
        )

    def options(self) -> RunOptions:
        """Return the options of the run."""
        return RunOptions(
            hands_free=not self.mode.keyed,
            direct=self.mode.direct,
            patience=self.scenario.patience,
            once=self.scenario.once,
            in_order=self.mode is Mode.IN_ORDER,
            lasts=WALKS_FOR if self.mode.walks else None,
        )

    def run(self) -> tuple[Proof, ...]:
        """Run to the end in virtual time and return the proofs."""
        proven = {MACS + 21: "d0/lan"} if self.scenario.earlier else {}
        random = Random(self.scenario.seed)
        self.prober = Prober(
            self.scope(), self.rig.adapters, NOBODY, self.options(), random, proven=proven, poll=POLL,
            procedure=Walk if self.mode.walks else None,
        )  # fmt: skip
        self.hand.start()
        drive(self.prober, self.rig, self.hand)
        return tuple(self.prober.proofs)

    def truth(self) -> Truth:
        """Return the truth of the run, once it is over."""
        return Truth(self.rig, self.hand.log, entered=self.hand.entered, walks=self.mode.walks, once=self.scenario.once)


def _faults(replies: Replies) -> Faults:
    match replies:
        case Replies.ALL:
            return Faults()
        case Replies.NO_ECHO:
            return Faults(echo=False)
        case Replies.PROBES:
            return Faults(deaf_to=bool)
        case Replies.ECHO:
            return Faults(arp=False)
        case Replies.EVERY_SECOND:
            return Faults(every_second=True)
        case Replies.TO_ALL:
            return Faults(to_all=True)


class ScriptedHand:
    """The technician of a scenario: reacts to each instruction as the scenario says, and starts the scenario's acts.

    `log` holds every event with the time of the world's clock at which the technician received it.
    """

    ended = False

    def __init__(self, bench: Bench) -> None:
        """Start with no instruction received."""
        self.bench, self.rig, self.scenario = bench, bench.rig, bench.scenario
        self.log: list[tuple[float, Event]] = []
        self.asked: list[tuple[float, Action, str]] = []  # instructions: time, action, port
        self.entered: list[float] = []  # times at which Enter was pressed
        self._keys: list[Press] = []
        self._out: list[Jack] = []  # cables that the hand holds
        self._last: Jack | None = None
        self._pulls = self._plugs = 0

    def start(self) -> None:
        """Schedule the actions that do not wait for an instruction."""
        self._fire(On.START, 1)
        self.rig.after(GIVES_UP, partial(self.press, Key.QUIT))
        if self.scenario.stops and self.bench.mode is Mode.WALK:
            self.rig.after(self.scenario.stops[0].wait, partial(self._stop, 0))

    def pressed(self) -> Iterable[Press]:
        """Return the keys pressed since the last call."""
        keys, self._keys = self._keys, []
        return keys

    def press(self, key: Press) -> None:
        """Press a key."""
        self._keys.append(key)
        if key is Key.ENTER:
            self.entered.append(self.rig.time)
        self.rig.stir()

    def told(self, event: Event) -> None:
        """Record an event, and react to it if it is an instruction."""
        self.log.append((self.rig.time, event))
        action = event.action
        if action is None:
            return
        self.asked.append((self.rig.time, action, event.port))
        match action:
            case Action.PULL:
                self._pulls += 1
                self._follow(self.scenario.pulls, self._pulls, event.port, plugged=False)
                self._fire(On.PULL, self._pulls)
            case Action.PLUG | Action.RESTORE:
                self._plugs += 1
                self._follow(self.scenario.plugs, self._plugs, event.port, plugged=True)
                self._fire(On.PLUG, self._plugs)
            case Action.CONNECT | Action.MOVE:
                self._connect(event.port, action is Action.MOVE)
            case _:
                pass

    # What the hand does

    def _follow(self, moves: tuple[HandMove, ...], nth: int, port: str, *, plugged: bool) -> None:
        move = moves[min(nth, len(moves)) - 1] if moves else HandMove()
        jacks = self._cables(move.cable, port) if not plugged else []
        if plugged and move.cable is not Cable.NONE:
            jacks = list(self._out) or self._cables(Cable.OWN, port)
        for jack in jacks:
            self.rig.after(move.after, partial(self._move, jack, plugged, len(self.asked)))
            if move.lasts:
                self.rig.after(move.after + move.lasts, partial(self._move, jack, not plugged, 0))
            if move.lasts and move.again:
                self.rig.after(move.after + move.lasts + move.again, partial(self._move, jack, plugged, 0))
        if move.enter is not None:
            self.rig.after(move.enter, partial(self.press, Key.ENTER))

    def _cables(self, cable: Cable, port: str) -> list[Jack]:
        bench, place = self.bench, self.bench.places.get(port)
        if place is None:
            return []
        index = bench.devices.index(place.device)
        match cable:
            case Cable.OWN:
                return [place.jack]
            case Cable.OTHER:
                others = [i for i in range(len(bench.devices)) if i != index]
                return [bench.jack_of(others[0])] if others else []
            case Cable.UPSTREAM:
                return [] if bench.direct_cable else [bench.trunks[index]]
            case Cable.STATION:
                return [bench.rig.jacks[0]]
            case Cable.LAST:
                return [self._last] if self._last is not None else [place.jack]
            case Cable.NONE:
                return []

    def _move(self, jack: Jack, plugged: bool, unless_told_since: int) -> None:
        """Move a cable. If *unless_told_since* is set, do nothing after a later instruction."""
        if unless_told_since and unless_told_since != len(self.asked):
            return
        if plugged and jack in self._out:
            self._out.remove(jack)
        if not plugged and jack.plugged:
            self._last = jack
            if jack not in self._out:
                self._out.append(jack)
        self.rig.plug(jack, plugged)

    def _connect(self, port: str, confirm: bool) -> None:
        """Bring the cable to a port: a direct cable from the last port, else from another connector of the device."""
        bench, place = self.bench, self.bench.places.get(port)
        if place is None:
            return
        group = [one.jack for one in bench.places.values()] if bench.mode.direct else list(place.device.addresses)
        if not place.jack.plugged and (self.scenario.moves_connector or not confirm):
            for jack in group:
                if jack is not place.jack and jack.plugged:
                    self.rig.after(0.5, partial(self._move, jack, False, 0))
                    self.rig.after(0.9, partial(self._forget, jack))
            self.rig.after(0.5 + MOVES, partial(self._move, place.jack, True, 0))
        again = confirm and [one[1:] for one in self.asked[-2:-1]] == [(Action.MOVE, port)]
        lasts = MOVES_AGAIN if again else MOVES
        if confirm and (self.scenario.reseats_connector or (again and self.scenario.moves_connector)):
            for jack in (jack for jack in group if jack.plugged and (again or not self.scenario.moves_connector)):
                self.rig.after(0.5, partial(self._move, jack, False, 0))
                self.rig.after(0.5 + lasts, partial(self._move, jack, True, 0))
        if confirm:
            self.rig.after(1.0 + lasts, partial(self.press, Key.ENTER))

    def _forget(self, jack: Jack) -> None:
        """Remove a cable from those to put back, because it is in another connector now."""
        if jack in self._out:
            self._out.remove(jack)

    def _stop(self, number: int) -> None:
        """On a walk: pull the next cable, and put it back after its time or on an instruction."""
        stop = self.scenario.stops[number]
        jack = self.bench.jack_of(stop.device % len(self.bench.devices))
        self._move(jack, False, 0)
        if stop.number:
            row = self.bench.row_of(stop.device % len(self.bench.devices), stop.number)
            self.rig.after(NAMED_AFTER, partial(self.press, row))
        lasts = stop.lasts or HOLDS
        self.rig.after(lasts, partial(self._move, jack, True, 0))
        if number + 1 < len(self.scenario.stops):
            wait = self.scenario.stops[number + 1].wait
            self.rig.after((stop.lasts or PROVEN_IN) + wait, partial(self._stop, number + 1))

    # What happens by itself

    def _fire(self, on: On, nth: int) -> None:
        for act in self.scenario.acts:
            if act.on is on and act.nth == nth:
                self.rig.after(act.after, partial(self._act, act))

    def _act(self, act: Act) -> None:
        rig, bench = self.rig, self.bench
        index = act.who % len(bench.devices)
        match act.do:
            case Do.RESTART:
                bench.devices[index].restart(act.lasts)
            case Do.BLINK:
                self._for_a_while(partial(rig.link, bench.trunks[index]), act.lasts)
            case Do.SLIP:
                self._for_a_while(partial(rig.plug, bench.jack_of(index)), act.lasts)
            case Do.LINK:
                self._for_a_while(partial(rig.link, rig.jacks[0]), act.lasts)
            case Do.VANISH:
                rig.vanish(act.lasts)
            case Do.STATION_OUT:
                self._for_a_while(partial(rig.plug, rig.jacks[0]), act.lasts)
            case Do.SUSPEND:
                rig.suspend(act.lasts)
            case Do.MUTE:
                rig.mute(act.lasts)
            case Do.OVERRUN:
                rig.lose(3)
            case Do.STRANGER:
                if bench.strangers:
                    self._visit(act.who % len(bench.strangers), act.lasts)
            case Do.ENTER:
                self.press(Key.ENTER)
            case Do.NUMBER:
                self.press(1 + act.who % len(bench.targets))

    def _for_a_while(self, switch: partial[None], seconds: float) -> None:
        switch(False)
        if seconds:
            self.rig.after(seconds, partial(switch, True))

    def _visit(self, number: int, seconds: float) -> None:
        host = self.bench.strangers[number]
        host.dead = False
        if self.scenario.strangers[number].announces:
            host.announce(next(iter(host.addresses)))
        if seconds:
            self.rig.after(seconds, partial(setattr, host, "dead", True))
