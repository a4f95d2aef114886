"""The prober: a whole run without I/O.

Frames, carrier changes, keys and the time go in; frames to send, the time of the next turn and events come out. A
driver joins it to a link; the same prober runs on an interface and, in virtual time, on the rig.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from random import Random

from netcheck.addr import quad
from netcheck.proof.asking import Asker, Pace, Send
from netcheck.proof.bench import Bench, Cut
from netcheck.proof.case import Case
from netcheck.proof.events import Event, Key, Settings, What
from netcheck.proof.judge import DECIDED_IN, Names, judge, verdict
from netcheck.proof.observed import Observed
from netcheck.proof.phases import Steps, prove_port
from netcheck.proof.result import Phase, Proof, Verdict
from netcheck.proof.targets import Aim, Net, Target
from netcheck.wire.link import Carrier, Heard, Way

TICK = 0.05  # seconds between turns at most, so that keys and waits are noticed
# RFC 5227 section 1.1: PROBE_WAIT, PROBE_NUM, PROBE_MIN, PROBE_MAX, ANNOUNCE_WAIT
PROBE_WAIT, PROBE_NUM, PROBE_MIN, PROBE_MAX, ANNOUNCE_WAIT = 1.0, 3, 1.0, 2.0, 2.0


class Prober:
    """Proves the ports of an aim one after the other. `done` says that it is over; `refused` then may say why nothing
    could be done with this interface (exit 3)."""

    def __init__(
        self,
        aim: Aim,
        ways: Sequence[Way],
        names: Names,
        settings: Settings,
        rng: Random,
        *,
        hears_all: bool = True,
        proven: Mapping[int, str] | None = None,
    ) -> None:
        """`proven` maps MACs already proven in the same record to their interfaces."""
        self.aim, self.ways, self.names, self.settings, self._rng = aim, tuple(ways), names, settings, rng
        pace = Pace(total=settings.pace, each=settings.pace_each)
        self.asker = Asker(ways, hears_all, pace, rng)
        self.bench = Bench(aim, settings, self.asker)
        self.bench.proven.update(proven or {})
        self.proofs: list[Proof] = []
        self.done = False
        self.refused = ""
        self.case: Case | None = None
        self._waiting = list(aim.asked)
        self._steps: Steps | None = None
        self._stop = ""
        self._lack: dict[str, str] = {}  # subnets with no address to ask from, and why

    # What goes in

    def start(self, now: float, carrier: Mapping[int, bool]) -> None:
        """Begin. Sends nothing yet; refuses where the station's addresses are planned ones."""
        self.bench.now = now
        self.bench.carrier.update(carrier)
        taken = {quad(address): way.name for way in self.ways for address, _ in way.addresses if self._planned(address)}
        if taken:
            address, name = next(iter(taken.items()))
            return self._refuse(f"{address} is planned for a device, and this computer has it on {name}")
        planned = [quad(address) for address in sorted(self.aim.stations) if self._planned(address)]
        if planned:
            return self._refuse(f"the plan's station address {planned[0]} is planned for a device as well")
        for net in self.aim.nets:
            self._sender(net)
        if not self.settings.direct:
            self._steps = self._begin()
        return None

    def hear(self, item: Heard | Carrier) -> None:
        """Take a frame or a carrier change from the link."""
        if isinstance(item, Heard):
            hearing = self.asker.hear(item)
            if hearing is not None:
                self.bench.take(hearing)
            return
        if item.way == 0 and item.gone:
            self._stop = self._stop or "the interface is gone"
        if item.way == 0 and self.bench.carrier[0] and not item.up:
            self.bench.drops += 1
        self.bench.carrier[item.way] = item.up

    def press(self, key: Key) -> None:
        """Take a key of the operator's."""
        match key:
            case Key.ENTER:
                self.bench.enters += 1
            case Key.SKIP:
                self._cut("it was skipped")
            case Key.QUIT:
                self.stop("the run was stopped")

    def stop(self, why: str) -> None:
        """End the run: the port under test is cut short, the others are not tested."""
        self._stop = self._stop or why

    def go_hands_free(self) -> None:
        """Go on without keys: there is nobody left to press any."""
        if not self.settings.hands_free:
            self.settings = self.bench.settings = replace(self.settings, hands_free=True)

    @property
    def stopped(self) -> bool:
        """The run was ended before its time; the port that it cut short has no proof."""
        return bool(self._stop)

    # What comes out

    def turn(self, now: float) -> list[Send]:
        """Work through what has come in and return the frames to send; each must be told back by `sent`."""
        self.bench.now = now
        sends = self.asker.due(now)
        if self.asker.conflict is not None and not self.refused:
            self._refuse(self._owned())
        if self._stop:
            self._finish()
        elif not self.done:
            self._advance()
            self.bench.tend(self.case.line if self.case is not None else None)
        return [] if self.done else sends + self.asker.due(now)

    def sent(self, send: Send, at: float) -> None:
        """Take the time at which the link sent a frame."""
        self.asker.sent(send, at)

    @property
    def wake(self) -> float:
        """When the next turn is due, at the latest."""
        return min(self.asker.wake, self.bench.now + TICK)

    def take_events(self) -> list[Event]:
        """Everything that happened since the last call."""
        events, self.bench.events = self.bench.events, []
        return events

    # The order of the run

    def _advance(self) -> None:
        while not self.done:
            if self._steps is not None:
                try:
                    next(self._steps)
                    return None
                except StopIteration:
                    self._close_port()
                except Cut as cut:
                    self._close_port(cut.why)
            if not self._waiting:
                return self._over()
            self._open_port(self._waiting.pop(0))
        return None

    def _open_port(self, target: Target) -> None:
        barred = target.barred or self._lack.get(target.subnet, "")
        if barred:
            return self._put(judge(Observed(replace(target, barred=barred)), self.names))
        self.case = Case(self.bench, target)
        self.bench.say(What.BEGIN, target.subject, f"{target.subject} at {target.address_text}")
        nets = [self.aim.net(target.subnet)]
        claim = (lambda: self._claim(nets)) if self.settings.direct else self._nothing
        self._steps = prove_port(self.case, self._decided, claim)
        return None

    def _close_port(self, cut: str = "") -> None:
        self._steps = None
        case, self.case = self.case, None
        if case is None:
            return
        case.cut = case.cut or cut
        self._put(judge(case.observed(), self.names))
        address = self.bench.watched.get(case.target.address)
        if address is not None:
            address.urgent = False
            self.asker.want(address, self.bench.now, arp=1.01)

    def _put(self, proof: Proof) -> None:
        self.proofs.append(proof)
        if proof.verdict is Verdict.PROVEN and proof.mac is not None:
            self.bench.proven[proof.mac] = proof.interface
        text = f"{proof.verdict}: {proof.why}"
        self.bench.events.append(Event(self.bench.now, What.VERDICT, proof.subject, text, proof=proof))

    def _decided(self, seen: Observed) -> bool:
        word = verdict(seen, self.names)[0]
        return word in DECIDED_IN if Phase.OUT not in dict(seen.phases) else word is not Verdict.NOT_BACK

    def _cut(self, why: str) -> None:
        if self._steps is None or self.case is None:
            return
        try:
            self._steps.throw(Cut(why))
        except (StopIteration, Cut):
            self._close_port(why)

    def _finish(self) -> None:
        self._cut(self._stop)
        for target in self._waiting:
            self._put(judge(Observed(target, cut=self._stop), self.names))
        self._waiting = []
        self._over()

    def _over(self) -> None:
        self.asker.rest()
        self.done = True

    def _refuse(self, why: str) -> None:
        self.refused = why
        self.stop(why)

    # The station's addresses

    def _planned(self, address: int) -> bool:
        return address in self.bench.owner_of

    def _sender(self, net: Net) -> None:
        """Choose the address to ask from in a subnet, on every way: the operating system's own, where it has one."""
        for number, way in enumerate(self.ways):
            inside = [address for address, _ in way.addresses if net.holds(address)]
            own = inside or [address for address, _ in way.addresses if number]
            if own:
                self.asker.senders[number, net.name] = own[0]
        if (0, net.name) not in self.asker.senders and net.station is None:
            self._lack[net.name] = f"this station has no address in {net.name}, and the plan has no station there"

    def _begin(self) -> Steps:
        """Through a switch: borrow what must be borrowed, in all subnets asked for, then start the watch."""
        names = {target.subnet for target in self.aim.asked if not target.barred} - set(self._lack)
        yield from self._claim([net for net in self.aim.nets if net.name in names])

    def _nothing(self) -> Steps:
        yield from ()

    def _claim(self, nets: list[Net]) -> Steps:
        """Borrow the plan's station address where the operating system has none, once nobody answers for it."""
        lacking = [net for net in nets if net.station is not None and (0, net.name) not in self.asker.senders]
        again = [net for net in nets if self.asker.senders.get((0, net.name)) in self.asker.borrowed]
        if lacking or again:
            yield from self._probe_own(lacking or again)
        for net in lacking:
            assert net.station is not None
            self.asker.senders[0, net.name] = net.station
        self.bench.watch(nets)

    def _probe_own(self, nets: list[Net]) -> Steps:
        """Three ARP probes a subnet, timed as RFC 5227 section 2.1.1 says."""
        addresses = [net.station for net in nets if net.station is not None]
        self.asker.claiming.update(addresses)
        words = " and ".join(map(quad, addresses))
        self.bench.say(What.WAIT, "", f"Making sure that nobody has {words}, to ask from it")
        yield from self._pause(self._rng.uniform(0, PROBE_WAIT))
        for turn in range(PROBE_NUM):
            for net in nets:
                if net.station is not None:
                    self.asker.ask_anonymously(self.bench.now, self.asker.line(net.station, net.name))
            last = turn == PROBE_NUM - 1
            yield from self._pause(ANNOUNCE_WAIT if last else self._rng.uniform(PROBE_MIN, PROBE_MAX))
        self.asker.claiming.difference_update(addresses)
        self.asker.borrowed.update(addresses)

    def _pause(self, seconds: float) -> Steps:
        until = self.bench.now + seconds
        while self.bench.now < until:
            yield

    def _owned(self) -> str:
        assert self.asker.conflict is not None
        words = " or ".join(map(quad, sorted(self.asker.claiming | self.asker.borrowed)))
        return f"{words}, which was to be borrowed, belongs to {self.names.of(self.asker.conflict)}"
