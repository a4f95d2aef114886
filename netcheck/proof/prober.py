"""The prober: a whole run without I/O.

Frames, carrier changes, keys and the time go in; frames to send, the time of the next turn and events come out. A
driver joins it to a link; the same prober runs on an interface and, in virtual time, on the rig. What is done with the
ports is a procedure: port by port (`PortByPort`), or a walk (`walk.Walk`).
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import replace
from random import Random
from typing import Protocol

from netcheck.addr import quad
from netcheck.proof.events import Chosen, Event, Key, Press, RunOptions, What
from netcheck.proof.port.cabling import Cabling
from netcheck.proof.port.head_start import HeadStart, may_begin
from netcheck.proof.port.observe import observe
from netcheck.proof.port.sequence import prove_port
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, FEW
from netcheck.proof.probing.scheduler import Pace, ProbeScheduler, Send
from netcheck.proof.probing.station_address import StationAddresses
from netcheck.proof.result import PASSED, Phase, Proof, Verdict
from netcheck.proof.run_state import Cut, RunState
from netcheck.proof.targets import Scope, Target
from netcheck.proof.turns import Turns
from netcheck.proof.verdict.judge import DECIDED_IN, judge, verdict
from netcheck.proof.verdict.names import Names
from netcheck.proof.verdict.observation import Observation
from netcheck.proof.view import PortView, RunView, port_view, request_view, run_view
from netcheck.text import listed
from netcheck.wire.frames import lldp_from_wire
from netcheck.wire.link import Adapter, Carrier, Heard, Lost, News, Suspended

TICK = 0.05  # seconds between looks at news of the port under test, and between turns at most, so that keys are noticed
LOOK = 0.25  # seconds between looks at all else
STALL = 2.0  # seconds between turns from which on netcheck itself did not run: requests were not sent in that time
NO_KEYS = (
    "without keys nothing says that the cable is in this connector: prove it without --hands-free, or with --direct if "
    "the device sends LLDP"
)
Steps = Generator[None, None, None]


class Procedure(Protocol):
    """What a run does with the ports. `port` is the one under test, for the screen."""

    keys: str
    walks: bool  # all ports are open at once
    cut_is_final: bool  # a port that a stop cut short has a proof that counts
    port: PortState | None

    @property
    def following(self) -> Target | None:
        """The port whose turn is next, once the one under test only has to come back; else None."""

    def advance(self) -> bool:
        """Go on with what is due now; return whether the run is over."""

    def tend(self) -> None:
        """See that every address is asked as often as it must be."""

    def press(self, key: Press) -> None:
        """Take a key other than the one that stops the run."""

    def finish(self, why: str) -> None:
        """End at once: judge each port that is open."""

    def views(self) -> list[PortView]:
        """Return where each open port stands now; none for ports whose turn has not come."""


ProcedureOf = Callable[[RunState, StationAddresses], Procedure]


class Prober:
    """A run. `done` says that it is over; `refused` then may say why nothing could be done with this interface."""

    def __init__(
        self,
        scope: Scope,
        adapters: Sequence[Adapter],
        names: Names,
        options: RunOptions,
        rng: Random,
        *,
        hears_all: bool = True,
        proven: Mapping[int, str] | None = None,
        poll: float = TICK,
        procedure: ProcedureOf | None = None,
    ) -> None:
        """`proven` maps MACs already proven in the same record to their interfaces; proofs of ports that are asked for
        again do not count. `poll` is how often in seconds the link must let the driver look for keys."""
        self.scope, self.adapters, self.names, self.poll = scope, tuple(adapters), names, poll
        pace = Pace(total=options.pace, each=options.pace_each)
        self.scheduler = ProbeScheduler(adapters, hears_all, pace, rng)
        self.run = RunState(scope, options, self.scheduler, rng, names)
        again = {target.interface for target in scope.asked}
        self.run.proven.update({mac: where for mac, where in (proven or {}).items() if where not in again})
        self.addresses = StationAddresses(self.run, rng)
        self.procedure = (procedure or PortByPort)(self.run, self.addresses)
        self.done = False
        self.refused = ""
        self._claiming: Steps | None = None
        self._stop = ""
        self._looked = -EVER
        self._turned = EVER
        self._gone_at = EVER
        self._news = self._at_once = True

    @property
    def options(self) -> RunOptions:
        """The options in force."""
        return self.run.options

    @property
    def keys(self) -> str:
        """What each key does, for the screen."""
        return self.procedure.keys

    @property
    def walks(self) -> bool:
        """Whether all ports are open at once."""
        return self.procedure.walks

    @property
    def port(self) -> PortState | None:
        """The port under test."""
        return self.procedure.port

    @property
    def proofs(self) -> list[Proof]:
        """The proofs so far."""
        return self.run.proofs

    # What goes in

    def start(self, now: float, carrier: Mapping[int, bool]) -> None:
        """Begin. Sends nothing yet; refuses where the station's addresses are planned ones."""
        self.run.now = self.run.started = now
        self.run.carrier.update(carrier)
        if trouble := self.addresses.trouble():
            return self._refuse(trouble)
        for net in self.scope.nets:
            self.addresses.choose(net)
        if not self.options.direct:
            names = {target.subnet for target in self.scope.asked if not target.barred} - set(self.run.lack)
            self._claiming = self.addresses.claim(net for net in self.scope.nets if net.name in names)
        return None

    def hear(self, item: News) -> None:
        """Take a frame or a report of the link."""
        if isinstance(item, Heard):
            if self._special(item):
                return
            sighting = self.scheduler.hear(item)
            if sighting is not None:
                self.run.take(sighting)
                entry = self.scheduler.entries.get((sighting.adapter, sighting.address))
                self._news = self._news or (entry is not None and entry.urgent)
        elif isinstance(item, Carrier):
            self._take_carrier(item)
        elif isinstance(item, Lost):
            self.run.lost_frames += item.frames
        else:
            self._take_suspend(item)

    def _take_suspend(self, item: Suspended) -> None:
        self._at_once = True
        self.run.disturb(f"this computer was suspended for {item.seconds:.0f} s")

    def _take_carrier(self, item: Carrier) -> None:
        self._at_once = True
        if item.adapter == 0:
            self.run.gone = item.gone or item.off
            self._gone_at = min(self._gone_at, item.at) if self.run.gone else EVER
            self.run.drops += self.run.carrier[0] and not item.up
            if item.up:
                self.run.linked = item.at
        self.run.carrier[item.adapter] = item.up

    def _special(self, heard: Heard) -> bool:
        """Take LLDP, and answers to an inquiry; return whether the frame was one of these."""
        if heard.adapter == 0 and (said := lldp_from_wire(heard.frame)) is not None:
            self.run.neighbours.append((heard.at, said))
            return True
        inquiry = self.run.inquiry
        return inquiry is not None and inquiry.hear(heard)

    def press(self, key: Press) -> None:
        """Take a key that the operator pressed."""
        self._at_once = True
        if key is Key.QUIT:
            self.stop("the run was stopped")
        else:
            self.procedure.press(key)

    def stop(self, why: str) -> None:
        """End the run: the port under test is cut short, the others are not tested."""
        self._stop = self._stop or why
        self._at_once = True

    def go_hands_free(self) -> None:
        """Continue without keys, because the keyboard input ended."""
        if not self.options.hands_free:
            self.run.options = replace(self.options, hands_free=True)

    @property
    def stopped(self) -> bool:
        """Whether the run was stopped and the port under test has no proof."""
        return bool(self._stop) and not self.procedure.cut_is_final

    # What comes out

    def turn(self, now: float) -> list[Send]:
        """Work through what has come in and return the frames to send; report each to `sent` or `not_sent`."""
        if now - self._turned > STALL:
            self.run.now = now
            self.run.disturb(f"netcheck itself was not running for {now - self._turned:.0f} s")
            self._at_once = True
        self.run.now = self._turned = now
        if self.scheduler.settle(now):
            self._news = True
        if self.scheduler.matcher.conflict is not None and not self.refused:
            self._refuse(self._owned(self.scheduler.matcher.conflict))
        if now > self._gone_at + self.options.patience:
            self.stop("the interface is gone")
        if self._stop:
            self._finish()
        elif not self.done and (self._at_once or now >= self._looked + (TICK if self._news else LOOK)):
            self._looked, self._news, self._at_once = now, False, False
            self._advance()
        return [] if self.done else self.scheduler.due(now)

    def sent(self, send: Send, at: float) -> None:
        """Take the time at which the link sent a frame."""
        self.scheduler.sent(send, at)

    def not_sent(self, send: Send) -> None:
        """Take back a frame that the link did not accept."""
        self.scheduler.not_sent(send)

    @property
    def wake(self) -> float:
        """When the next turn is due, at the latest."""
        if self._at_once:
            return self.run.now
        look = self._looked + (TICK if self._news else LOOK)
        return min(look, self.scheduler.wake, self.run.now + self.poll)

    def take_events(self) -> list[Event]:
        """Return all events since the last call."""
        events, self.run.events = self.run.events, []
        return events

    def view(self) -> RunView:
        """Return what the run does now, for the screen."""
        return run_view(self.run, self.procedure.views(), self.procedure.following)

    def amend(self, proof: Proof) -> None:
        """Replace the proof of a port by one with additions."""
        self.run.proofs = [proof if one.subject == proof.subject else one for one in self.run.proofs]

    # The order of the run

    def _advance(self) -> None:
        if self._claiming is not None:
            try:
                return next(self._claiming)
            except StopIteration:
                self._claiming = None
        if self.procedure.advance():
            self._over()
        self.procedure.tend()
        return None

    def _finish(self) -> None:
        self.procedure.finish(self._stop)
        self._over()

    def _over(self) -> None:
        self.scheduler.rest()
        self.done = True

    def _refuse(self, why: str) -> None:
        self.refused = why
        self.stop(why)

    def _owned(self, mac: int) -> str:
        matcher = self.scheduler.matcher
        words = " or ".join(map(quad, sorted(matcher.claiming | matcher.borrowed)))
        return f"{words}, which was to be borrowed, belongs to {self.names.of(mac)}"


class PortByPort:
    """Proves the ports of a run one after the other."""

    keys = "Enter confirms   s skips   n next   r again   m remark   q stops"
    walks = False
    cut_is_final = False

    def __init__(self, run: RunState, addresses: StationAddresses) -> None:
        """Nothing is under test yet."""
        self.run, self.addresses = run, addresses
        self.port: PortState | None = None
        self._turns = Turns(run.scope.asked, run.options.revisits)
        self._ended: Target | None = None  # the port that ended last
        self._turn_ends = False  # the port under test is being put off
        self._steps: Steps | None = None
        self._cabling = Cabling(run)
        self._between: Steps | None = None  # what is done with the cables after a port
        self._told = False
        self._ahead: HeadStart | None = None  # of the next port
        self._announced = ""  # the port that was said to be next

    def advance(self) -> bool:
        """Go on with the port under test; where it ends, with the cables and then with the next one."""
        while True:
            if self._steps is not None:
                try:
                    next(self._steps)
                    return False
                except StopIteration:
                    self._close_port()
            elif self._between is not None:
                try:
                    next(self._between)
                    return False
                except StopIteration:
                    self._between = None
            elif (target := self._turns.take()) is not None:
                if not self._told:
                    self._tell_what_needs_keys()
                self._open_port(target)
            else:
                return True

    def tend(self) -> None:
        """See that every address but the one under test, and that of the next port, is asked as gently as possible."""
        self._look_ahead()
        self.run.tend(self.port.entry if self.port is not None else None)

    @property
    def following(self) -> Target | None:
        """The port whose turn is next, once the cable of the one under test is asked back for the last time."""
        comes_back = self.port is not None and self.port.phase is Phase.BACK and self.port.is_last_pull()
        return self._next() if comes_back else None

    def _next(self) -> Target | None:
        """Return the next port that can be tested."""
        return next((target for target in self._turns.coming if not self._barred(target)), None)

    def _look_ahead(self) -> None:
        """Ask the next port already while the one under test comes back, and until its own turn."""
        port, target = self.port, self._next()
        ahead, may = self._ahead, port is not None and target is not None and may_begin(port, target)
        if ahead is not None and (ahead.broken or ahead.target != target or (port is not None and not may)):
            ahead.drop()
            ahead = None
        if ahead is None and may and target is not None:
            ahead = HeadStart(self.run, target)
            if self._announced != target.subject:
                self._announced = target.subject
                ahead.announce()
        if ahead is not None:
            ahead.look()
        self._ahead = ahead

    def press(self, key: Press) -> None:
        """Take a key: Enter confirms, `s` skips, `r` proves the last port again; a number or a name chooses the next
        one."""
        if key is Key.ENTER or (key is Key.SKIP and self._between is not None):
            self.run.enters += 1
        elif key is Key.SKIP:
            self._skip()
        elif key is Key.AGAIN:
            if self._ended is None:
                self.run.warn("", "No port has ended yet that could be proven again")
            else:
                self._choose(self._ended)
        elif isinstance(key, int):
            self._choose(next((target for target in self.run.scope.targets if target.row == key), None))
        elif isinstance(key, Chosen):
            self._choose(self._meant(key))

    def _skip(self) -> None:
        port = self.port
        self._cut(Cut("it was skipped", skipped=True))
        if port is None or not any(
            proof.subject == port.target.subject and proof.verdict is Verdict.SKIPPED for proof in self.run.proofs[-1:]
        ):
            return
        if self._turns.skip(port.target):
            self.run.say(What.NOTE, port.target.subject, "It is asked for once more at the end")

    def _meant(self, chosen: Chosen) -> Target | None:
        """Return the first port that has no proof yet among those that may be meant, else the first."""
        by_subject = {target.subject: target for target in self.run.scope.targets}
        meant = [by_subject[subject] for subject in chosen.subjects if subject in by_subject]
        passed = {proof.subject for proof in self.run.proofs if proof.verdict in PASSED}
        return next((target for target in meant if target.subject not in passed), meant[0] if meant else None)

    def _choose(self, target: Target | None) -> None:
        """Put a port first. The port under test is put off, unless its cable is out: then it ends before."""
        if target is None:
            return self.run.warn("", "There is no such port")
        port = self.port
        is_out = port is not None and port.pull is not None and port.pull.out
        if port is not None and is_out and port.target.subject == target.subject:
            return self.run.warn(port.target.subject, "Its cable is out: it can begin again once it has ended")
        if port is not None and not is_out:
            put_off = self._put_off()
            if put_off and port.target.subject != target.subject:
                self._turns.first(port.target)
        self._turns.first(target)
        if port is not None and not is_out:
            self._between = self._cabling.after_port(target)
        self.run.proven = {mac: of for mac, of in self.run.proven.items() if of != target.interface}
        after = f" after {port.target.subject}, whose cable is out" if port is not None and is_out else ""
        self.run.say(What.NOTE, target.subject, f"{target.subject} is next{after}")
        return None

    def _put_off(self) -> bool:
        """Leave the port under test without a proof, to begin again later; return False where its verdict is certain
        already, which is its proof then."""
        assert self.port is not None
        proofs = len(self.run.proofs)
        self._turn_ends = True
        self._cut(Cut("another port was chosen", skipped=True))
        self._turn_ends = False
        return len(self.run.proofs) == proofs

    def finish(self, why: str) -> None:
        """Cut the port under test short; the others are not tested."""
        self._cut(Cut(why))
        tried = {proof.subject for proof in self.run.proofs}
        while (target := self._turns.take()) is not None:
            if target.subject not in tried:
                self.run.put(Observation(target=target, cut=why))
        for _ in self._cabling.after_port(None):
            pass

    def views(self) -> list[PortView]:
        """Return where the port under test stands."""
        if self.port is not None:
            return [port_view(self.port)]
        return [request_view(self.run, target) for target in self._cabling.asked]

    def _open_port(self, target: Target) -> None:
        if barred := self._barred(target):
            return self.run.put(Observation(target=replace(target, barred=barred)))
        ahead, self._ahead = self._ahead, None
        early = ahead.take() if ahead is not None and ahead.target == target else None
        if ahead is not None and early is None:
            ahead.drop()
        self.port = early or PortState(self.run, target)
        self.run.say(What.BEGIN, target.subject, f"{target.subject} at {target.address_text}")
        net = self.run.scope.net(target.subnet)
        self._steps = prove_port(self.port, lambda seen: decided(seen, self.run.names), lambda: self._claim(net.name))
        return None

    def _barred(self, target: Target) -> str:
        """Return why a port cannot be tested."""
        return target.barred or self.run.lack.get(target.subnet, "") or self._without_keys(target)

    def _without_keys(self, target: Target) -> str:
        """Return why a port cannot be proven without keys: through a switch nothing else says which connector is
        meant."""
        options = self.run.options
        return NO_KEYS if target.ordinal and options.hands_free and not options.direct else ""

    def _tell_what_needs_keys(self) -> None:
        """Say before the first pull which ports cannot be proven without keys, and what to do."""
        self._told = True
        second = [t.subject for t in self.run.scope.asked if t.ordinal and not t.barred]
        if not (second and self.run.options.hands_free):
            return
        if self.run.options.direct:
            text = f"{listed(second)}: without keys proven only if the device names the connector by LLDP"
        else:
            text = f"{listed(second)}: not tested, because {NO_KEYS}"
        self.run.warn("", text)

    def _claim(self, name: str) -> Steps:
        """Claim the address to ask from again on a direct cable: there is another network at every port."""
        return self.addresses.claim([self.run.scope.net(name)]) if self.run.options.direct else _nothing()

    def _close_port(self) -> None:
        self._steps = None
        port, self.port = self.port, None
        if port is None:
            return
        proof = judge(observe(port), self.run.names)
        if self._turn_ends and not proof.verdict.is_definite:
            self.run.drop_request(port.target.subject)
        else:
            self.run.put_proof(proof)
            self._ended = port.target
        port.entry.keep(FEW)
        self._between = self._cabling.after_port(self._turns.following)

    def _cut(self, cut: Cut) -> None:
        """Cut the port under test short."""
        if self._steps is None or self.port is None:
            return
        try:
            self._steps.throw(cut)
        except StopIteration:
            self._close_port()


def decided(seen: Observation, names: Names) -> bool:
    """Return whether the verdict is certain whatever comes: `not-back` and those below it still wait for phase back."""
    word = verdict(seen, names)[0]
    return word in DECIDED_IN if Phase.OUT not in dict(seen.phases) else word is not Verdict.NOT_BACK


def _nothing() -> Steps:
    yield from ()
