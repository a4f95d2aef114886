"""The prober: a whole run without I/O.

Frames, carrier changes, keys and the time go in; frames to send, the time of the next turn and events come out. A
driver joins it to a link; the same prober runs on an interface and, in virtual time, on the rig.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from dataclasses import replace
from random import Random

from netcheck.addr import quad
from netcheck.proof.events import Event, Key, Press, What
from netcheck.proof.port.observe import observe
from netcheck.proof.port.phase_in import Steps, prove_port
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, FEW
from netcheck.proof.probing.scheduler import Pace, ProbeScheduler, Send
from netcheck.proof.probing.station_address import StationAddresses
from netcheck.proof.result import Phase, Proof, Verdict
from netcheck.proof.run_options import RunOptions
from netcheck.proof.run_state import Cut, RunState
from netcheck.proof.targets import Scope, Target
from netcheck.proof.verdict.judge import DECIDED_IN, judge, verdict
from netcheck.proof.verdict.names import Names
from netcheck.proof.verdict.observation import Observation
from netcheck.wire.frames import lldp_from_wire
from netcheck.wire.link import Carrier, Heard, Way

TICK = 0.05  # seconds between looks at news of the port under test, and between turns at most, so that keys are noticed
LOOK = 0.25  # seconds between looks at all else


class Prober:
    """Proves the ports of an aim one after the other. `done` says that it is over; `refused` then may say why nothing
    could be done with this interface (exit 3)."""

    keys = "Enter confirms   s skips this port   q stops"

    def __init__(
        self,
        scope: Scope,
        ways: Sequence[Way],
        names: Names,
        settings: RunOptions,
        rng: Random,
        *,
        hears_all: bool = True,
        proven: Mapping[int, str] | None = None,
        poll: float = TICK,
    ) -> None:
        """`proven` maps MACs already proven in the same record to their interfaces; `poll` is how often in seconds the
        link must let the driver look for keys."""
        self.scope, self.ways, self.names, self.settings, self.poll = scope, tuple(ways), names, settings, poll
        pace = Pace(total=settings.pace, each=settings.pace_each)
        self.scheduler = ProbeScheduler(ways, hears_all, pace, rng)
        self.run = RunState(scope, settings, self.scheduler, rng)
        self.run.proven.update(proven or {})
        self.claims = StationAddresses(self.run, rng)
        self.proofs: list[Proof] = []
        self.done = False
        self.refused = ""
        self.case: PortState | None = None
        self._waiting = list(scope.asked)
        self._steps: Steps | None = None
        self._stop = ""
        self._looked = -EVER
        self._news = self._at_once = True

    # What goes in

    def start(self, now: float, carrier: Mapping[int, bool]) -> None:
        """Begin. Sends nothing yet; refuses where the station's addresses are planned ones."""
        self.run.now = now
        self.run.carrier.update(carrier)
        if trouble := self.claims.trouble():
            return self._refuse(trouble)
        for net in self.scope.nets:
            self.claims.choose(net)
        if not self.settings.direct:
            names = {target.subnet for target in self.scope.asked if not target.barred} - set(self.claims.lack)
            self._steps = self.claims.claim(net for net in self.scope.nets if net.name in names)
        return None

    def hear(self, item: Heard | Carrier) -> None:
        """Take a frame or a carrier change from the link."""
        if isinstance(item, Heard):
            if self._special(item):
                return
            hearing = self.scheduler.hear(item)
            if hearing is not None:
                self.run.take(hearing)
                line = self.scheduler.lines.get((hearing.way, hearing.address))
                self._news = self._news or (line is not None and line.urgent)
            return
        self._at_once = True
        if item.way == 0 and item.gone:
            self._stop = self._stop or "the interface is gone"
        if item.way == 0 and self.run.carrier[0] and not item.up:
            self.run.drops += 1
        if item.way == 0 and item.up:
            self.run.linked = item.at
        self.run.carrier[item.way] = item.up

    def _special(self, heard: Heard) -> bool:
        """Take LLDP, and answers to an inquiry; say whether the frame was one, and means nothing to the lines."""
        if heard.way == 0 and (said := lldp_from_wire(heard.frame)) is not None:
            self.run.neighbours.append((heard.at, said))
            return True
        inquiry = self.run.inquiry
        return inquiry is not None and inquiry.hear(heard)

    def press(self, key: Press) -> None:
        """Take a key of the operator's."""
        self._at_once = True
        match key:
            case Key.ENTER:
                self.run.enters += 1
            case Key.SKIP:
                self._cut("it was skipped")
            case Key.QUIT:
                self.stop("the run was stopped")
            case int():
                self._name(key)

    def _name(self, number: int) -> None:
        """Take the number of the port whose cable is out; where ports have turns there is nothing to say."""

    def stop(self, why: str) -> None:
        """End the run: the port under test is cut short, the others are not tested."""
        self._stop = self._stop or why
        self._at_once = True

    def go_hands_free(self) -> None:
        """Go on without keys: there is nobody left to press any."""
        if not self.settings.hands_free:
            self.settings = self.run.settings = replace(self.settings, hands_free=True)

    @property
    def stopped(self) -> bool:
        """The run was ended before its time; the port that it cut short has no proof."""
        return bool(self._stop)

    # What comes out

    def turn(self, now: float) -> list[Send]:
        """Work through what has come in and return the frames to send; each must be told back by `sent`."""
        self.run.now = now
        if self.scheduler.settle(now):
            self._news = True
        if self.scheduler.ear.conflict is not None and not self.refused:
            self._refuse(self._owned(self.scheduler.ear.conflict))
        if self._stop:
            self._finish()
        elif not self.done and (self._at_once or now >= self._looked + (TICK if self._news else LOOK)):
            self._looked, self._news, self._at_once = now, False, False
            self._advance()
            self._tend()
        return [] if self.done else self.scheduler.due(now)

    def sent(self, send: Send, at: float) -> None:
        """Take the time at which the link sent a frame."""
        self.scheduler.sent(send, at)

    @property
    def wake(self) -> float:
        """When the next turn is due, at the latest."""
        if self._at_once:
            return self.run.now
        look = self._looked + (TICK if self._news else LOOK)
        return min(look, self.scheduler.wake, self.run.now + self.poll)

    def take_events(self) -> list[Event]:
        """Everything that happened since the last call."""
        events, self.run.events = self.run.events, []
        return events

    # The order of the run

    def _advance(self) -> None:
        """Go on with the steps; where they end, with the next port."""
        while not self.done:
            if self._steps is not None:
                try:
                    next(self._steps)
                    return
                except StopIteration:
                    self._close_port()
            elif self._waiting:
                self._open_port(self._waiting.pop(0))
            else:
                self._over()

    def _tend(self) -> None:
        """See that everybody but the port under test is asked as gently as can be."""
        self.run.tend(self.case.line if self.case is not None else None)

    def _open_port(self, target: Target) -> None:
        barred = target.barred or self.claims.lack.get(target.subnet, "")
        if barred:
            return self._put(judge(Observation(replace(target, barred=barred)), self.names))
        self.case = PortState(self.run, target)
        self.run.say(What.BEGIN, target.subject, f"{target.subject} at {target.address_text}")
        net = self.scope.net(target.subnet)
        self._steps = prove_port(self.case, self._decided, lambda: self._claim(net.name))
        return None

    def _claim(self, name: str) -> Steps:
        """On a direct cable there is another network at every port: the address to ask from is claimed anew."""
        return self.claims.claim([self.scope.net(name)]) if self.settings.direct else _nothing()

    def _close_port(self) -> None:
        self._steps = None
        case, self.case = self.case, None
        if case is None:
            return
        self._put(judge(observe(case), self.names))
        case.line.keep(FEW)

    def _put(self, proof: Proof) -> None:
        self.proofs.append(proof)
        if proof.verdict is Verdict.PROVEN and proof.mac is not None:
            self.run.proven[proof.mac] = proof.interface
        text = f"{proof.verdict}: {proof.why}"
        self.run.events.append(Event(self.run.now, What.VERDICT, proof.subject, text, proof=proof))

    def amend(self, proof: Proof) -> None:
        """Put a proof, to which something was added, in the place of the one of the same port."""
        self.proofs = [proof if one.subject == proof.subject else one for one in self.proofs]

    def _decided(self, seen: Observation) -> bool:
        """Say whether the verdict stands whatever comes: `not-back` alone still waits for phase back."""
        word = verdict(seen, self.names)[0]
        return word in DECIDED_IN if Phase.OUT not in dict(seen.phases) else word is not Verdict.NOT_BACK

    def _cut(self, why: str) -> None:
        """Cut the port under test short; the claim before the first port is not one."""
        if self._steps is None or self.case is None:
            return
        try:
            self._steps.throw(Cut(why))
        except StopIteration:
            self._close_port()

    def _finish(self) -> None:
        self._cut(self._stop)
        for target in self._waiting:
            self._put(judge(Observation(target, cut=self._stop), self.names))
        self._waiting = []
        self._over()

    def _over(self) -> None:
        self.scheduler.rest()
        self.done = True

    def _refuse(self, why: str) -> None:
        self.refused = why
        self.stop(why)

    def _owned(self, mac: int) -> str:
        words = " or ".join(map(quad, sorted(self.scheduler.ear.claiming | self.scheduler.ear.borrowed)))
        return f"{words}, which was to be borrowed, belongs to {self.names.of(mac)}"


def _nothing() -> Generator[None, None, None]:
    yield from ()
